// Package following sets what was measured against what was forecast at the time.
//
//  1. Forecasts are read as they were saved; none is made anew. Of several for a lot
//     the earliest counts. Those of another model or response, and lots that the
//     model was made from, are left out with the reason.
//  2. Outcomes are joined from the laboratory's files, or read from joined tables.
//     Forecasts without an outcome wait. Followed + waiting + left out + refused are
//     the forecasts that were read.
//  3. Bias, SEP, slope and coverage are worked out over all lots and by product,
//     supplier and crop year; one chart is judged (package follow).
//  4. Which lots have outcomes is set against what was decided on them; suppliers'
//     claims against one's own figures; incoming flours against the calibrated ones.
//
// It changes no model and no verdict.
package following

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"flourcast/dataset"
	"flourcast/eval/domain"
	"flourcast/finding"
	"flourcast/forecast/follow"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/forecasts"
	"flourcast/study/validation"
)

// Request names the model, the files of saved forecasts, those of outcomes (Files as
// a join takes them, Tables as a join wrote them), and files of incoming lots.
// Without forecasts only the incoming lots are compared. With Book, the folder of a
// lab book, forecasts and outcomes are its own, and Model may be one of it; Joined is
// that book joined, for callers that have done it.
type Request struct {
	Model        string
	Book         string
	Joined       *dataset.Joined
	Forecasts    []string
	Files        dataset.Files
	Tables       []string
	Incoming     []string
	IncomingLots string
	Unmeasured   bool // incoming are the book's lots that were not measured yet

	rows func() (dataset.Files, error) // the book's rows, read once for outcomes and incoming lots
}

// Lot is one lot that was forecast and measured. Standardised is the error in
// standard errors of its forecast, and the chart's point stands beside it; both are
// absent for a lot that is not charted, for the reason in Uncharted.
type Lot struct {
	validation.Lot
	Level        float64  `json:"level"`
	Made         string   `json:"made,omitempty"`
	Decision     string   `json:"decision"`
	Spec         string   `json:"spec,omitempty"`
	Met          *bool    `json:"met_specification"`
	Right        *bool    `json:"decision_right"` // null where nothing was decided
	Product      string   `json:"product,omitempty"`
	Supplier     string   `json:"supplier,omitempty"`
	CropYear     string   `json:"crop_year,omitempty"`
	Standardised *float64 `json:"standardised_error"`
	EWMA         *float64 `json:"ewma"`
	EWMALow      *float64 `json:"ewma_low"`
	EWMAHigh     *float64 `json:"ewma_high"`
	CUSUMUp      *float64 `json:"cusum_up"`
	CUSUMDown    *float64 `json:"cusum_down"`
	Uncharted    string   `json:"uncharted,omitempty"`
	OutcomeRow   int64    `json:"outcome_row,omitempty"` // of the lab book: names the forecast and the readings
}

// Signal is one time that the chart left its limits.
type Signal struct {
	Lot         string `json:"lot"`
	Side        string `json:"side"` // above: measured above forecast
	Confirmed   bool   `json:"confirmed"`
	ConfirmedBy string `json:"confirmed_by,omitempty"` // lot
	Passed      bool   `json:"passed"`
}

// Group are the figures of the lots of one product, supplier or crop year.
type Group struct {
	By   string `json:"by"`
	Name string `json:"name"`
	validation.Figures
}

// Counts are the forecasts by what became of them; they add up to Read.
type Counts struct {
	Read     int `json:"read"`
	Followed int `json:"followed"`
	Waiting  int `json:"waiting"`
	LeftOut  int `json:"left_out"`
	Refused  int `json:"refused"`
}

// Result is what `follow` prints.
type Result struct {
	Schema      string               `json:"schema"`
	Model       string               `json:"model"`
	ModelSHA256 string               `json:"model_sha256"`
	Product     string               `json:"product"`
	Response    string               `json:"response"`
	Standing    string               `json:"standing"`
	Status      string               `json:"status"` // in control | watch | recalibrate | too few lots to say | no outcome yet
	Why         []string             `json:"why"`
	Add         []string             `json:"add"` // lots to add to the calibration, or to make sure of first
	Counts      Counts               `json:"counts"`
	Limits      *follow.Limits       `json:"limits"`
	Signals     []Signal             `json:"signals"`
	Figures     *validation.Figures  `json:"figures"`
	Groups      []Group              `json:"groups"`
	Lots        []Lot                `json:"lots"` // in the order of their forecasts
	Waiting     []string             `json:"waiting_lots"`
	LeftOut     []validation.LeftOut `json:"left_out_lots"`
	Decisions   []Decision           `json:"decisions"`
	Selected    bool                 `json:"outcomes_selected"`
	Claims      []Claim              `json:"claims"`
	Incoming    *Incoming            `json:"incoming"`
	Findings    finding.List         `json:"findings"`
	Notice      string               `json:"notice,omitempty"`
}

