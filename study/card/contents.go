package card

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/trait"
	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/model"
	"flourcast/model/transform"
)

// Contents is what a model file holds, as `show` prints it. The file passed every
// check of Decode, its hash among them.
type Contents struct {
	Schema  string    `json:"schema"`
	Model   string    `json:"model"` // path
	File    FileFacts `json:"file"`
	Program string    `json:"program"`
	Made    time.Time `json:"made"`
	Notice  string    `json:"notice,omitempty"`
	Source  Source    `json:"source"`

	Product      string             `json:"product"`
	Method       string             `json:"method"`
	Solvent      trait.Solvent      `json:"solvent"`
	Treatment    string             `json:"treatment"`
	Where        []column.Condition `json:"where"`
	Response     string             `json:"response"`
	ResponseUnit string             `json:"response_unit"`
	ResponseKind string             `json:"response_kind"`

	Kind       string              `json:"kind"`
	Scaling    model.Scaling       `json:"scaling"`
	Components int                 `json:"components"`
	Lambda     *float64            `json:"lambda"`
	Intercept  float64             `json:"intercept"`
	Origin     bool                `json:"origin"`
	Weighting  *assembly.Weighting `json:"weighting"` // nil: each row counts alike
	Transform  string              `json:"transform"` // log: intercept and coefficients are of ln(response)
	Derivative *transform.Filter   `json:"derivative"`
	Features   []Feature           `json:"features"`

	Rows     int           `json:"rows"`
	Lots     []TrainingLot `json:"lots"`
	Scheme   string        `json:"scheme"`
	RMSECV   float64       `json:"rmsecv"`
	Q2       float64       `json:"q2"`
	Interval string        `json:"interval"` // jackknife+, cv+ or parametric

	Standing   string             `json:"standing"`
	Grade      string             `json:"grade"`
	Sentence   string             `json:"sentence"`
	Thresholds verdict.Thresholds `json:"thresholds"`
	Changed    []string           `json:"thresholds_changed"`
	Overrides  []verdict.Override `json:"overrides"`
}

// FileFacts say how the file is written. HashMatches is true of every file that
// can be shown: another is refused.
type FileFacts struct {
	Schema         string `json:"schema"`
	SHA256         string `json:"sha256"`
	HashMatches    bool   `json:"hash_matches"`
	PayloadVersion int    `json:"payload_version"` // of the fitted model inside
}

// Feature is one feature of a model: its unit, its coefficient in response units
// for one unit of the feature, that coefficient's 95 % jackknife interval (nil
// where it could not be had), and the range of the training rows.
type Feature struct {
	Feature     string   `json:"feature"`
	Label       string   `json:"label"`
	Unit        string   `json:"unit"`
	Coefficient float64  `json:"coefficient"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Least       float64  `json:"least"`
	Most        float64  `json:"most"`
}

// TrainingLot is one lot that the model was made from: its rows, and the means of
// what was measured and of what models that had not seen the lot predicted.
type TrainingLot struct {
	Lot       string  `json:"lot"`
	CropYear  string  `json:"crop_year"`
	Rows      int     `json:"rows"`
	Measured  float64 `json:"measured"`
	Predicted float64 `json:"predicted"`
}

// Show reads a model file and says what it holds. Errors are those of Read.
func Show(path string) (*Contents, error) {
	c, err := Read(path)
	if err != nil {
		return nil, err
	}
	return c.contents(path)
}

func (c *Card) contents(path string) (*Contents, error) {
	var payload struct {
		Version int `json:"version"`
	}
	if err := json.Unmarshal(c.Model, &payload); err != nil {
		return nil, fmt.Errorf("model file: %w", err)
	}
	v := c.Verdict
	out := &Contents{
		Schema: "flourcast.show/1", Model: path, File: FileFacts{c.Schema, c.SHA256, true, payload.Version}, Program: c.Program, Made: c.Made, Notice: c.Notice, Source: c.Source,
		Product: c.Product, Method: c.Method, Solvent: c.Solvent, Treatment: c.Treatment, Where: listed(c.Where), Response: c.Response, ResponseKind: c.ResponseKind,
		Kind: c.Kind, Scaling: c.Scaling, Components: c.Components, Lambda: c.Lambda, Intercept: c.Intercept, Origin: c.Origin, Weighting: c.Weighting, Transform: c.Transform, Derivative: c.Derivative, Features: c.features(),
		Rows: len(c.Training), Lots: c.trainingLots(), Scheme: c.CV.Scheme, RMSECV: c.CV.RMSECV, Q2: c.CV.Q2, Interval: interval.KindParametric,
		Standing: v.Standing, Grade: v.Grade, Sentence: v.Sentence, Thresholds: c.Thresholds, Changed: listed(v.Changed), Overrides: listed(v.Overrides),
	}
	if t, ok := trait.Lookup(c.Response); ok {
		out.ResponseUnit = t.Unit
	}
	if c.Cross != nil {
		out.Interval = c.Cross.Kind
	}
	return out, nil
}

// listed is v, never null in JSON.
func listed[T any](v []T) []T {
	if v == nil {
		return []T{}
	}
	return v
}

func (c *Card) features() []Feature {
	out := make([]Feature, len(c.Features))
	for j, name := range c.Features {
		f := Feature{Feature: name, Label: name, Coefficient: c.Coefficients[name], Least: math.Inf(1), Most: math.Inf(-1)}
		if t, ok := trait.Lookup(name); ok {
			f.Label, f.Unit = t.Label, t.Unit
			if _, method := trait.Split(name); method != "" {
				f.Label += " (" + method + ")"
			}
		}
		if k := slices.IndexFunc(c.Intervals, func(i Coefficient) bool { return i.Feature == name }); k >= 0 {
			f.Low, f.High = &c.Intervals[k].Low, &c.Intervals[k].High
		}
		for _, r := range c.Training {
			f.Least, f.Most = min(f.Least, r.X[j]), max(f.Most, r.X[j])
		}
		out[j] = f
	}
	return out
}

// trainingLots are in order of first appearance.
func (c *Card) trainingLots() []TrainingLot {
	at := map[string]int{}
	out := []TrainingLot{}
	for _, r := range c.Training {
		k, seen := at[r.Lot]
		if !seen {
			k = len(out)
			at[r.Lot] = k
			out = append(out, TrainingLot{Lot: r.Lot})
		}
		l := &out[k]
		l.Rows++
		l.CropYear = cmp.Or(l.CropYear, r.CropYear)
		l.Measured += (r.Measured - l.Measured) / float64(l.Rows)
		l.Predicted += (r.Predicted - l.Predicted) / float64(l.Rows)
	}
	return out
}
