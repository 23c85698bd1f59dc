// Package spread is the job `variance`: from a table with a row for every single
// measurement to the share that lots, days, batches and pieces have in how it
// varies, and to how many of them a lot needs.
//
//  1. Rows with the response and a label of every factor are used; the others are
//     named.
//  2. Package stat/components splits the variance and plans.
//  3. What a reader has to know of the result, how a factor was read, an estimate
//     below zero, too few levels, is said as a finding.
//
// It computes no statistic itself.
package spread

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/stat/components"
	"flourcast/study/job"
)

// Request names the file (CSV or workbook), the response and the factors, the
// widest first. Crossed and Nested overrule what the labels say. WantSE is the standard error wanted of the
// mean of a level of the first factor (a lot), in the response's unit; 0 wants none.
type Request struct {
	File            string
	Rows            *table.Table // instead of File, which then says what it is
	Findings        finding.List // of reading Rows
	Response        string
	By              []string
	Crossed, Nested []string
	WantSE          float64
}

// Result is what `variance` prints. Variances are in squared units of the response.
type Result struct {
	Schema       string       `json:"schema"`
	File         string       `json:"file"`
	Response     string       `json:"response"`
	N            int          `json:"n"` // rows used
	Mean         float64      `json:"mean"`
	Factors      []Factor     `json:"factors"`
	Components   []Component  `json:"components"`
	NotEstimable []Left       `json:"not_estimable"`
	Means        []Means      `json:"means"`
	Plan         Plan         `json:"plan"`
	LeftOut      int          `json:"left_out"` // rows that lack the response or a label
	Findings     finding.List `json:"findings"`
}

// Factor says how a factor was read.
type Factor struct {
	Name    string   `json:"name"`
	Labels  int      `json:"labels"`
	Within  []string `json:"within"`
	Crossed []string `json:"crossed"`
}

// Component is one variance component. Raw is the estimate as it came; Variance
// is 0 where that is below 0. The last component is the residual: single pieces
// that share all labels.
type Component struct {
	Name     string  `json:"name"`
	Variance float64 `json:"variance"`
	Share    float64 `json:"share"`
	SD       float64 `json:"sd"`
	Raw      float64 `json:"raw"`
	DF       int     `json:"df"`
	MS       float64 `json:"mean_square"`
	Levels   int     `json:"levels"`
}

// Left is a component that these rows cannot tell from others.
type Left struct {
	Name   string `json:"name"`
	Reason string `json:"reason"`
}

// Means are the plain means of a factor's labels, as written.
type Means struct {
	Factor string  `json:"factor"`
	Levels []Level `json:"levels"`
}

// Level is the mean of the rows with one label.
type Level struct {
	Label string  `json:"label"`
	N     int     `json:"n"`
	Mean  float64 `json:"mean"`
}

// Plan says what the standard error of the mean of one Unit comes to. In Rows and
// Ways, N has a number for every factor below the first and for Repeat, the single
// pieces. Ways reach WantSE, those with the fewest tests first.
type Plan struct {
	Unit   string   `json:"unit"`
	Levels []string `json:"levels"`
	Repeat string   `json:"repeat"`
	Rows   []Way    `json:"rows"`
	WantSE *float64 `json:"want_se"`
	Ways   []Way    `json:"ways"`
	Least  float64  `json:"least_se"` // of all numbers tried
}

// Way is one way to test a unit: how many of each, within the one before.
type Way struct {
	N     map[string]int `json:"n"`
	SE    float64        `json:"se"`
	Tests int            `json:"tests"`
}

// mostMeans is up to how many labels a factor's means are listed.
const mostMeans = 60

