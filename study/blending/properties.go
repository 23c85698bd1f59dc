package blending

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/blend"
	"flourcast/forecast/conformance"
	"flourcast/forecast/mixing"
	"flourcast/study/job"
	"flourcast/study/stock"
)

// differences are features that are one viscosity less another: they may be 0 or below,
// and the logarithm of a difference is no difference of logarithms.
var differences = map[string]bool{"breakdown_mPas": true, "setback_trough_mPas": true, "setback_peak_mPas": true}

// property is one column of the stock with its rule, its limits as asked for, and what
// own blends say of it.
type property struct {
	blend.Property
	asked   forecast.Spec
	exact   bool
	pasting bool
	own     *known
}

// known is what own blends say of one column under the rule in use.
type known struct {
	n, df    int
	sd, bias float64
}

// properties gives every wanted column its rule.
func (q Request) properties(res *Result, s *stock.File, own map[string][]mixing.Made) ([]property, error) {
	limits := map[string]forecast.Spec{}
	for _, l := range q.Limits {
		limits[l.Response] = l
	}
	var columns []string
	for _, l := range q.Limits {
		columns = append(columns, l.Response)
	}
	for _, name := range s.Columns {
		if _, limited := limits[name]; !limited {
			columns = append(columns, name)
		}
	}
	var out []property
	for _, name := range columns {
		p := property{asked: limits[name], pasting: stock.IsPasting(name)}
		p.Name, p.Low, p.High = name, limits[name].Low, limits[name].High
		for _, f := range s.Flours {
			p.Values = append(p.Values, f.Figures[name])
			if s.OnDry[name] {
				p.Weights = append(p.Weights, f.DryMatter)
			}
		}
		if err := q.rule(res, &p, own[name]); err != nil {
			return nil, err
		}
		if err := q.drawIn(res, &p); err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// rule chooses how a column mixes.
func (q Request) rule(res *Result, p *property, own []mixing.Made) error {
	id, _ := trait.Split(p.Name)
	t, inGlossary := trait.Lookup(id)
	note := func(code string, severity finding.Severity, found, want, do string) {
		res.Findings.Add(finding.Finding{Code: code, Severity: severity, At: finding.Place{File: q.Stock, Column: p.Name}, Found: found, Want: want, Do: do})
	}
	switch {
	case id == stock.FallingNumber:
		p.Rule, p.exact = mixing.Liquefaction, true
		return nil
	case stock.Exact(id):
		p.exact = true
		return nil
	case !inGlossary:
		note("mixed-by-mass", finding.Note, "a column that the glossary does not have", "a share of mass", "it is taken to mix by mass")
		return nil
	case t.Role == trait.RoleResponse:
		return &job.RequestError{Field: "limits", Found: "limits of " + t.Label, Want: "limits of the flour's own figures", Do: "texture and cakes do not mix by a rule: limit the pasting figures that a window gives, run the blend, and forecast it"}
	case !p.pasting:
		note("mixed-by-mass", finding.Doubt, t.Label+" is no share of the flour's mass", "protein, moisture, ash, damaged starch or falling number", "it is taken to mix by mass: measure the blend")
		return nil
	}
	return q.pastingRule(p, t, own, note)
}

// pastingRule is the stated rule or what own blends say; with own blends their deviations
// go along.
func (q Request) pastingRule(p *property, t trait.Trait, own []mixing.Made, note func(string, finding.Severity, string, string, string)) error {
	viscosity := t.Dimension == "viscosity" && !differences[t.ID]
	var few *mixing.TooFewError
	learned, err := mixing.Learn(p.Name, own)
	switch {
	case errors.As(err, &few) && (q.Mixing == Measured || q.Confidence > 0 && (p.Low != nil || p.High != nil)):
		if p.Low == nil && p.High == nil {
			break // not limited: shown by mass
		}
		return &job.RequestError{Field: "blends", Found: fmt.Sprintf("%d own blends with %s in %s", few.Have, p.Name, q.blendsOf()), Want: fmt.Sprintf("%d or more", few.Need), Do: "make and run more blends, or mix by share or by logarithm, without a confidence"}
	case err != nil && !errors.As(err, &few):
		return &job.RequestError{Found: err.Error(), Want: "finite figures in " + q.blendsOf()}
	}
	switch q.Mixing {
	case Measured:
		if err == nil {
			p.Rule = learned.Rule
			p.own = &known{learned.N, learned.DF, learned.SD, learned.Bias}
			if learned.AtEnd {
				note("rule-at-end", finding.Doubt, "the exponent that fits own blends best lies at the end of what is tried: "+learned.Rule.String(), "blends that follow a mean", "look at the blends: a waxy or sprouted part, or a run gone wrong?")
			}
			return nil
		}
	case Log:
		switch {
		case differences[t.ID]:
			return &job.RequestError{Field: "mixing", Found: "the log rule for " + t.Label + ", a difference of two viscosities", Want: "the log rule for viscosities", Do: "limit the viscosities themselves, or mix by share"}
		case viscosity:
			p.Rule = mixing.Log
		default:
			note("mixed-linearly", finding.Note, "the log rule is for viscosities", "", t.Label+" is mixed linearly")
		}
	}
	if !viscosity && !differences[t.ID] {
		note("no-rule-known", finding.Doubt, "no rule is known for "+t.Label, "a viscosity", "it is taken as a mean of the flours': run the blend")
	}
	if len(own) >= mixing.Least {
		e, err := mixing.Deviations(p.Rule, own)
		if err != nil {
			return &job.RequestError{Found: err.Error(), Want: "figures in " + q.blendsOf() + " that the rule can take"}
		}
		p.own = deviations(e)
	}
	return nil
}

// blendsOf is where own blends come from.
func (q Request) blendsOf() string { return cmp.Or(q.Blends, "the lab book") }

// deviations are the mean and root mean square of own blends about a stated rule.
func deviations(e []float64) *known {
	k := &known{n: len(e), df: len(e)}
	ss := 0.0
	for _, v := range e {
		k.bias += v / float64(len(e))
		ss += v * v
	}
	k.sd = math.Sqrt(ss / float64(len(e)))
	return k
}

// drawIn moves the limits of a pasting figure in by what own blends deviate: a blend
// expected inside keeps the limits with probability Confidence.
func (q Request) drawIn(res *Result, p *property) error {
	if q.Confidence == 0 || p.own == nil || p.Low == nil && p.High == nil {
		return nil
	}
	in, ok, err := conformance.Limits{Low: p.Low, High: p.High}.Acceptance(conformance.Spread{U: p.own.sd, DF: float64(p.own.df)}, q.Confidence)
	if err != nil {
		return err
	}
	if !ok {
		res.Binding = append(res.Binding, p.Name)
		return &job.NothingUsableError{What: fmt.Sprintf("%s: own blends deviate from the rule by an SD of %.4g in %s: no blend keeps %s with a probability of %.4g", q.Stock, p.own.sd, p.Name, p.asked, q.Confidence), Findings: res.Findings}
	}
	p.Low, p.High = in.Low, in.High
	return nil
}

// expected is what a blend of these shares is expected to have.
func (p property) expected(shares []float64) (Expected, error) {
	v, err := p.Of(shares)
	if err != nil {
		return Expected{}, err
	}
	e := Expected{Column: p.Name, Rule: p.Rule.String(), Exact: p.exact, Value: v}
	if p.pasting {
		if lin, err := mixing.Mass.Mix(p.Values, shares); err == nil {
			e.ByMass = &lin
		}
		id, _ := trait.Split(p.Name)
		if log, err := mixing.Log.Mix(p.Values, shares); err == nil && !differences[id] {
			e.ByLog = &log
		}
	}
	if p.own != nil {
		e.SD, e.DF, e.Bias, e.OwnBlends = &p.own.sd, p.own.df, &p.own.bias, p.own.n
	}
	return e, nil
}
