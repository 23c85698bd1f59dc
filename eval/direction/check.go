package direction

import (
	"context"
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/trait"
	"flourcast/stat/correlation"
)

// FeatureColumn is one feature over the rows of an Evidence. ID is its column
// name; a method suffix ("peak_mPas@noodle-water") is cut before rules are
// looked up. Present nil means all present. RepeatSD is the repeatability SD of
// the feature where known. Solvent "" means the Evidence's.
type FeatureColumn struct {
	ID       string
	X        []float64
	Present  []bool
	RepeatSD *float64
	Solvent  trait.Solvent
}

// Evidence is what a laboratory measured, one entry a row. Rows of one lot are
// averaged before anything is counted. Kind "" takes the kind of every rule about
// the response. Protein and Year may be nil; a year is "" where unknown.
type Evidence struct {
	Product  string
	Solvent  trait.Solvent
	Response string
	Kind     string // instrumental | preference
	Lots     []string
	Y        []float64
	Features []FeatureColumn
	Protein  *FeatureColumn
	Year     []string
}

// ShapeError says which part of an Evidence does not fit the others.
type ShapeError struct{ Part, Found, Want string }

func (e *ShapeError) Error() string {
	return fmt.Sprintf("direction: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}

// Outcomes of a rule.
const (
	Confirmed    = "confirmed"
	Contradicted = "contradicted"
	CannotTell   = "cannot tell"
)

// Answer is one rule put to one column of the data. Applies is true when the
// rule is for this product and solvent; only such answers weigh in a verdict. R,
// Low, High and N are the pooled correlation over lots with its bootstrap
// interval (of an optimum rule: of curvature, see Measure); they are absent where
// they could not be had.
type Answer struct {
	Rule    Rule   `json:"rule"`
	Feature string `json:"feature"` // the column that was tested
	Applies bool   `json:"applies"`
	Outcome string `json:"outcome"` // confirmed | contradicted | cannot tell
	Code    string `json:"code"`    // of the reason, for scripts
	Reason  string `json:"reason"`

	Measure string   `json:"measure"` // correlation | curvature
	R       *float64 `json:"r"`
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
	N       int      `json:"n"`
	Needed  int      `json:"needed"` // lots for a fair check, see Rule.Needed
	// Fisher is the interval that must agree below 30 lots.
	Fisher *Correlation `json:"fisher"`
	// Within is the correlation after crop-year means are taken off; absent when
	// fewer than two years have five lots.
	Within *Correlation `json:"within_year"`
	// GivenProtein is the correlation with protein held constant, on the lots
	// that have it. It is shown, and does not change the outcome.
	GivenProtein *Correlation `json:"given_protein"`
	// P is Fisher's two-sided p of no correlation, PAdjusted Benjamini and
	// Hochberg's value over the columns tested, PPublished that of a difference
	// from the published correlation. They are shown, and judge nothing.
	P          *float64 `json:"p"`
	PAdjusted  *float64 `json:"p_adjusted"`
	PPublished *float64 `json:"p_published"`
	// AgainstMajority is set on a contested rule that the data confirm while more
	// rules for this product say otherwise.
	AgainstMajority bool `json:"against_majority"`
}

// Correlation is a correlation with its 95 % interval over N lots (and Years crop
// years, where they are taken off).
type Correlation struct {
	R     float64 `json:"r"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	N     int     `json:"n"`
	Years int     `json:"years,omitempty"`
}

// What an answer's R measures.
const (
	MeasureCorrelation = "correlation"
	MeasureCurvature   = "curvature"
)

const (
	resamples    = 1999
	leastLots    = 5  // for any interval
	fewLots      = 30 // below, Fisher's interval must agree
	lotsInYear   = 5
	repeatFactor = 3   // the spread between lots must be this many repeatability SDs
	slight       = 0.3 // |r| that a rule of no relation allows
)

// Check answers every rule about e's response and kind, in the order of rules
// and, within a rule, of e's columns. A rule is
//
//   - confirmed when the 95 % intervals of the pooled correlation and, where two
//     years have five lots each, of the correlation within crop years both lie on
//     the rule's side of zero; below 30 lots the Fisher intervals too;
//   - contradicted when they all lie on the other side;
//   - else not to be told, with the reason: few lots, a narrow range, another
//     product or solvent, an unknown solvent, years that disagree, no variation.
//
// A rule of no relation is confirmed when the intervals lie within ±0.3, and
// contradicted when they exclude zero. A rule of an optimum is confirmed when the
// curvature's interval lies below zero and the top inside the range.
//
// A rule for a nearer product replaces a farther one's for the same feature,
// response and solvent. It returns a *ShapeError for slices of unequal length or
// a figure that is not finite, and ctx's error. The same seed gives the same
// answers on any number of cores (0: all).
func Check(ctx context.Context, rules []Rule, e Evidence, seed uint64, cores int) ([]Answer, error) {
	lots, err := gather(e)
	if err != nil {
		return nil, err
	}
	mine := make([]Rule, 0, len(rules))
	for _, r := range rules {
		if r.Response == e.Response && (e.Kind == "" || r.Kind == e.Kind) {
			mine = append(mine, r)
		}
	}
	answers := []Answer{}
	tested := map[string]results{} // column and measure; looked up only
	for _, r := range mine {
		columns := columnsOf(e, r.Feature)
		if len(columns) == 0 {
			a := Answer{Rule: r, Feature: r.Feature, Measure: MeasureCorrelation, Needed: r.Needed()}
			if a.Applies = a.outside(e, mine, e.Solvent); a.Applies {
				a.cannot("feature-absent", "the data have no "+r.Feature)
			}
			answers = append(answers, a)
			continue
		}
		for _, c := range columns {
			column := e.Features[c]
			a := Answer{Rule: r, Feature: column.ID, Measure: MeasureCorrelation, Needed: r.Needed()}
			if r.Sign == Optimum {
				a.Measure = MeasureCurvature
			}
			solvent := column.Solvent
			if solvent == trait.UnknownSolvent {
				solvent = e.Solvent
			}
			if a.Applies = a.outside(e, mine, solvent); a.Applies {
				key := column.ID + " " + a.Measure
				res, done := tested[key]
				if !done {
					if res, err = test(ctx, lots, c, a.Measure, seed, cores); err != nil {
						return nil, err
					}
					tested[key] = res
				}
				a.judge(res, column, mine)
			}
			answers = append(answers, a)
		}
	}
	adjust(answers)
	return answers, nil
}

// columnsOf are the columns of a feature, whatever their method.
func columnsOf(e Evidence, feature string) []int {
	var out []int
	for c, column := range e.Features {
		if id, _ := trait.Split(column.ID); id == feature {
			out = append(out, c)
		}
	}
	return out
}

// outside answers a rule that is not about this product or solvent, and reports
// whether the rule applies.
func (a *Answer) outside(e Evidence, rules []Rule, solvent trait.Solvent) bool {
	r := a.Rule
	kin := trait.Ancestors(e.Product)
	far := slices.Index(kin, r.Product)
	switch {
	case e.Product == "":
		a.cannot("product-unknown", "the data do not say for which product; the rule is for "+r.Product)
	case far < 0:
		a.cannot("other-product", fmt.Sprintf("the rule is for %s, the data are for %s", r.Product, e.Product))
	case r.Solvent != Any && solvent == trait.UnknownSolvent:
		a.cannot("solvent-unknown", fmt.Sprintf("the rule is for pastes in %s, and the solvent is not known: name the method", r.Solvent))
	case r.Solvent != Any && solvent != r.Solvent:
		a.cannot("other-solvent", fmt.Sprintf("the rule is for pastes in %s, the data are in %s", r.Solvent, solvent))
	default:
		for _, other := range rules {
			near := slices.Index(kin, other.Product)
			if near >= 0 && near < far && other.Feature == r.Feature && (other.Solvent == r.Solvent || other.Solvent == Any || other.Solvent == solvent) {
				a.cannot("nearer-rule", fmt.Sprintf("rule %s is for %s itself and stands in its place", other.ID, other.Product))
				return false
			}
		}
		return true
	}
	return false
}

func (a *Answer) cannot(code, reason string) {
	a.Outcome, a.Code, a.Reason = CannotTell, code, reason
}

// adjust fills the Benjamini–Hochberg values over the columns tested, each once.
func adjust(answers []Answer) {
	var columns []string
	var p []float64
	for _, a := range answers {
		if a.P != nil && !slices.Contains(columns, a.Feature) {
			columns, p = append(columns, a.Feature), append(p, *a.P)
		}
	}
	adjusted := correlation.FalseDiscovery(p)
	for i, a := range answers {
		if a.P != nil {
			v := adjusted[slices.Index(columns, a.Feature)]
			answers[i].PAdjusted = &v
		}
	}
}

// lots are the rows of an Evidence averaged by lot, in order of first appearance.
type lots struct {
	y        []float64
	year     []string
	features []column
	protein  *column
}

type column struct {
	id    string
	x     []float64
	known []bool
}

// gather checks shapes and averages rows by lot. A lot whose rows name several
// crop years has none.
func gather(e Evidence) (*lots, error) {
	n := len(e.Y)
	if len(e.Lots) != n {
		return nil, &ShapeError{"lots", fmt.Sprint(len(e.Lots)), fmt.Sprint(n, " as in Y")}
	}
	if e.Year != nil && len(e.Year) != n {
		return nil, &ShapeError{"year", fmt.Sprint(len(e.Year)), fmt.Sprint(n, " as in Y")}
	}
	at, of := map[string]int{}, make([]int, n)
	out := &lots{}
	for i, lot := range e.Lots {
		k, ok := at[lot]
		if !ok {
			k = len(at)
			at[lot] = k
			year := ""
			if e.Year != nil {
				year = e.Year[i]
			}
			out.year = append(out.year, year)
		} else if e.Year != nil && e.Year[i] != out.year[k] {
			out.year[k] = ""
		}
		of[i] = k
	}
	mean := func(c FeatureColumn) (column, error) {
		if len(c.X) != n || (c.Present != nil && len(c.Present) != n) {
			return column{}, &ShapeError{c.ID, fmt.Sprint(len(c.X), " figures"), fmt.Sprint(n, " as in Y")}
		}
		col, count := column{c.ID, make([]float64, len(at)), make([]bool, len(at))}, make([]float64, len(at))
		for i, v := range c.X {
			if c.Present != nil && !c.Present[i] {
				continue
			}
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return column{}, &ShapeError{fmt.Sprintf("%s of lot %s", c.ID, e.Lots[i]), fmt.Sprint(v), "a finite number, or marked absent"}
			}
			k := of[i]
			count[k]++
			col.x[k] += (v - col.x[k]) / count[k]
			col.known[k] = true
		}
		return col, nil
	}
	y, err := mean(FeatureColumn{ID: e.Response, X: e.Y})
	if err != nil {
		return nil, err
	}
	out.y = y.x
	for _, c := range e.Features {
		col, err := mean(c)
		if err != nil {
			return nil, err
		}
		out.features = append(out.features, col)
	}
	if e.Protein != nil {
		col, err := mean(*e.Protein)
		if err != nil {
			return nil, err
		}
		out.protein = &col
	}
	return out, nil
}
