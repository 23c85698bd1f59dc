// Package card owns the model file: everything that a forecast, a verdict or a
// report needs to know of a fitted model, in one versioned JSON file.
//
//  1. A Card is filled by the study that fitted the model.
//  2. Encode stamps it with the SHA-256 of its own content.
//  3. Decode checks schema, hash and every part before anything is used.
//
// It refuses a schema that it does not know, an unknown field, a changed byte,
// and figures that are not finite. It never repairs a file.
package card

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/replicate"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/eval/direction"
	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/model/transform"
	"flourcast/study/anatomy"
	"flourcast/study/residue"
)

// Schema is the version of model files that this program writes. A file of
// another version is refused, never guessed at.
const Schema = "flourcast.model/1"

// Source says which table the model was fitted on.
type Source struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"` // of the table in canonical CSV
	Rows   int    `json:"rows"`
}

// Row is one calibration row: its features in the order of Card.Features, in
// the units of their names; the response measured, and predicted by models that
// never saw the row's lot (mean over repeats).
type Row struct {
	Lot        string    `json:"lot"`
	CropYear   string    `json:"crop_year,omitempty"`
	Family     string    `json:"family,omitempty"` // of lots that share a parent, or cultivar and delivery
	X          []float64 `json:"x"`
	Measured   float64   `json:"measured"`
	Predicted  float64   `json:"predicted"`
	MeasuredSE *float64  `json:"measured_se,omitempty"`
}

// Prediction is an out-of-fold prediction of one row, in response units.
type Prediction struct {
	Lot       string  `json:"lot"`
	Measured  float64 `json:"measured"`
	Predicted float64 `json:"predicted"`
}

// Step is the cross-validated error of one model of the path, the choice not
// nested: RMSECV in response units, Q² against the mean on the same folds.
type Step struct {
	Label  string  `json:"label"` // "3 components", "lambda 0.1"
	Value  float64 `json:"value"` // components or lambda
	RMSECV float64 `json:"rmsecv"`
	Q2     float64 `json:"q2"`
}

// CV is how the model did on lots that it had not seen. When components or
// penalty were chosen, RMSECV, Q2 and Predictions come from folds in which the
// choice was made anew inside the training part.
type CV struct {
	Scheme  string  `json:"scheme"`
	Repeats int     `json:"repeats"`
	Nested  bool    `json:"nested"`
	RMSECV  float64 `json:"rmsecv"`
	Q2      float64 `json:"q2"`
	// RMSECVByComponents has one figure a number of components, the first for
	// one component; empty for kinds of model without components.
	RMSECVByComponents []float64    `json:"rmsecv_by_components"`
	Path               []Step       `json:"path"`
	Predictions        []Prediction `json:"predictions"`
}

// Permutation is the test against chance: P = (Better+1)/(Permutations+1).
type Permutation struct {
	P            float64 `json:"p"`
	Better       int     `json:"better"`
	Permutations int     `json:"permutations"`
}

// Comparison is a paired comparison of two sets of out-of-fold errors on the
// same folds: the gain in mean squared error as a share of the baseline's,
// with its bootstrap interval over lots.
type Comparison struct {
	Against string  `json:"against"`
	Q2      float64 `json:"q2"`      // of the baseline
	Q2With  float64 `json:"q2_with"` // of the model compared
	Gain    float64 `json:"gain"`    // Q2With − Q2
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	Level   float64 `json:"level"`
}

// Group is leave-one-group-out: how the model did on a whole crop year (or
// supplier) that it had not seen.
type Group struct {
	Name   string  `json:"name"`
	Lots   int     `json:"lots"`
	RMSEP  float64 `json:"rmsep"`
	Bias   float64 `json:"bias"`   // mean of measured − predicted
	Inside int     `json:"inside"` // lots inside their interval
}

// Years is leave-one-crop-year-out over all years: Q² pooled, and how many of
// Lots lay inside the interval at Level.
type Years struct {
	Q2     float64 `json:"q2"`
	Inside int     `json:"inside"`
	Lots   int     `json:"lots"`
	Level  float64 `json:"level"`
	Groups []Group `json:"groups"`
}

