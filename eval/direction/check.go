package direction

import (
	"context"
	"fmt"
	"slices"

	"flourcast/dataset/trait"
	"flourcast/eval/direction/evidence"
	"flourcast/stat/correlation"
)

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
	// that have it, with Fisher's interval (SE 1/√(n − 4)). It does not change the
	// outcome; a verdict asks whether what is confirmed holds given protein.
	GivenProtein *Correlation `json:"given_protein"`
	// LeftOut is how many lots the rule is not meant for, see Rule.When.
	LeftOut int `json:"left_out,omitempty"`
	// Sprouted is how many lots of a low falling number stand among those of a
	// paste in water, and Sound the correlation without them: amylase lowers the
	// paste and softens the product, which is no direction of starch.
	Sprouted int          `json:"sprouted,omitempty"`
	Sound    *Correlation `json:"without_sprouted,omitempty"`
	// Slope is the model's own: shown, never judged. Whoever has the model sets it.
	Slope *Slope `json:"slope,omitempty"`
	// P is Fisher's two-sided p of no correlation, PAdjusted Benjamini and
	// Hochberg's value over the columns tested, PPublished that of a difference
	// from the published correlation. They are shown, and judge nothing.
	P          *float64 `json:"p"`
	PAdjusted  *float64 `json:"p_adjusted"`
	PPublished *float64 `json:"p_published"`
	// AgreeWith and AgreeAgainst name, for a contested rule that was answered, the
	// rules for this product that say what the data say, and those that do not.
	AgreeWith    []string `json:"agree_with,omitempty"`
	AgreeAgainst []string `json:"agree_against,omitempty"`
	// AgainstMajority is set when more of them say otherwise.
	AgainstMajority bool `json:"against_majority"`

	seen string // the sign that the data show; "" where none is clear
}

// Slope is how a model's predictions of lots that it had not seen move with a
// feature: response units for one SD of the feature over the lots, with a
// percentile interval from models that were fitted anew on resampled lots.
type Slope struct {
	Value     float64 `json:"value"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	Resamples int     `json:"resamples"`
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
// Only lots that a rule is meant for are looked at (Rule.When); a rule within a
// group is put to the differences within each of its groups.
//
// A rule for a nearer product replaces a farther one's for the same feature,
// response and solvent. It returns a *ShapeError for slices of unequal length or
// a figure that is not finite, and ctx's error. The same seed gives the same
// answers on any number of cores (0: all).
func Check(ctx context.Context, rules []Rule, e Evidence, seed uint64, cores int) ([]Answer, error) {
	lots, err := evidence.Gather(e)
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
				words, _, _ := trait.Words(r.Feature)
				a.cannot("feature-absent", "the data have no "+words)
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
			if a.Applies = a.outside(e, mine, solvent); !a.Applies {
				answers = append(answers, a)
				continue
			}
			key := column.ID + " " + a.Measure + " " + r.When
			res, done := tested[key]
			if !done {
				q := question{l: lots, col: lots.Features[c], measure: a.Measure, among: lots.Among(r.Needs()), seed: seed, cores: cores}
				q.water = solvent == trait.Water
				if res, err = q.test(ctx); err != nil {
					return nil, err
				}
				tested[key] = res
			}
			a.judge(res, column, mine)
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
