package operating

import (
	"context"
	"fmt"

	"flourcast/eval"
	"flourcast/eval/domain"
	"flourcast/eval/fold"
	"flourcast/eval/interval"
	"flourcast/forecast/conformance"
	"flourcast/forecast/window"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/work"
)

// Backtest says how past lots would have fared by windows that were made without
// them: model, its error and its window anew from the other folds' lots. Forecast
// decides the same lots by the same models with all features, at the thresholds
// (accept from Target, reject to 1 − Target).
type Backtest struct {
	Scheme   string        `json:"scheme"`
	Rows     int           `json:"rows"`
	Meeting  int           `json:"meeting"` // rows that meet the specification as measured
	Window   []ZoneCount   `json:"window"`  // target, acceptable, out of bounds, not known
	Forecast []ZoneCount   `json:"forecast"`
	Right    RightAndWrong `json:"by_window"`
}

// ZoneCount counts past lots in one zone, by whether they meet the specification as
// measured.
type ZoneCount struct {
	Zone  string `json:"zone"`
	Meets int    `json:"meets"`
	Fails int    `json:"fails"`
}

// RightAndWrong counts accepts (on target) and rejections (out of bounds).
type RightAndWrong struct {
	RightAccepts    int `json:"right_accepts"`
	WrongAccepts    int `json:"wrong_accepts"`
	RightRejections int `json:"right_rejections"`
	WrongRejections int `json:"wrong_rejections"`
	Undecided       int `json:"undecided"`
}

const mostFolds = 10

// verdictOf is what a fold's window and forecast say of one row.
type verdictOf struct{ zone, forecast string }

