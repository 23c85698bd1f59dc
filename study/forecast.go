package study

import (
	"context"
	"slices"
	"time"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/replicate"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/bridge"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/newlots"
	"flourcast/work"
)

// ForecastRequest names a model file and the files of new lots: curves, pasting
// values, or a joined table. Lots gives flour analysis (protein) for models that
// use it. Level is that of the interval, 0.90 when 0.
type ForecastRequest struct {
	Model   string
	Card    *card.Card // instead of Model
	Paths   []string
	Lot     string // of a curve whose file does not name it
	Lots    string
	Map     *sheet.Map
	Methods []method.Method
	Spec    *forecast.Spec
	Rule    *forecast.Rule  // nil: forecast.DefaultRule
	Bands   *forecast.Bands // named classes; nil: none
	Bridge  *bridge.Bridge  // the runs are of another instrument; nil: of the model's own
	Level   float64

	// Table, a joined table, is read instead of Paths and Lots.
	Table *dataset.Table
	lots  []newlots.Lot // instead of all of these: of a lab book
	found finding.List  // on the runs of these lots
}

// ForecastResult is what `forecast` prints.
type ForecastResult struct {
	Schema    string              `json:"schema"`
	Model     string              `json:"model"`
	Product   string              `json:"product"`
	Response  string              `json:"response"`
	Standing  string              `json:"standing"`
	Spec      *forecast.Spec      `json:"spec"`
	Rule      forecast.Rule       `json:"rule"`
	Bands     *forecast.Bands     `json:"bands,omitempty"`
	Forecasts []forecast.Forecast `json:"forecasts"`
	Refused   int                 `json:"refused"`
	Findings  finding.List        `json:"findings"`
	Notice    string              `json:"notice,omitempty"`
	// Made and ModelSHA256 say when and by which model file, for whoever keeps the
	// result to set the outcome against it later.
	Made        time.Time   `json:"made"`
	Decided     *Decided    `json:"decided,omitempty"` // nil without a specification
	ModelSHA256 string      `json:"model_sha256"`
	Bridge      *BridgeUsed `json:"bridge,omitempty"`
	// Recorded is how many forecasts were written down in a lab book; nil without one.
	Recorded *int `json:"recorded,omitempty"`

	decisions Decided // without a specification, too: a lot may be held then
}

// Decided counts the lots by decision.
type Decided struct {
	Accept int `json:"accept"`
	Hold   int `json:"hold"`
	Reject int `json:"reject"`
}

func (d *Decided) add(decision string) {
	switch decision {
	case forecast.Accept:
		d.Accept++
	case forecast.Hold:
		d.Hold++
	case forecast.Reject:
		d.Reject++
	}
}

// Short reports whether a lot was held or rejected.
func (r *ForecastResult) Short() bool { return r.decisions.Hold+r.decisions.Reject > 0 }

// Forecast reads the new lots, and forecasts each. A lot whose every run was
// refused, or that lacks a feature, is held with the reason; none is dropped. It
// returns *NothingUsableError when the files name no lot.
func Forecast(ctx context.Context, env Env, q ForecastRequest) (*ForecastResult, error) {
	return withForecasts(func(take func(forecast.Forecast) error) (*ForecastResult, error) {
		return EachForecast(ctx, env, q, take)
	})
}

// withForecasts is the result of a job that hands its forecasts to take, with them.
func withForecasts(job func(take func(forecast.Forecast) error) (*ForecastResult, error)) (*ForecastResult, error) {
	all := []forecast.Forecast{}
	res, err := job(func(f forecast.Forecast) error {
		all = append(all, f)
		return nil
	})
	if err != nil {
		return nil, err
	}
	res.Forecasts = all
	return res, nil
}

// EachForecast does as Forecast, and hands each forecast to take instead of keeping
// it: in the order of the lots, one at a time. The result has all but the forecasts.
// What take was given counts for nothing when an error comes back, of take or another.
func EachForecast(ctx context.Context, env Env, q ForecastRequest, take func(forecast.Forecast) error) (*ForecastResult, error) {
	return eachForecast(ctx, env, q, func(m made) error { return take(m.forecast) })
}

