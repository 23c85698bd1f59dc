package survey

import (
	"context"
	"errors"
	"fmt"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/eval/resample"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/model/catalog"
	"flourcast/study/fitting"
	"flourcast/study/job"
)

// forecastLevel is the level of forecast intervals.
const forecastLevel = 0.90

// PlanResult is what `plan` prints. Curve and what follows from it are absent
// below 20 separate lots.
type PlanResult struct {
	About
	Kind     string   `json:"kind"`
	Features []string `json:"features"`
	// Needs are the counts that a verdict asks for, and what is missing.
	Needs []Need `json:"needs"`
	// Curve is the error of lots not seen by the number of lots fitted; Ahead the
	// fitted curve carried on. Both are in response units.
	Curve []CurvePoint `json:"curve"`
	Ahead []CurvePoint `json:"ahead"`
	// Floor is the error that no number of lots would bring down: of the response
	// itself, and of what the features do not tell. It is an extrapolation.
	Floor *float64 `json:"floor"`
	// Width is of a 90 % forecast interval now, Spec the specification asked for.
	Width *float64       `json:"width"`
	Spec  *forecast.Spec `json:"spec"`
	// ForSpec is how many lots it takes until the interval is narrower than the
	// specification.
	ForSpec *ForSpec `json:"for_spec"`
}

// Need is a number of lots (or crop years) that a check asks for.
type Need struct {
	For  string `json:"for"`
	Unit string `json:"unit"` // lots | crop years
	Have int    `json:"have"`
	Need int    `json:"need"`
	More int    `json:"more"` // Need − Have, or 0
	Why  string `json:"why"`
	// Rule and Feature are of a published direction's row.
	Rule    string `json:"rule,omitempty"`
	Feature string `json:"feature,omitempty"`
}

// CurvePoint is the error at a number of lots with its 95 % interval; Width is that
// of the forecast interval there.
type CurvePoint struct {
	Lots  int      `json:"lots"`
	RMSE  float64  `json:"rmse"`
	Low   float64  `json:"low"`
	High  float64  `json:"high"`
	Width *float64 `json:"width"`
}

// ForSpec says when the forecast interval is as narrow as the specification is
// wide. Lots, Low or High nil: no number of lots would do.
type ForSpec struct {
	SpecWidth float64 `json:"spec_width"`
	Lots      *int    `json:"lots"`
	Low       *int    `json:"low"`
	High      *int    `json:"high"`
}

// Plan answers how many lots it takes: by the counts that a verdict asks for, by
// the rules that apply, and by a learning curve of the kind of model in q. spec may
// be nil. Errors: *job.RequestError, *job.NothingUsableError, those of fitting.
func Plan(ctx context.Context, env job.Env, q Request, spec *forecast.Spec) (*PlanResult, error) {
	if spec != nil && (spec.Low == nil || spec.High == nil) {
		return nil, &job.RequestError{Found: "a specification with one limit", Want: "both limits, as in hardness_N=3.2..4.0", Do: "the width of the specification is what an interval is compared with"}
	}
	s, err := assemble(q, "flourcast.plan/1", nil)
	if err != nil {
		return nil, err
	}
	if spec != nil && spec.Response != s.m.Response() {
		return nil, &job.RequestError{Found: "a specification of " + spec.Response, Want: "one of " + s.m.Response()}
	}
	fitter, err := catalog.New(q.Kind, catalog.Options{Components: q.Components, Lambda: q.Lambda, Scaling: q.Scaling})
	if err != nil {
		return nil, &job.RequestError{Found: fmt.Sprintf("kind %q (%v)", q.Kind, err), Want: fmt.Sprint("one of ", catalog.Kinds())}
	}
	res := &PlanResult{About: s.about, Kind: q.Kind, Features: s.m.Features(), Spec: spec, Curve: []CurvePoint{}, Ahead: []CurvePoint{}}
	if res.Needs, err = s.needs(ctx, env); err != nil {
		return nil, err
	}
	curve, err := resample.Grow(ctx, fitter, s.m, resample.GrowOptions{Draws: 60, Resamples: 999, Seed: env.Seed, Cores: env.Cores})
	var few *resample.TooFewError
	if errors.As(err, &few) {
		res.Findings.Add(note("no-learning-curve", "%v", few))
		return res, nil
	}
	if err != nil {
		return nil, err
	}
	units, _ := fold.Units(s.m)
	plan, err := fold.Inner(units, env.Seed)
	if err != nil {
		return nil, err
	}
	cv, err := eval.CrossValidate(ctx, fitter, s.m, plan, env.Cores)
	if err != nil {
		return nil, err
	}
	path, err := fitter.Fit(s.m)
	if err != nil {
		return nil, err
	}
	res.carryOn(curve, path.At(min(cv.Chosen, path.Len()-1)).DF())
	return res, nil
}