// Card is the model file.
type Card struct {
	Schema  string    `json:"schema"`
	Program string    `json:"program"`
	Made    time.Time `json:"made"`
	Notice  string    `json:"notice,omitempty"` // printed on top of everything made from the model
	Source  Source    `json:"source"`

	Product      string        `json:"product"`
	Method       string        `json:"method"`
	Solvent      trait.Solvent `json:"solvent"`
	Response     string        `json:"response"`
	ResponseKind string        `json:"response_kind"`
	// Treatment is the one kind of flour treatment that the model knows, empty if it
	// is not stated or if there are several; Where chose the rows.
	Treatment string             `json:"treatment,omitempty"`
	Where     []column.Condition `json:"where,omitempty"`
	Features  []string           `json:"features"`
	// TreatmentUse is how the model takes treatments: within one, as the factor that
	// TreatmentFactor names, pooled; empty where they are not stated.
	TreatmentUse    treatment.Use       `json:"treatment_use,omitempty"`
	TreatmentFactor *treatment.Factor   `json:"treatment_factor,omitempty"`
	Weighting       *assembly.Weighting `json:"weighting,omitempty"` // nil: each row counts alike

	Kind         string             `json:"kind"`
	Scaling      model.Scaling      `json:"scaling"`
	Components   int                `json:"components"`
	Lambda       *float64           `json:"lambda,omitempty"`
	Intercept    float64            `json:"intercept"`
	Coefficients map[string]float64 `json:"coefficients"` // in original units
	Model        json.RawMessage    `json:"model"`        // catalog payload
	// Transform is "log" for a model of the response's logarithm: intercept,
	// coefficients and their intervals are then of ln(response), all else is in the
	// response's units. Derivative is the filter that whole curves go through;
	// coefficients are on the curves themselves.
	Transform  string            `json:"transform,omitempty"`
	Derivative *transform.Filter `json:"derivative,omitempty"`
	Origin     bool              `json:"origin,omitempty"` // least squares without an intercept

	// Intervals are the coefficients' jackknife intervals; empty where they
	// could not be had.
	Intervals []Coefficient `json:"coefficient_intervals"`

	Training []Row `json:"training"`
	CV       CV    `json:"cv"`
	// NoiseCeiling is the highest Q² that the response's own error allows, ReplicateSE
	// that error: the standard error of a row's response. nil where nothing was
	// measured twice.
	NoiseCeiling *float64 `json:"noise_ceiling,omitempty"`
	ReplicateSE  *float64 `json:"replicate_se,omitempty"`
	// Repeat is how well the runs behind each feature repeated; a feature that no lot
	// was measured twice for is not in it.
	Repeat      map[string]replicate.Pooled `json:"repeat,omitempty"`
	Permutation *Permutation                `json:"permutation,omitempty"`
	Years       *Years                      `json:"years,omitempty"`
	Protein     *Comparison                 `json:"beyond_protein,omitempty"`
	// Interval is the forecast interval of least squares; for other methods Cross
	// is, and Interval says what normal theory would give. Cross holds the models
	// and errors of the folds.
	Interval   *interval.Interval   `json:"interval"`
	Cross      *interval.Cross      `json:"cross_interval,omitempty"`
	Domain     *domain.Domain       `json:"domain"`
	Directions []direction.Answer   `json:"directions"`
	Relations  []Relation           `json:"relations"`
	Trends     *residue.Trends      `json:"trends,omitempty"`
	Screened   *domain.Screened     `json:"screened,omitempty"`
	OneLot     *verdict.WithoutLots `json:"one_lot,omitempty"`
	Verdict    verdict.Verdict      `json:"verdict"`
	Thresholds verdict.Thresholds   `json:"thresholds"`
	Findings   finding.List         `json:"findings"`

	SHA256 string `json:"sha256"`
}

