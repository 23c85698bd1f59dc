// Package operating finds operating windows: within which range of a feature, or of
// two, lots meet a specification, or run well in production.
//
//  1. FromModel takes a model file and a specification; package window does the
//     arithmetic. The past lots are then judged by windows that were made without
//     them.
//  2. FromProduction takes a table with notes of which lots ran well: tolerance
//     limits of those, set against the lots that had trouble.
//
// It refuses a model that is not fit for use, unless somebody overrides that with a
// reason, which is printed with everything.
package operating

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/forecast/conformance"
	"flourcast/forecast/window"
	"flourcast/study/card"
	"flourcast/study/job"
)

// Request names a model file, a specification and one or two features of the model.
// Confidence is the probability from which a lot is on target (0.95 when 0),
// Acceptable that from which it is acceptable (0.50 when 0). Override is the reason
// for a window of a model that is not fit for use.
type Request struct {
	Model      string
	Card       *card.Card // instead of Model
	Spec       forecast.Spec
	By         []string // nil: peak viscosity, or the model's first feature
	Confidence float64
	Acceptable float64
	Override   string
}

// Result is what `window` prints of a model.
type Result struct {
	Schema     string            `json:"schema"`
	Model      string            `json:"model"`
	Product    string            `json:"product"`
	Response   string            `json:"response"`
	Method     string            `json:"method"`
	Standing   string            `json:"standing"`
	Sentence   string            `json:"verdict_sentence"`
	Override   string            `json:"override,omitempty"`
	Spec       forecast.Spec     `json:"spec"`
	By         []string          `json:"by"`
	Others     []string          `json:"other_features"` // that move as in the calibration lots
	Thresholds window.Thresholds `json:"thresholds"`
	Line       *window.Line      `json:"line,omitempty"`
	Map        *window.Map       `json:"map,omitempty"`
	Lots       []Lot             `json:"lots"`
	Backtest   Backtest          `json:"backtest"`
	Notice     string            `json:"notice,omitempty"`
}

// Lot is a calibration lot on the window: its chosen features, what was measured,
// and the zone it lies in.
type Lot struct {
	Lot      string    `json:"lot"`
	At       []float64 `json:"at"`
	Measured float64   `json:"measured"`
	Meets    bool      `json:"meets"`
	Zone     string    `json:"zone"`
	P        float64   `json:"p"`
}

// FromModel makes the window and tries it on the past lots. Errors:
// *job.RequestError for a specification of another response, a feature that the
// model does not have, thresholds out of order, features that depend on one another,
// or a model not fit for use without an override; those of reading the model file.
func FromModel(ctx context.Context, env job.Env, q Request) (*Result, error) {
	c, err := card.Of(q.Card, q.Model)
	if err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.window/1", Model: q.Model, Product: c.Product, Response: c.Response, Method: c.Method, Standing: c.Verdict.Standing,
		Sentence: c.Verdict.Sentence, Spec: q.Spec, Thresholds: window.Thresholds{Target: orElse(q.Confidence, 0.95), Acceptable: orElse(q.Acceptable, 0.50)},
		Others: []string{}, Lots: []Lot{}, Notice: c.Notice}
	if c.OfCurves() {
		return nil, &job.RequestError{Found: "a model of whole curves", Want: "a model of features: no place of a curve can be held to a window by itself", Do: "fit a model of features, or forecast lot by lot"}
	}
	by, err := res.settle(c, q)
	if err != nil {
		return nil, err
	}
	limits := conformance.Limits{Low: q.Spec.Low, High: q.Spec.High}
	m, err := cardModel(c)
	if err != nil {
		return nil, err
	}
	s, err := window.New(m, limits, by...)
	if err != nil {
		return nil, &job.RequestError{Found: err.Error(), Want: "features with a window", Do: "choose other features"}
	}
	view := view{by: by, thresholds: res.Thresholds, surface: s}
	if err := view.draw(); err != nil {
		return nil, err
	}
	res.Line, res.Map = view.line, view.plan
	if err := res.place(c, view, limits); err != nil {
		return nil, err
	}
	res.Backtest, err = backtest(ctx, env, c, by, limits, res.Thresholds)
	return res, err
}

func orElse(v, otherwise float64) float64 {
	if v == 0 {
		return otherwise
	}
	return v
}

