package blending

import (
	"context"
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/newlots"

	"gonum.org/v1/gonum/stat/distuv"
)

// Compared is one property of the blend that was made. Difference is measured less
// predicted. Against says what it is held against: own blends (Allowed is the half width
// of their 95 % interval, t·SD about the rule), the span of the two stated rules (measured between
// them, or Allowed beyond), or nothing. Within is absent where nothing is known. Runs is
// how often it was measured.
type Compared struct {
	Column     string   `json:"column"`
	Predicted  float64  `json:"predicted"`
	Measured   float64  `json:"measured"`
	Difference float64  `json:"difference"`
	Runs       int      `json:"runs"`
	Against    string   `json:"against"` // own blends | span of rules | nothing
	Low        *float64 `json:"low"`     // of what the rule lets expect
	High       *float64 `json:"high"`
	Within     *bool    `json:"within"`
	Meets      *bool    `json:"meets"` // the limits asked for; absent without limits
}

// What a difference is held against.
const (
	AgainstOwn     = "own blends"
	AgainstSpan    = "span of rules"
	AgainstNothing = "nothing"
)

// compare reads the run of the blend and sets it against what was expected.
func (q Request) compare(ctx context.Context, env job.Env, res *Result) error {
	asks := &card.Card{Method: q.Method}
	for _, e := range res.Expected {
		asks.Features = append(asks.Features, e.Column)
		if _, by := trait.Split(e.Column); asks.Method == "" && by != "" {
			asks.Method = by
		}
	}
	found, err := newlots.Read(ctx, env, asks, newlots.Files{Paths: q.Run, Lot: q.Lot, Map: q.Map, Methods: q.Methods})
	if err != nil {
		return err
	}
	for _, f := range found.Findings {
		if f.Severity != finding.Note {
			res.Findings.Add(f)
		}
	}
	var made *newlots.Lot
	for i, l := range found.Lots {
		if q.Lot != "" && l.Name != q.Lot {
			continue
		}
		if made != nil {
			return &job.RequestError{Found: "several lots in the run: " + made.Name + ", " + l.Name, Want: "one", Do: "name the blend with --lot"}
		}
		made = &found.Lots[i]
	}
	if made == nil {
		return &job.NothingUsableError{What: fmt.Sprintf("no run of the blend %s in the files", q.Lot), Findings: res.Findings}
	}
	var missing []string
	for _, e := range res.Expected {
		sum, _, ok := made.Find(e.Column, asks.Method)
		if !ok {
			missing = append(missing, e.Column)
			continue
		}
		res.Compared = append(res.Compared, q.compared(e, sum.Mean, sum.N))
	}
	if len(missing) > 0 {
		res.Findings.Add(finding.Finding{Code: "not-in-the-run", Severity: finding.Note, Found: "the run has no " + strings.Join(missing, ", ")})
	}
	if len(res.Compared) == 0 {
		return &job.NothingUsableError{What: "the run has none of the figures that the blend was planned for", Findings: res.Findings}
	}
	return nil
}

// compared judges one figure.
func (q Request) compared(e Expected, measured float64, runs int) Compared {
	c := Compared{Column: e.Column, Predicted: e.Value, Measured: measured, Difference: measured - e.Value, Runs: max(runs, 1), Against: AgainstNothing}
	switch {
	case e.SD != nil:
		half := *e.SD * distuv.StudentsT{Sigma: 1, Nu: float64(e.DF)}.Quantile(0.975)
		low, high := e.Value-half, e.Value+half
		c.Against, c.Low, c.High = AgainstOwn, &low, &high
	case e.ByMass != nil && e.ByLog != nil:
		low, high := math.Min(*e.ByMass, *e.ByLog), math.Max(*e.ByMass, *e.ByLog)
		c.Against, c.Low, c.High = AgainstSpan, &low, &high
	}
	if c.Low != nil {
		in := measured >= *c.Low && measured <= *c.High
		c.Within = &in
	}
	for _, l := range q.Limits {
		if l.Response == e.Column {
			meets := (l.Low == nil || measured >= *l.Low) && (l.High == nil || measured <= *l.High)
			c.Meets = &meets
		}
	}
	return c
}