// made is a forecast with what it was made from.
type made struct {
	forecast forecast.Forecast
	from     forecast.Input
}

func eachForecast(ctx context.Context, env Env, q ForecastRequest, take func(made) error) (*ForecastResult, error) {
	c, err := card.Of(q.Card, q.Model)
	if err != nil {
		return nil, err
	}
	if q.Level, err = job.Level(q.Level); err != nil {
		return nil, err
	}
	if q.Spec != nil && q.Spec.Response != c.Response {
		return nil, &RequestError{Found: "limits for " + q.Spec.Response, Want: "limits for " + c.Response + ", which the model forecasts", Do: "state the limits in its unit"}
	}
	fitted, err := c.Fitted()
	if err != nil {
		return nil, err
	}
	if q.Rule == nil {
		rule := forecast.DefaultRule()
		q.Rule = &rule
	}
	if err := q.Rule.Check(); err != nil {
		return nil, &RequestError{Found: err.Error(), Want: "two risks that leave something between", Do: "take smaller risks of accepting wrongly (alpha) and of rejecting wrongly (beta)"}
	}
	if q.Bands != nil && q.Bands.Response != c.Response {
		return nil, &RequestError{Found: "bands of " + q.Bands.Response, Want: "bands of " + c.Response + ", which the model forecasts"}
	}
	res := &ForecastResult{Schema: "flourcast.forecast/1", Model: q.Model, Rule: *q.Rule, Bands: q.Bands, Product: c.Product, Response: c.Response, Standing: string(c.Verdict.Standing),
		Spec: q.Spec, Forecasts: []forecast.Forecast{}, Notice: c.Notice, Made: env.Now(), ModelSHA256: c.SHA256}
	if res.Bridge, err = bridgeFor(q.Bridge, c, q.Model); err != nil {
		return nil, err
	}
	found, err := newlots.Read(ctx, env, c, q.files())
	if err != nil {
		return nil, err
	}
	lots := found.Lots
	res.Refused, res.Findings = found.Refused, append(slices.Clone(q.found), found.Findings...)
	if len(lots) == 0 {
		return nil, &NothingUsableError{What: "no lot to forecast in the input", Findings: res.Findings}
	}
	m, err := newlots.Model(c, fitted)
	if err != nil {
		return nil, err
	}
	progress := env.Report()
	progress.Start("forecasts", len(lots))
	defer progress.Done()
	inOrder := work.InOrder(func(m made) error {
		res.decisions.add(m.forecast.Decision)
		return take(m)
	})
	err = work.Each(ctx, len(lots), env.Cores, func(i int) error {
		in := input(lots[i], c, q, m)
		progress.Step(1)
		return inOrder.Put(i, made{forecast.Make(in), in})
	})
	if err != nil {
		return nil, err
	}
	if q.Spec != nil {
		d := res.decisions
		res.Decided = &d
	}
	return res, nil
}

// files are the files of the new lots.
func (q ForecastRequest) files() newlots.Files {
	return newlots.Files{Paths: q.Paths, Lot: q.Lot, Lots: q.Lots, Map: q.Map, Methods: q.Methods, Table: q.Table, Known: q.lots}
}

// input puts one lot to the model.
func input(l newlots.Lot, c *card.Card, q ForecastRequest, m forecast.Model) forecast.Input {
	l.Problems = append(slices.Clone(l.Problems), l.OtherRows(c)...)
	in := forecast.Input{Lot: l.Name, Features: map[string]float64{}, Replicates: map[string]replicate.Summary{}, Method: l.Method, Problems: l.Problems,
		Model: m, Spec: q.Spec, Rule: q.Rule, Bands: q.Bands, Level: q.Level}
	for _, name := range c.Features {
		s, by, ok := l.Find(name, c.Method)
		if !ok {
			continue
		}
		in.Features[name] = s.Mean
		if s.N > 1 {
			in.Replicates[name] = s
		}
		if in.Method == "" {
			in.Method = by // the column itself names the method
		}
	}
	if q.Bridge != nil {
		over(q.Bridge, &in)
	}
	return in
}