// Coefficient is a coefficient with its 95 % jackknife interval over lots, all in
// original units. FeatureSD turns it into the change of the response for one
// standard deviation of the feature.
type Coefficient struct {
	Feature   string  `json:"feature"`
	Value     float64 `json:"value"`
	SE        float64 `json:"se"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	FeatureSD float64 `json:"feature_sd"`
}

// Relation is the plain correlation of one feature with the response over the
// calibration lots, with its 95 % Fisher interval, and the least-squares line
// with the 95 % band of the mean response. All in the units of the names.
type Relation struct {
	Feature string   `json:"feature"`
	N       int      `json:"n"`
	R       float64  `json:"r"`
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
	// GivenProtein is the correlation with protein held constant, on the rows
	// that have it.
	GivenProtein *float64 `json:"given_protein,omitempty"`
	Line         []Band   `json:"line"`
	Points       []Point  `json:"points"`
}

// Band is the fitted line and its 95 % band at one value of a feature.
type Band struct {
	X    float64 `json:"x"`
	Y    float64 `json:"y"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Point is one lot in a scatter.
type Point struct {
	Lot string  `json:"lot"`
	X   float64 `json:"x"`
	Y   float64 `json:"y"`
}

// MeasuredRange is the least and the most of the response over the training rows, in its
// unit; 0, 0 without rows.
func (c *Card) MeasuredRange() (least, most float64) {
	for i, r := range c.Training {
		if i == 0 {
			least, most = r.Measured, r.Measured
		}
		least, most = min(least, r.Measured), max(most, r.Measured)
	}
	return least, most
}

// ErrorBand is one RMSECV to either side of equality, over the range of the forecasts
// of lots not seen, in response units: x, and what it is drawn between.
func (c *Card) ErrorBand() (x, low, high []float64) {
	for i, r := range c.Training {
		if i == 0 {
			x = []float64{r.Predicted, r.Predicted}
		}
		x[0], x[1] = min(x[0], r.Predicted), max(x[1], r.Predicted)
	}
	for _, v := range x {
		low, high = append(low, v-c.CV.RMSECV), append(high, v+c.CV.RMSECV)
	}
	return x, low, high
}

// OfCurves reports whether features are places of a whole curve.
func (c *Card) OfCurves() bool {
	return slices.ContainsFunc(c.Features, func(f string) bool { _, ok := trait.PlaceOf(f); return ok })
}

// Curve is the model's coefficients over the mean curve of its training rows; nil
// where the features are not whole curves on time.
func (c *Card) Curve() *anatomy.Curve {
	rows, b := make([][]float64, len(c.Training)), make([]float64, len(c.Features))
	for i, r := range c.Training {
		rows[i] = r.X
	}
	for j, name := range c.Features {
		b[j] = c.Coefficients[name]
	}
	return anatomy.OfCurve(c.Features, rows, b)
}

// Matrix is the training rows as a matrix, with the grouping "family" where lots
// share one, so that folds keep families whole. The error is that of design.New.
func (c *Card) Matrix() (*design.Matrix, error) {
	s := design.Spec{Features: c.Features, Response: c.Response}
	var families []string
	shared := false
	for _, r := range c.Training {
		s.X, s.Y, s.Lots = append(s.X, r.X), append(s.Y, r.Measured), append(s.Lots, r.Lot)
		families, shared = append(families, cmp.Or(r.Family, r.Lot)), shared || r.Family != ""
	}
	if shared {
		s.Groupings = map[string][]string{"family": families}
	}
	return design.New(s)
}

// Fitted decodes the model itself and checks that it has Features' length.
func (c *Card) Fitted() (model.Fitted, error) {
	f, err := catalog.Decode(c.Model)
	if err != nil {
		return nil, fmt.Errorf("model file: %w", err)
	}
	if p := len(f.Linear().Coefficients); p != len(c.Features) {
		return nil, fmt.Errorf("model file: the model has %d coefficients, expected %d as in features", p, len(c.Features))
	}
	return f, nil
}

// Average is the mean of each feature over the calibration rows, in the order of
// Features and in the units of their names.
func (c *Card) Average() []float64 {
	mean := make([]float64, len(c.Features))
	for _, r := range c.Training {
		for j, v := range r.X {
			mean[j] += v / float64(len(c.Training))
		}
	}
	return mean
}
