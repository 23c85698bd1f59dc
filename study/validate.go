package study

import (
	"cmp"
	"context"
	"fmt"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/newlots"
	"flourcast/study/validation"
)

// ValidateRequest names a model file and a joined table of lots that were measured
// and not used for it. Level is that of the interval, 0.90 when 0.
type ValidateRequest struct {
	Model   string
	Card    *card.Card // instead of Model
	Table   string
	Joined  *dataset.Table // instead of Table
	Map     *sheet.Map
	Methods []method.Method
	Level   float64
	// Relatives lets lots count that share a family with the model's own.
	Relatives bool
}

// ValidateResult is what `validate` prints.
type ValidateResult struct {
	Schema   string `json:"schema"`
	Model    string `json:"model"`
	Table    string `json:"table"`
	Product  string `json:"product"`
	Response string `json:"response"`
	Standing string `json:"standing"`
	validation.Result
	Relatives bool             `json:"relatives_count"`
	Advised   int              `json:"advised_lots"`
	Other     int              `json:"other_products"` // measured rows of other products, passed over
	RPDBands  validation.Bands `json:"rpd_bands"`
	RERBands  validation.Bands `json:"rer_bands"`
	Findings  finding.List     `json:"findings"`
	Notice    string           `json:"notice,omitempty"`
}

// Short reports whether the lots speak against the model: bias, slope or error
// beyond its limit, or too few lots inside their interval.
func (r *ValidateResult) Short() bool {
	return r.Bias != nil && r.Bias.Beyond || r.SEP != nil && r.SEP.Beyond || r.Slope != nil && r.Slope.Beyond || r.Coverage != nil && r.Coverage.Few
}

// Validate forecasts the measured lots of the table that the model never saw and
// sets the forecasts against the measurements. Rows without the response are not
// its business. It returns *NothingUsableError when no lot is left, with the first
// reason.
func Validate(ctx context.Context, env Env, q ValidateRequest) (*ValidateResult, error) {
	c, err := card.Of(q.Card, q.Model)
	if err != nil {
		return nil, err
	}
	if q.Level, err = job.Level(q.Level); err != nil {
		return nil, err
	}
	read, err := newlots.Read(ctx, env, c, newlots.Files{Paths: []string{q.Table}, Table: q.Joined, Map: q.Map, Methods: q.Methods})
	if err != nil {
		return nil, err
	}
	var rows []validation.Row
	other := 0
	for _, l := range read.Lots {
		measured, _, ok := l.Find(c.Response, c.Method)
		if !ok {
			continue
		}
		if l.OfAnother(c.Product) {
			other++
			continue
		}
		rows = append(rows, validationRow(c, l, measured.Mean))
	}
	if len(rows) == 0 {
		return nil, &NothingUsableError{What: fmt.Sprintf("%s: found no row with %s of %s, expected measured lots that the model was not made from", q.Table, c.Response, cmp.Or(c.Product, "any product")), Findings: read.Findings}
	}
	res := &ValidateResult{Schema: "flourcast.validate/1", Model: q.Model, Table: q.Table, Product: c.Product, Response: c.Response, Standing: c.Verdict.Standing,
		Relatives: q.Relatives, Advised: validation.Advised, Other: other, RPDBands: validation.RPDBands, RERBands: validation.RERBands, Findings: read.Findings, Notice: c.Notice}
	if res.Result, err = validation.Judge(c, rows, q.Level, q.Relatives); err != nil {
		return nil, err
	}
	if len(res.Related) > 0 {
		res.Findings.Add(relatives(q.Table, res.Related))
	}
	if res.N == 0 {
		return nil, &NothingUsableError{What: fmt.Sprintf("%s: none of %d measured lots can be used, the first (lot %s) because %s", q.Table, len(res.LeftOut), res.LeftOut[0].Lot, res.LeftOut[0].Reason), Findings: res.Findings}
	}
	if res.Findings == nil {
		res.Findings = finding.List{}
	}
	return res, nil
}

// relatives is the finding that lots share a family with lots of the model.
func relatives(file string, related []validation.Related) finding.Finding {
	var pairs []string
	for _, r := range related {
		pairs = append(pairs, fmt.Sprintf("%s with %s (%s)", r.Lot, r.Of, r.Family))
	}
	const shown = 4
	if len(pairs) > shown {
		pairs = append(pairs[:shown], "…")
	}
	return finding.Finding{Code: "family-in-training", Severity: finding.Doubt, At: finding.Place{File: file, Column: "family"},
		Found: fmt.Sprintf("%d measured lots share a parent, or cultivar and delivery, with lots that the model was made from: %s", len(related), strings.Join(pairs, ", ")),
		Want:  "lots of families that the model never saw", Do: "measure lots of other families; --relatives counts these all the same, and the page says so"}
}

// validationRow puts a lot's figures into the model's order, or says what forbids it.
func validationRow(c *card.Card, l newlots.Lot, measured float64) validation.Row {
	r := validation.Row{Lot: l.Name, Measured: measured}
	problem := func(text string) {
		if r.Problem == "" {
			r.Problem = text
		}
	}
	if l.Word != nil {
		if family, ok := l.Word("family"); ok && family != l.Name {
			r.Family = family
		}
	}
	for _, p := range l.OtherRows(c) {
		problem(p)
	}
	method := l.Method
	for _, name := range c.Features {
		v, by, ok := l.Find(name, c.Method)
		if !ok {
			problem("no figure for " + trait.Label(name))
			return r
		}
		if method == "" {
			method = by
		}
		r.X = append(r.X, v.Mean)
	}
	if method != "" && c.Method != "" && method != c.Method {
		problem(fmt.Sprintf("its runs are by %s, the model is for %s", method, c.Method))
	}
	for _, p := range l.Problems {
		problem(p)
	}
	return r
}
