// Package blendrun sets the run of a blend, once it was made, against what was expected
// of it.
//
//  1. The files of the run are read as those of any lot.
//  2. Each figure is held against the plan: within what own blends deviate from the rule,
//     else within the span of the two stated rules.
//  3. The limits that were asked for are held against what was measured.
//
// It refuses a run of several lots of which none is named, and one that has none of the
// figures that were planned.
package blendrun

import (
	"context"
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/newlots"

	"gonum.org/v1/gonum/stat/distuv"
)

// Planned is what a figure of the blend was expected to be. ByMass and ByLog are what the
// two stated rules give, SD by how much own blends lay off the rule with DF degrees of
// freedom; all absent where they are not known.
type Planned struct {
	Column        string
	Value         float64
	ByMass, ByLog *float64
	SD            *float64
	DF            int
}

// Request names the files of the run, the blend's lot where they hold several, and the
// limits that the blend was made for. Method is the pasting method of the run.
type Request struct {
	Run     []string
	Lot     string
	Method  string
	Map     *sheet.Map
	Methods []method.Method
	Limits  []forecast.Spec
	Plan    []Planned
}

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

// Compare reads the run of the blend and sets it against what was expected. Errors:
// *job.RequestError, *job.NothingUsableError, those of the files.
func Compare(ctx context.Context, env job.Env, q Request) (out []Compared, fl finding.List, err error) {
	asks := &card.Card{Method: q.Method}
	for _, e := range q.Plan {
		asks.Features = append(asks.Features, e.Column)
		if _, by := trait.Split(e.Column); asks.Method == "" && by != "" {
			asks.Method = by
		}
	}
	found, err := newlots.Read(ctx, env, asks, newlots.Files{Paths: q.Run, Lot: q.Lot, Map: q.Map, Methods: q.Methods})
	if err != nil {
		return nil, fl, err
	}
	for _, f := range found.Findings {
		if f.Severity != finding.Note {
			fl.Add(f)
		}
	}
	var made *newlots.Lot
	for i, l := range found.Lots {
		if q.Lot != "" && l.Name != q.Lot {
			continue
		}
		if made != nil {
			return nil, fl, &job.RequestError{Field: "lot", Found: "several lots in the run: " + made.Name + ", " + l.Name, Want: "the name of the one that is the blend"}
		}
		made = &found.Lots[i]
	}
	if made == nil {
		return nil, fl, &job.NothingUsableError{What: fmt.Sprintf("no run of the blend %s in the files", q.Lot), Findings: fl}
	}
	var missing []string
	for _, e := range q.Plan {
		sum, _, ok := made.Find(e.Column, asks.Method)
		if !ok {
			missing = append(missing, e.Column)
			continue
		}
		out = append(out, q.compared(e, sum.Mean, sum.N))
	}
	if len(missing) > 0 {
		fl.Add(finding.Finding{Code: "not-in-the-run", Severity: finding.Note, Found: "the run has no " + strings.Join(missing, ", ")})
	}
	if len(out) == 0 {
		return nil, fl, &job.NothingUsableError{What: "the run has none of the figures that the blend was planned for", Findings: fl}
	}
	return out, fl, nil
}

// compared judges one figure.
func (q Request) compared(e Planned, measured float64, runs int) Compared {
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