// Variance splits the variance of the response. Errors: *job.RequestError for a
// column that is not there, an impossible option or a design that does not tell
// the components apart; *job.NothingUsableError when no row is left.
func Variance(ctx context.Context, _ job.Env, q Request) (*Result, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if q.WantSE < 0 || math.IsNaN(q.WantSE) || math.IsInf(q.WantSE, 0) {
		return nil, &job.RequestError{Found: fmt.Sprint("a wanted standard error of ", q.WantSE), Want: "a number above 0 in the unit of " + q.Response}
	}
	if len(q.By) == 0 {
		return nil, &job.RequestError{Found: "no factor", Want: "at least one column to split the variance by, the widest first, such as lot,day,batch"}
	}
	t, fl, err := read(q)
	if err != nil {
		return nil, err
	}
	if err := checkColumns(q, t); err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.variance/1", File: q.File, Response: q.Response, NotEstimable: []Left{}, Means: []Means{}, Findings: fl}
	y, factors := rows(q, t, res)
	if len(y) == 0 {
		return nil, &job.NothingUsableError{What: "no row with " + q.Response + " and a label of every factor", Findings: res.Findings}
	}
	a, err := components.Analyse(y, factors, components.Options{Crossed: q.Crossed, Nested: q.Nested})
	if err != nil {
		var cannot *components.Error
		if errors.As(err, &cannot) {
			return nil, &job.RequestError{Found: cannot.What + ": " + cannot.Found, Want: cannot.Want}
		}
		return nil, err
	}
	plan, err := a.Plan(q.WantSE)
	if err != nil {
		return nil, err
	}
	res.fill(a, y, factors)
	res.Plan = planned(plan)
	res.warn(a, q)
	return res, nil
}

// read reads the file; rows without a label of the first factor are refused there.
func read(q Request) (*table.Table, finding.List, error) {
	if q.Rows != nil {
		return q.Rows, q.Findings, nil
	}
	t, fl, err := tablefile.ReadFor(q.File, q.By[0], append([]string{q.Response}, q.By...)...)
	var column *table.ColumnError
	var empty *tablefile.EmptyError
	switch {
	case errors.As(err, &column):
		return nil, nil, &job.RequestError{Found: column.Error(), Want: "a column of " + q.File}
	case errors.As(err, &empty):
		return nil, nil, &job.NothingUsableError{What: empty.Error(), Findings: fl}
	}
	return t, fl, err
}

func checkColumns(q Request, t *table.Table) error {
	for _, name := range append([]string{q.Response}, q.By...) {
		if !t.Has(name) {
			want := "a column of " + q.File
			if near := trait.Near(name, t.Columns()); len(near) > 0 {
				want += "; did you mean " + strings.Join(near, " or ") + "?"
			}
			return &job.RequestError{Found: fmt.Sprintf("column %q", name), Want: want}
		}
	}
	if !t.IsNumber(q.Response) {
		return &job.RequestError{Found: q.Response + " in words", Want: "a column of numbers"}
	}
	if slices.Contains(q.By, q.Response) {
		return &job.RequestError{Found: q.Response + " as response and factor", Want: "two columns"}
	}
	return nil
}

// rows are the complete rows; the others are counted and told.
func rows(q Request, t *table.Table, res *Result) (y []float64, factors []components.Factor) {
	factors = make([]components.Factor, len(q.By))
	lacking := map[string]int{}
	for k, name := range q.By {
		factors[k].Name = name
	}
	for i := range t.Len() {
		v, ok := t.Number(q.Response, i)
		lacks := ""
		if !ok {
			lacks = q.Response
		}
		labels := make([]string, len(q.By))
		for k, name := range q.By {
			if labels[k], ok = t.Text(name, i); !ok && lacks == "" {
				lacks = name
			}
		}
		if lacks != "" {
			lacking[lacks]++
			res.LeftOut++
			continue
		}
		y = append(y, v)
		for k := range labels {
			factors[k].Labels = append(factors[k].Labels, labels[k])
		}
	}
	for _, name := range append([]string{q.Response}, q.By...) {
		if n := lacking[name]; n > 0 {
			res.Findings.Add(finding.Finding{Code: "rows-incomplete", Severity: finding.Doubt, At: finding.Place{File: q.File, Column: name},
				Found: fmt.Sprintf("%d of %d rows without %s, left out", n, t.Len(), name), Want: "a figure and every label in each row", Do: "fill them in"})
		}
	}
	return y, factors
}