// NoOutcome is the status while nothing was measured.
const NoOutcome = "no outcome yet"

// Short reports whether the chart or the incoming lots ask for somebody's attention.
func (r *Result) Short() bool {
	return r.Status == follow.Watch || r.Status == follow.Recalibrate || r.Incoming != nil && r.Incoming.Differ
}

// Follow answers. It returns a *study.RequestError when nothing to follow was named,
// and a *study.NothingUsableError when no forecast of the model could be read.
func Follow(ctx context.Context, env study.Env, q Request) (*Result, error) {
	c, err := study.OpenModel(ctx, q.Book, q.Model)
	if err != nil {
		return nil, err
	}
	if len(q.Forecasts) == 0 && len(q.Incoming) == 0 && q.Book == "" {
		return nil, &study.RequestError{Found: "neither saved forecasts nor incoming lots", Want: "one of them", Do: "name what 'forecast --json' was saved to, or the incoming lots' curves"}
	}
	q.rows = sync.OnceValues(func() (dataset.Files, error) { return study.BookFiles(ctx, q.Book) })
	r := &Result{Schema: "flourcast.follow/1", Model: q.Model, ModelSHA256: c.SHA256, Product: c.Product, Response: c.Response, Standing: c.Verdict.Standing, Status: NoOutcome, Notice: c.Notice,
		Why: []string{}, Add: []string{}, Signals: []Signal{}, Groups: []Group{}, Lots: []Lot{}, Waiting: []string{}, LeftOut: []validation.LeftOut{}, Decisions: []Decision{}, Claims: []Claim{}, Findings: finding.List{}}
	if len(q.Forecasts) > 0 || q.Book != "" {
		if err := r.follow(ctx, env, c, q); err != nil {
			return nil, err
		}
	}
	if len(q.Incoming) > 0 || q.Unmeasured {
		if err := r.compare(ctx, env, c, q); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// follow reads forecasts and outcomes and judges them.
func (r *Result) follow(ctx context.Context, env study.Env, c *card.Card, q Request) error {
	records, refused, found, err := forecasts.Read(q.Forecasts, q.Files.Map)
	if err != nil {
		return err
	}
	if q.Book != "" {
		if records, err = BookForecasts(ctx, q.Book, "", c.Response); err != nil {
			return err
		}
	}
	r.Findings = append(r.Findings, found...)
	r.Counts.Read, r.Counts.Refused = len(records)+refused, refused
	mine := r.ofModel(c, records)
	if len(mine) == 0 {
		if q.Unmeasured { // before any forecast
			return nil
		}
		return &study.NothingUsableError{What: fmt.Sprintf("no forecast of %s by %s in what was read (%d forecasts)", c.Response, q.Model, r.Counts.Read), Findings: r.Findings}
	}
	first, again := forecasts.First(mine)
	for _, f := range first {
		for range again[f.Lot] {
			r.leave(f.Lot, "forecast again later: the first forecast counts")
		}
	}
	r.Counts.LeftOut += len(mine) - len(first) - sum(again) // forecasts without a value before one with
	out, err := outcomes(ctx, env, q, c, &r.Findings)
	if err != nil {
		return err
	}
	for _, f := range first {
		o, ok := out.of(f.Lot)
		switch {
		case !ok:
			r.Waiting = append(r.Waiting, f.Lot)
			r.Counts.Waiting++
		case o.unfit(f) != "":
			r.leave(f.Lot, o.unfit(f))
		default:
			r.Lots = append(r.Lots, followed(f, o))
			r.Counts.Followed++
		}
	}
	if err := r.measure(c, first); err != nil {
		return err
	}
	r.Decisions, r.Selected = decisions(first, r.Lots)
	r.Claims = claims(out)
	return r.judge(ctx, env, c)
}

func sum(m map[string]int) int {
	n := 0
	for _, v := range m {
		n += v
	}
	return n
}

func (r *Result) leave(lot, why string) {
	r.LeftOut = append(r.LeftOut, validation.LeftOut{Lot: lot, Reason: why})
	r.Counts.LeftOut++
}

// ofModel keeps the forecasts that this model made of lots that it was not made from.
func (r *Result) ofModel(c *card.Card, records []forecasts.Record) (mine []forecasts.Record) {
	trained := map[string]bool{}
	for _, t := range c.Training {
		trained[t.Lot] = true
	}
	unnamed := false
	for _, f := range records {
		switch {
		case f.Response != "" && f.Response != c.Response:
			r.leave(f.Lot, "a forecast of "+f.Response)
		case f.Model != "" && f.Model != c.SHA256:
			r.leave(f.Lot, fmt.Sprintf("forecast by another model (SHA-256 %.12s…)", f.Model))
		case trained[f.Lot]:
			r.leave(f.Lot, "the model was made from this lot")
		default:
			unnamed = unnamed || f.Model == ""
			mine = append(mine, f)
		}
	}
	if unnamed {
		r.Findings.Add(finding.Finding{Code: "model-not-named", Severity: finding.Note, Found: "forecasts that do not say by which model file they were made; they are taken as this one's"})
	}
	return mine
}

func followed(f forecasts.Record, o outcome) Lot {
	l := Score(f, o.measured)
	l.Supplier, l.CropYear = o.supplier, o.cropYear
	if o.product != "" {
		l.Product = o.product
	}
	return l
}

// measure works the figures out: of all lots, then by group.
func (r *Result) measure(c *card.Card, first []forecasts.Record) error {
	if len(r.Lots) == 0 {
		return nil
	}
	kind := ""
	if c.Cross != nil {
		kind = c.Cross.Kind
	}
	figures := func(lots []Lot) (validation.Figures, error) {
		plain, level, n := []validation.Lot{}, 0.0, 0.0
		for _, l := range lots {
			plain = append(plain, l.Lot)
			if l.Inside != nil {
				level, n = level+l.Level, n+1
			}
		}
		if n > 0 {
			level /= n // what the intervals promise on average
		}
		return validation.Measure(c, plain, level, kind)
	}
	all, err := figures(r.Lots)
	if err != nil {
		return err
	}
	r.Figures = &all
	for _, by := range []struct {
		name string
		of   func(Lot) string
	}{{"product", func(l Lot) string { return l.Product }}, {"supplier", func(l Lot) string { return l.Supplier }}, {"crop year", func(l Lot) string { return l.CropYear }}} {
		groups := map[string][]Lot{}
		var order []string
		for _, l := range r.Lots {
			name := by.of(l)
			if name == "" {
				continue
			}
			if groups[name] == nil {
				order = append(order, name)
			}
			groups[name] = append(groups[name], l)
		}
		slices.Sort(order)
		for _, name := range order {
			f, err := figures(groups[name])
			if err != nil {
				return err
			}
			r.Groups = append(r.Groups, Group{by.name, name, f})
		}
	}
	return nil
}

// judge charts the lots and says what follows.
func (r *Result) judge(ctx context.Context, env study.Env, c *card.Card) error {
	if len(r.Lots) == 0 {
		r.Why = append(r.Why, fmt.Sprintf("none of the %d forecast lots was measured yet", r.Counts.Waiting))
		return nil
	}
	fitted, err := c.Fitted()
	if err != nil {
		return err
	}
	n := lotsOf(c)
	terms := int(math.Ceil(fitted.DF() - 1e-9))
	var z []float64
	var at []int
	level := 0.0
	for i := range r.Lots {
		l := &r.Lots[i]
		v, ok := l.standardised(float64(n-terms-1), c.Transform != "")
		switch {
		case l.Domain == domain.Outside:
			l.Uncharted = "outside of what the model was calibrated on, as the forecast said"
		case !ok:
			l.Uncharted = "its forecast has no interval"
		default:
			l.Standardised = &v
			z, at, level = append(z, v), append(at, i), l.Level
		}
	}
	if len(z) == 0 {
		r.Status, r.Why = follow.TooFew, append(r.Why, "no measured lot has a forecast interval inside of what was calibrated")
		return nil
	}
	limits, err := follow.Simulate(ctx, follow.Calibration{Lots: n, Terms: terms, Cross: c.Cross != nil, Level: level}, env.Seed, env.Cores)
	if err != nil {
		return &study.NothingUsableError{What: err.Error(), Findings: r.Findings}
	}
	r.Limits = &limits
	j := follow.Judge(z, limits)
	r.Status = j.Status
	for k, i := range at {
		l, p, s := &r.Lots[i], j.Points[k], j.Sums[k]
		l.EWMA, l.EWMALow, l.EWMAHigh, l.CUSUMUp, l.CUSUMDown = &p.Value, &p.Low, &p.High, &s.Up, &s.Down
	}
	for _, s := range j.Signals {
		signal := Signal{Lot: r.Lots[at[s.At]].Lot.Lot, Side: string(s.Side), Confirmed: s.Confirmed, Passed: s.Passed}
		if s.Confirmed {
			signal.ConfirmedBy = r.Lots[at[s.By]].Lot.Lot
		}
		r.Signals = append(r.Signals, signal)
	}
	r.explain(j, at, len(z))
	return nil
}

// lotsOf counts the lots that a model was made from.
func lotsOf(c *card.Card) int {
	seen := map[string]bool{}
	for _, t := range c.Training {
		seen[t.Lot] = true
	}
	return len(seen)
}