// settle checks the request against the model and finds the chosen features.
func (r *Result) settle(c *card.Card, q Request) ([]int, error) {
	if err := q.Spec.Check(); err != nil {
		return nil, &job.RequestError{Field: "spec", Found: err.Error(), Want: "a specification"}
	}
	if q.Spec.Response != c.Response {
		return nil, &job.RequestError{Field: "spec", Found: "limits for " + q.Spec.Response, Want: "limits for " + c.Response + ", which the model forecasts", Do: "state the limits in its unit"}
	}
	if err := r.Thresholds.Check(); err != nil {
		return nil, &job.RequestError{Field: "confidence", Found: err.Error(), Want: "the confidence of the target above that of what is acceptable"}
	}
	if c.Verdict.Standing != verdict.FitForUse && c.Verdict.Standing != verdict.Provisional {
		if strings.TrimSpace(q.Override) == "" {
			return nil, &job.RequestError{Field: "override", Found: fmt.Sprintf("a model that is %s: %s", c.Verdict.Standing, c.Verdict.Sentence), Want: "a model that may be used",
				Do: "mend the model, or give a reason to use it all the same, which is printed"}
		}
		r.Override = q.Override
	}
	names := q.By
	if len(names) == 0 {
		names = []string{c.Features[0]}
		for _, f := range c.Features {
			if id, _ := trait.Split(f); id == "peak_mPas" {
				names = []string{f}
			}
		}
	}
	if len(names) > 2 {
		return nil, &job.RequestError{Found: fmt.Sprint(len(names), " features"), Want: "one for a line, two for a map"}
	}
	var by []int
	for _, name := range names {
		j := find(c.Features, name)
		if j < 0 {
			return nil, &job.RequestError{Field: "feature", Found: "feature " + name, Want: "one of the model's: " + strings.Join(c.Features, ", "), Do: "fit a model with it, or choose another"}
		}
		by, r.By = append(by, j), append(r.By, c.Features[j])
	}
	for _, f := range c.Features {
		if !slices.Contains(r.By, f) {
			r.Others = append(r.Others, f)
		}
	}
	return by, nil
}

// find is the number of a feature by its name, or by its name without the method;
// −1 where there is none, or more than one.
func find(features []string, name string) int {
	if j := slices.Index(features, name); j >= 0 {
		return j
	}
	found := -1
	for j, f := range features {
		if id, _ := trait.Split(f); id == name {
			if found >= 0 {
				return -1
			}
			found = j
		}
	}
	return found
}

// cardModel is the window's model of a model file.
func cardModel(c *card.Card) (window.Model, error) {
	fitted, err := c.Fitted()
	if err != nil {
		return window.Model{}, err
	}
	line := fitted.Linear()
	m := window.Model{Intercept: line.Intercept, Coefficients: line.Coefficients}
	for _, r := range c.Training {
		m.X, m.Lots = append(m.X, r.X), append(m.Lots, r.Lot)
	}
	source := interval.Source{Normal: *c.Interval, Leverage: func(x []float64) float64 { return c.Domain.Place(x).Leverage }}
	if own, ok := fitted.(interface{ LeverageAt(x []float64) float64 }); ok {
		source.Leverage = own.LeverageAt
	}
	m.Spread = source.Spread
	return m, nil
}

// view is a surface with its line or map.
type view struct {
	by         []int
	thresholds window.Thresholds
	surface    *window.Surface
	line       *window.Line
	plan       *window.Map
}

func (v *view) draw() (err error) {
	if len(v.by) == 1 {
		v.line, err = v.surface.Line(v.thresholds)
	} else {
		v.plan, err = v.surface.Map(v.thresholds)
	}
	return err
}

// zone is the zone of a lot with the model's features x.
func (v view) zone(x []float64) (zone string, p float64, err error) {
	if len(v.by) == 1 {
		return v.line.Zone(v.surface, v.thresholds, x[v.by[0]])
	}
	return v.plan.Zone(v.surface, v.thresholds, x[v.by[0]], x[v.by[1]])
}

// place puts the calibration rows on the window.
func (r *Result) place(c *card.Card, v view, limits conformance.Limits) error {
	for _, row := range c.Training {
		zone, p, err := v.zone(row.X)
		if err != nil {
			return err
		}
		l := Lot{Lot: row.Lot, Measured: row.Measured, Meets: meets(row.Measured, limits), Zone: zone, P: p}
		for _, j := range v.by {
			l.At = append(l.At, row.X[j])
		}
		r.Lots = append(r.Lots, l)
	}
	return nil
}

func meets(v float64, l conformance.Limits) bool {
	return (l.Low == nil || v >= *l.Low) && (l.High == nil || v <= *l.High)
}

// HasTarget reports whether any part of the window is on target.
func (r *Result) HasTarget() bool {
	if r.Line != nil {
		return r.Line.Best.P >= r.Thresholds.Target
	}
	return r.Map.BestP >= r.Thresholds.Target
}

// Views are the windows that a report shows of a model: one feature, and the two of
// peak viscosity and breakdown where the model has both.
func Views(c *card.Card) [][]string {
	views := [][]string{nil}
	if find(c.Features, "peak_mPas") >= 0 && find(c.Features, "breakdown_mPas") >= 0 {
		views = append(views, []string{"peak_mPas", "breakdown_mPas"})
	}
	return views
}