func (res *Result) fill(a *components.Analysis, y []float64, factors []components.Factor) {
	res.N, res.Mean = a.N, a.Mean
	for k, f := range a.Factors {
		res.Factors = append(res.Factors, Factor{f.Name, f.Labels, notNil(f.Within), notNil(f.Crossed)})
		if f.Labels > mostMeans || f.Counted {
			continue
		}
		m := Means{Factor: f.Name}
		for _, l := range components.Means(y, factors[k].Labels) {
			m.Levels = append(m.Levels, Level(l))
		}
		res.Means = append(res.Means, m)
	}
	for _, t := range a.Terms {
		res.Components = append(res.Components, Component{t.Name, t.Variance, t.Share, math.Sqrt(t.Variance), t.Raw, t.DF, t.MS, t.Levels})
	}
	for _, l := range a.Left {
		res.NotEstimable = append(res.NotEstimable, Left(l))
	}
}

func notNil(names []string) []string {
	if names == nil {
		return []string{}
	}
	return names
}

func planned(p components.Plan) Plan {
	out := Plan{Unit: p.Unit, Levels: notNil(p.Lower), Repeat: p.Repeat, Rows: []Way{}, Ways: []Way{}, Least: p.Floor}
	ways := func(options []components.Option) []Way {
		list := []Way{}
		for _, o := range options {
			w := Way{N: map[string]int{p.Repeat: o.Repeats}, SE: o.SE, Tests: o.Tests}
			for i, name := range p.Lower {
				w.N[name] = o.N[i]
			}
			list = append(list, w)
		}
		return list
	}
	out.Rows, out.Ways = ways(p.Options), ways(p.Ways)
	if p.Want > 0 {
		out.WantSE = &p.Want
	}
	return out
}

// fewLevels is how few degrees of freedom leave a component hardly known: with 4,
// its 95 % interval reaches from a third to eight times the estimate (χ²).
const fewLevels = 4

func (res *Result) warn(a *components.Analysis, q Request) {
	for _, f := range a.Factors {
		if f.Counted && len(f.Within) > 0 {
			res.Findings.Add(finding.Finding{Code: "labels-counted-anew", Severity: finding.Note, At: finding.Place{File: q.File, Column: f.Name},
				Found: fmt.Sprintf("labels of %s only count and recur: read as counted anew within each %s", f.Name, strings.Join(f.Within, ", ")),
				Do:    "if label 1 is the same " + f.Name + " everywhere, say so: --crossed " + f.Name})
		}
	}
	last := len(a.Terms) - 1
	for k, t := range a.Terms {
		if t.Raw < 0 {
			res.Findings.Add(finding.Finding{Code: "component-below-zero", Severity: finding.Note, At: finding.Place{File: q.File, Column: t.Name},
				Found: fmt.Sprintf("the estimate for %s is %.4g, reported as 0", t.Name, t.Raw), Want: "a variance from 0",
				Do: "read it as too small to be seen among these rows"})
		}
		if k < last && t.DF <= fewLevels {
			res.Findings.Add(finding.Finding{Code: "component-few-levels", Severity: finding.Doubt, At: finding.Place{File: q.File, Column: t.Name},
				Found: fmt.Sprintf("%s rests on %d degrees of freedom", t.Name, t.DF), Want: fmt.Sprintf("more than %d", fewLevels), Do: "take the figure as an order of size, or test more levels"})
		}
	}
	if res.Plan.WantSE != nil && len(res.Plan.Ways) == 0 {
		res.Findings.Add(finding.Finding{Code: "standard-error-out-of-reach", Severity: finding.Doubt, At: finding.Place{File: q.File, Column: q.Response},
			Found: fmt.Sprintf("a standard error of %g wanted", q.WantSE), Want: fmt.Sprintf("%.3g or more: the least that %d levels of each factor and %d of %s reach", res.Plan.Least, components.MostLevels, components.MostRepeats, res.Plan.Repeat),
			Do: "spread the tests over more of what varies most, or take out its cause (a control corrects for days)"})
	}
}
