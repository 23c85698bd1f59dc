package study

import (
	"context"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/eval/direction"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/card"
)

// VerdictResult is what `verdict` prints: the judgement stored in a model file.
type VerdictResult struct {
	Schema     string             `json:"schema"`
	Model      string             `json:"model"`
	Product    string             `json:"product"`
	Response   string             `json:"response"`
	Standing   string             `json:"standing"`
	Grade      string             `json:"grade"`
	Sentence   string             `json:"sentence"`
	Checks     []verdict.Check    `json:"checks"`
	Directions []direction.Answer `json:"directions"`
	Thresholds verdict.Thresholds `json:"thresholds"`
	Overrides  []verdict.Override `json:"overrides"`
	ModelCard  []card.Item        `json:"model_card"`
	Findings   finding.List       `json:"findings"`

	Card *card.Card `json:"-"`
}

// VerdictOf gives the verdict of a model that was read from path.
func VerdictOf(path string, c *card.Card) *VerdictResult {
	v := c.Verdict
	return &VerdictResult{Schema: "flourcast.verdict/1", Model: path, Product: c.Product, Response: c.Response, Standing: v.Standing, Grade: v.Grade,
		Sentence: v.Sentence, Checks: v.Checks, Directions: c.Directions, Thresholds: c.Thresholds, Overrides: v.Overrides, ModelCard: c.Items(), Findings: c.Findings, Card: c}
}

// FitForUse reports whether the model is fit for use.
func (r *VerdictResult) FitForUse() bool { return r.Standing == verdict.FitForUse }

// ReportRequest names a model file and, if wanted, curves to draw and forecast.
type ReportRequest struct {
	Model   string
	Card    *card.Card // instead of Model
	Book    string     // instead of Curves and Map: a lab book,
	Lots    []string   // and its lots to be drawn and forecast
	Curves  []string
	Map     *sheet.Map
	Methods []method.Method
	Spec    *forecast.Spec
	Level   float64
}

// ReportResult is what a model's report is made from.
type ReportResult struct {
	Card      *card.Card
	Runs      []RunFeatures
	Forecasts *ForecastResult
}

// Report reads the model file and the curves, and forecasts their lots.
func Report(ctx context.Context, env Env, q ReportRequest) (*ReportResult, error) {
	c, err := card.Of(q.Card, q.Model)
	if err != nil {
		return nil, err
	}
	if q.Book != "" && len(q.Lots) > 0 {
		files, err := BookFiles(ctx, q.Book, q.Lots...)
		if err != nil {
			return nil, err
		}
		q.Curves, q.Map = files.Curves, files.Map
	}
	res := &ReportResult{Card: c}
	if len(q.Curves) == 0 {
		return res, nil
	}
	f, err := Features(ctx, env, FeaturesRequest{Pictures: true, Paths: q.Curves, Map: q.Map, Methods: q.Methods, Method: c.Method})
	if err != nil {
		return nil, err
	}
	res.Runs = f.Runs
	if q.Book != "" {
		res.Forecasts, err = ForecastBook(ctx, env, BookForecastRequest{Dir: q.Book, Wanted: q.Lots, Unrecorded: true, ForecastRequest: ForecastRequest{Model: q.Model, Card: c, Methods: q.Methods, Spec: q.Spec, Level: q.Level}})
		return res, err
	}
	res.Forecasts, err = Forecast(ctx, env, ForecastRequest{Model: q.Model, Card: c, Paths: q.Curves, Map: q.Map, Methods: q.Methods, Spec: q.Spec, Level: q.Level})
	return res, err
}