// backtest derives the window in each of up to ten folds of lots (of families, where
// lots of the model file share one) and judges the lots left out.
func backtest(ctx context.Context, env job.Env, c *card.Card, by []int, limits conformance.Limits, t window.Thresholds) (Backtest, error) {
	m, err := c.Matrix()
	if err != nil {
		return Backtest{}, err
	}
	plan, err := split(m, env.Seed)
	if err != nil {
		return Backtest{}, err
	}
	fitter, err := newFitter(c)
	if err != nil {
		return Backtest{}, err
	}
	said := make([]verdictOf, m.N())
	progress := env.Report()
	progress.Start("back-test", plan.K[0])
	defer progress.Done()
	err = work.Each(ctx, plan.K[0], env.Cores, func(k int) error {
		defer progress.Step(1)
		test := plan.Test(0, k)
		v, fm, err := deriveWithout(ctx, env, fitter, m, test, by, limits, t)
		if err != nil {
			return fmt.Errorf("back-test, without fold %d: %w", k+1, err)
		}
		for _, i := range test {
			if said[i].zone, _, err = v.zone(m.Row(i)); err != nil {
				return err
			}
			if said[i].forecast, err = byForecast(fm, m.Row(i), limits, t); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return Backtest{}, err
	}
	return count(m, said, limits, plan), nil
}

// split deals the lots, or the families of those that share one, into ten folds, or
// each into its own where there are fewer.
func split(m *design.Matrix, seed uint64) (fold.Plan, error) {
	units, what := fold.Units(m)
	plan, err := fold.Parse(fmt.Sprintf("k=%d", min(mostFolds, distinct(units))), m, 1, work.Seed(seed, "window"))
	if err != nil {
		return plan, &job.RequestError{Found: err.Error(), Want: "more than one " + what, Do: "measure more lots"}
	}
	return plan, nil
}

// newFitter is the model's method with its choice open, if it was chosen.
func newFitter(c *card.Card) (model.Fitter, error) {
	o := catalog.Options{Scaling: c.Scaling}
	if !c.CV.Nested {
		o.Components, o.Lambda = c.Components, c.Lambda
	}
	return catalog.New(c.Kind, o)
}

// foldModel is a window's model with its domain.
type foldModel struct {
	window.Model
	domain *domain.Domain
}

// deriveWithout fits, measures the error by inner folds, and draws the window, all
// without the test rows.
func deriveWithout(ctx context.Context, env job.Env, f model.Fitter, m *design.Matrix, test []int, by []int, limits conformance.Limits, t window.Thresholds) (view, foldModel, error) {
	out := map[int]bool{}
	for _, i := range test {
		out[i] = true
	}
	var rest []int
	for i := range m.N() {
		if !out[i] {
			rest = append(rest, i)
		}
	}
	sub := m.Subset(rest)
	fm, err := derive(ctx, env, f, sub)
	if err != nil {
		return view{}, fm, err
	}
	s, err := window.New(fm.Model, limits, by...)
	if err != nil {
		return view{}, fm, err
	}
	v := view{by: by, thresholds: t, surface: s}
	return v, fm, v.draw()
}

// derive fits a model with its interval and domain as `fit` does, on fewer folds.
func derive(ctx context.Context, env job.Env, f model.Fitter, m *design.Matrix) (foldModel, error) {
	var fm foldModel
	units, _ := fold.Units(m)
	plan, err := fold.Inner(units, work.Seed(env.Seed, "window", "inner"))
	if err != nil {
		return fm, err
	}
	cv, err := eval.CrossValidate(ctx, f, m, plan, 1)
	if err != nil {
		return fm, err
	}
	honest, err := eval.Nested(ctx, f, m, plan, env.Seed, 1)
	if err != nil {
		return fm, err
	}
	path, err := f.Fit(m)
	if err != nil {
		return fm, err
	}
	fitted := path.At(min(cv.Chosen, path.Len()-1))
	iv, err := interval.New(honest.MSECV, distinct(m.Lots()), fitted.DF())
	if err != nil {
		return fm, err
	}
	if fm.domain, err = domain.Build(m); err != nil {
		return fm, err
	}
	line := fitted.Linear()
	fm.Model = window.Model{Intercept: line.Intercept, Coefficients: line.Coefficients, Lots: m.Lots()}
	for i := range m.N() {
		fm.X = append(fm.X, m.Row(i))
	}
	source := interval.Source{Normal: iv, Leverage: func(x []float64) float64 { return fm.domain.Place(x).Leverage }}
	if own, ok := fitted.(interface{ LeverageAt(x []float64) float64 }); ok {
		source.Leverage = own.LeverageAt
	}
	fm.Spread = source.Spread
	return fm, nil
}

// byForecast is the decision with all features, as a zone: target for accept, out
// of bounds for reject, acceptable for hold, not known outside the domain.
func byForecast(fm foldModel, x []float64, limits conformance.Limits, t window.Thresholds) (string, error) {
	if fm.domain.Place(x).Where == domain.Outside {
		return window.NotKnown, nil
	}
	value := fm.Intercept
	for j, b := range fm.Coefficients {
		value += b * x[j]
	}
	spread, err := fm.Spread(x)
	if err != nil {
		return "", err
	}
	p, err := limits.Probability(value, spread)
	switch {
	case err != nil:
		return "", err
	case p >= t.Target:
		return window.Target, nil
	case p <= 1-t.Target:
		return window.OutOfBounds, nil
	}
	return window.Acceptable, nil
}

func count(m *design.Matrix, said []verdictOf, limits conformance.Limits, plan fold.Plan) Backtest {
	b := Backtest{Scheme: plan.Scheme, Rows: m.N()}
	for _, zone := range []string{window.Target, window.Acceptable, window.OutOfBounds, window.NotKnown} {
		w, f := ZoneCount{Zone: zone}, ZoneCount{Zone: zone}
		for i, s := range said {
			ok := meets(m.Y()[i], limits)
			w.add(s.zone == zone, ok)
			f.add(s.forecast == zone, ok)
		}
		b.Window, b.Forecast = append(b.Window, w), append(b.Forecast, f)
		b.Meeting += w.Meets
		switch zone {
		case window.Target:
			b.Right.RightAccepts, b.Right.WrongAccepts = w.Meets, w.Fails
		case window.OutOfBounds:
			b.Right.RightRejections, b.Right.WrongRejections = w.Fails, w.Meets
		default:
			b.Right.Undecided += w.Meets + w.Fails
		}
	}
	return b
}

func (c *ZoneCount) add(here, meets bool) {
	switch {
	case here && meets:
		c.Meets++
	case here:
		c.Fails++
	}
}

func distinct(names []string) int {
	seen := map[string]bool{}
	for _, n := range names {
		seen[n] = true
	}
	return len(seen)
}
