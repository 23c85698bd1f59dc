// Package enduse sets lots against several products: for which does a lot fit, how
// probably, and why.
//
//  1. Every target is a model with the limits of its response; every window is limits
//     on figures of the flour itself, for products without a model.
//  2. Each lot is forecast by every model, as `forecast` would, and held against every
//     window.
//  3. The fits of a lot are ranked: first those that the forecast may decide, by the
//     probability of meeting the limits; then those held for a doubt (outside of what
//     the model was calibrated on, another method, a model that is not fit for use);
//     last those of which nothing can be said.
//
// It refuses a target without limits, and gives no probability where there is none: a
// window of figures that were measured once is met or not, with no more said.
package enduse

import (
	"cmp"
	"context"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/job"
)

// Target is a model and the limits that its product asks for. Card is used instead of
// the file Model where it is given.
type Target struct {
	Model string
	Card  *card.Card
	Spec  forecast.Spec
}

// Window is limits on the flour's own figures that a product asks for. Method is that
// of its pasting figures, "" where it does not matter. Origin says where they come from:
// Production, or "" for whoever asked.
type Window struct {
	Product string
	Origin  string
	Method  string
	Limits  []forecast.Spec
}

// Production is the origin of windows made of lots that ran well.
const Production = "production"

// Request: the lots' files (or Table, a joined table, instead) and what they are set
// against. Level and Rule are those of forecast: 0.90 and the default rule when unset.
// Only is the lots to answer for; nil: all.
type Request struct {
	Targets []Target
	Windows []Window
	Paths   []string
	Lot     string // of a curve whose file does not name it
	Lots    string // lots file with protein and the like
	Map     *sheet.Map
	Methods []method.Method
	Table   *dataset.Table
	Book    string // lab book instead of all of these; Only is then needed
	Only    []string
	Level   float64
	Rule    *forecast.Rule
}

// How a fit ranks: what the forecast may decide, what is held for a doubt, what cannot
// be said.
const (
	Decided = forecast.Decided
	Doubted = forecast.Doubted
	Unknown = forecast.Unknown
)

// Fit is one lot for one product. Probability is that of meeting the limits; for a
// window of several limits it is the lowest of theirs, and the true one is at most
// that. Reasons are those of the forecast, or what the window found.
type Fit struct {
	Product     string   `json:"product"`
	By          string   `json:"by"`               // model | window
	Origin      string   `json:"origin,omitempty"` // of a window: production
	Model       string   `json:"model,omitempty"`
	Response    string   `json:"response,omitempty"`
	Limits      []string `json:"limits"`
	Standing    string   `json:"standing,omitempty"` // of the model
	Value       *float64 `json:"value"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Level       float64  `json:"level,omitempty"`
	Domain      string   `json:"domain,omitempty"`
	Probability *float64 `json:"probability"`
	Decision    string   `json:"decision"`
	Class       string   `json:"class"` // decided | doubted | unknown
	Reasons     []string `json:"reasons"`
}

// Lot is one lot and its fits, the best first.
type Lot struct {
	Lot  string `json:"lot"`
	Fits []Fit  `json:"fits"`
}

// Result is what `uses` prints. Lots are in the order of the files.
type Result struct {
	Schema   string        `json:"schema"`
	Level    float64       `json:"level"`
	Rule     forecast.Rule `json:"rule"`
	Lots     []Lot         `json:"lots"`
	Refused  int           `json:"refused"`
	Findings finding.List  `json:"findings"`
	Notice   string        `json:"notice,omitempty"`
}

// Rank answers. Errors: *job.RequestError, *job.NothingUsableError, those of the files.
func Rank(ctx context.Context, env job.Env, q Request) (*Result, error) {
	if len(q.Targets)+len(q.Windows) == 0 {
		return nil, &job.RequestError{Found: "no model and no window", Want: "one or more products to set the lots against"}
	}
	if q.Book != "" && len(q.Only) == 0 {
		return nil, &job.RequestError{Field: "lot", Found: "a lab book and no lot", Want: "the lots to answer for"}
	}
	rule := forecast.DefaultRule()
	if q.Rule != nil {
		rule = *q.Rule
	}
	q.Level = cmp.Or(q.Level, 0.90)
	res := &Result{Schema: "flourcast.uses/1", Level: q.Level, Rule: rule, Lots: []Lot{}, Findings: finding.List{}}
	at := map[string]int{}
	keep := func(lot string, f Fit) {
		if q.Only != nil && !slices.Contains(q.Only, lot) {
			return
		}
		k, known := at[lot]
		if !known {
			k = len(res.Lots)
			at[lot] = k
			res.Lots = append(res.Lots, Lot{Lot: lot})
		}
		res.Lots[k].Fits = append(res.Lots[k].Fits, f)
	}
	for _, t := range q.Targets {
		if err := q.forecast(ctx, env, res, t, keep); err != nil {
			return nil, err
		}
	}
	if err := q.windows(ctx, env, res, keep); err != nil {
		return nil, err
	}
	for _, want := range q.Only {
		if _, known := at[want]; !known {
			return nil, &job.RequestError{Found: "lot " + want, Want: "a lot of the files"}
		}
	}
	if len(res.Lots) == 0 {
		return nil, &job.NothingUsableError{What: "no lot in the input", Findings: res.Findings}
	}
	for i := range res.Lots {
		rank(res.Lots[i].Fits)
	}
	return res, nil
}

// forecast puts the lots to one model.
func (q Request) forecast(ctx context.Context, env job.Env, res *Result, t Target, keep func(string, Fit)) error {
	if err := t.Spec.Check(); err != nil {
		return &job.RequestError{Found: err.Error(), Want: "limits for every model"}
	}
	ask := study.ForecastRequest{Model: t.Model, Card: t.Card, Paths: q.Paths, Lot: q.Lot, Lots: q.Lots, Map: q.Map, Methods: q.Methods, Spec: &t.Spec, Rule: &res.Rule, Level: q.Level, Table: q.Table}
	var f *study.ForecastResult
	var err error
	if q.Book != "" {
		f, err = study.ForecastBook(ctx, env, study.BookForecastRequest{ForecastRequest: ask, Dir: q.Book, Wanted: q.Only, Unrecorded: true})
	} else {
		f, err = study.Forecast(ctx, env, ask)
	}
	if err != nil {
		return err
	}
	res.Refused = max(res.Refused, f.Refused) // the same rows, read again for each model
	res.Notice = cmp.Or(res.Notice, f.Notice)
	for _, x := range f.Findings {
		if !slices.Contains(res.Findings, x) {
			res.Findings.Add(x)
		}
	}
	for _, one := range f.Forecasts {
		keep(one.Lot, Fit{Product: f.Product, By: "model", Model: t.Model, Response: f.Response, Limits: []string{t.Spec.String()}, Standing: f.Standing, Value: one.Value, Low: one.Low, High: one.High,
			Level: one.IntervalLevel, Domain: one.Domain, Probability: one.Probability, Decision: one.Decision, Class: one.Footing(f.Standing, res.Rule), Reasons: one.Reasons})
	}
	return nil
}

// rank orders the fits of a lot; equal ones stay as the products were given.
func rank(fits []Fit) {
	order := map[string]int{Decided: 0, Doubted: 1, Unknown: 2}
	slices.SortStableFunc(fits, func(a, b Fit) int {
		return cmp.Or(cmp.Compare(order[a.Class], order[b.Class]), cmp.Compare(probability(b), probability(a)))
	})
}

// probability orders: a fit without one comes after those with.
func probability(f Fit) float64 {
	if f.Probability == nil {
		return -1
	}
	return *f.Probability
}