// carryOn fills what follows from the curve, for a model of df degrees of freedom.
func (res *PlanResult) carryOn(c *resample.Curve, df float64) {
	width := func(n int) *float64 {
		if float64(n)-df-1 <= 0 {
			return nil
		}
		w := c.Width(n, df, forecastLevel)
		return &w
	}
	for _, p := range c.Points {
		res.Curve = append(res.Curve, CurvePoint{p.Units, p.RMSE, p.Low, p.High, width(p.Units)})
	}
	for _, times := range []float64{1, 1.5, 2, 3, 5, 10} {
		n := int(times * float64(c.Units))
		rmse, low, high := c.At(n)
		res.Ahead = append(res.Ahead, CurvePoint{n, rmse, low, high, width(n)})
	}
	floor, _, _ := c.At(resample.Most)
	res.Floor, res.Width = &floor, width(c.Units)
	if res.Spec == nil {
		return
	}
	res.ForSpec = &ForSpec{SpecWidth: *res.Spec.High - *res.Spec.Low}
	n, low, high := c.Needed(res.ForSpec.SpecWidth, df, forecastLevel)
	for _, v := range []struct {
		n  int
		to **int
	}{{n, &res.ForSpec.Lots}, {low, &res.ForSpec.Low}, {high, &res.ForSpec.High}} {
		if v.n > 0 {
			*v.to = &v.n
		}
	}
}

// needs are the counts of a verdict's checks and of the rules that apply.
func (s *selected) needs(ctx context.Context, env job.Env) ([]Need, error) {
	t := verdict.Defaults()
	if s.q.Thresholds != nil {
		t = *s.q.Thresholds
	}
	var out []Need
	add := func(what, unit string, have, need int, why string) {
		out = append(out, Need{For: what, Unit: unit, Have: have, Need: need, More: max(0, need-have), Why: why})
	}
	lots := s.about.Lots
	add("any verdict", "lots", lots, t.LotsFail, "with fewer a model is not fit for use, whatever it shows")
	add("a verdict without a caution on its size", "lots", lots, t.LotsPass, "the verdict's own threshold")
	add("a finite 90 % interval by order statistics", "lots", lots, 9, "⌈0.90·(n + 1)⌉ must not exceed n")
	add("a finite 95 % interval by order statistics", "lots", lots, 19, "⌈0.95·(n + 1)⌉ must not exceed n")
	add("a new harvest", "crop years", s.fullYears(t.LotsPerYear), t.CropYears, fmt.Sprintf("crop years of %d lots or more, each to be forecast from the others", t.LotsPerYear))
	answers, err := fitting.Directions(ctx, env, s.q)
	if err != nil {
		return nil, err
	}
	for _, a := range answers {
		if a.Applies && a.Code != "feature-absent" {
			add("rule "+a.Rule.ID+" with "+a.Feature, "lots", a.N, a.Needed, "for a power of 0.8 at the nearer limit of the published interval, or at r 0.5")
			out[len(out)-1].Rule, out[len(out)-1].Feature = a.Rule.ID, a.Feature
		}
	}
	return out, nil
}

// fullYears counts crop years of so many lots.
func (s *selected) fullYears(least int) int {
	in := map[string]map[string]bool{}
	for i, y := range s.years() {
		if y == "" {
			continue
		}
		if in[y] == nil {
			in[y] = map[string]bool{}
		}
		in[y][s.m.Lots()[i]] = true
	}
	n := 0
	for _, lots := range in {
		if len(lots) >= least {
			n++
		}
	}
	return n
}
