// Package banding is the job `bands`: which doses of chlorine (or which pH that it
// leaves) are best for a cake figure, acceptable, and out of bounds.
//
//  1. Lots with a dose are taken from a table: by a column of figures, or by what the
//     column treatment states. Lots of one family are one flour at several doses.
//  2. Package forecast/banding fits the figure and parts the tested doses.
//  3. Pasting figures of the same lots are fitted alike and read at the edges and the
//     optimum, so that the bands can be watched on the curve in sucrose.
//
// Read rows are used or left out with the reason. It refuses what forecast/banding
// refuses, and computes no statistic itself.
package banding

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/forecast/banding"
	"flourcast/study/job"
)

// What a dose is read from, when it is not a column's name.
const (
	ByPH   = "pH"   // that the treatment states
	ByDose = "dose" // of chlorine, mg/kg, that the treatment states; untreated flour is 0
)

// lossPct is by how much of its maximum a figure may lie lower and still be
// acceptable, where the request states no limit (ours).
const lossPct = 3.0

// Request names the table, the figure, and what the dose is: a column, ByPH or ByDose.
// An acceptable figure is at least Least or, with Least nil, at most LossPct below the
// fitted maximum (nil: 3 %). Pasting are columns to read at the edges; nil: the peaks
// and final viscosities in sucrose. Level 0 is 0.95.
type Request struct {
	File    string
	Joined  *table.Table // instead of File, which then says what it is
	Figure  string
	By      string
	Least   *float64
	LossPct *float64
	Pasting []string
	Product string
	Level   float64
	Methods []method.Method
}

// Result is what `bands` prints.
type Result struct {
	Schema    string             `json:"schema"`
	File      string             `json:"file"`
	Figure    string             `json:"figure"`
	Dose      string             `json:"dose"`
	Lots      int                `json:"lots"`
	Flours    int                `json:"flours"`
	Doses     int                `json:"doses"`
	Tested    [2]float64         `json:"tested"`
	Level     float64            `json:"level"`
	Optimum   banding.Interval   `json:"optimum"`
	Maximum   Mean               `json:"maximum"`
	Limit     float64            `json:"limit"`
	LimitRule string             `json:"limit_rule"`
	Below     *banding.Interval  `json:"edge_below"` // nil: acceptable to the end of the tested doses
	Above     *banding.Interval  `json:"edge_above"`
	Zones     []banding.Zone     `json:"zones"`
	SD        float64            `json:"sd"`
	DF        float64            `json:"df"`
	BendP     float64            `json:"bend_p"`
	LackOfFit *float64           `json:"lack_of_fit_p"`
	Pasting   []Pasting          `json:"pasting"`
	Points    []Point            `json:"points"`
	Line      []Mean             `json:"line"`
	LeftOut   []assembly.LeftOut `json:"left_out"`
	Cautions  []method.Caution   `json:"cautions"`
	Findings  finding.List       `json:"findings"`
}

// Mean is the mean of the flours at a dose, with its interval.
type Mean struct {
	Dose  float64 `json:"dose"`
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Point is one lot.
type Point struct {
	Lot    string  `json:"lot"`
	Flour  string  `json:"flour"`
	Dose   float64 `json:"dose"`
	Figure float64 `json:"figure"`
}

// Pasting is a pasting figure over the acceptable doses: at the optimum, and at the
// edges or, where there is none, the last tested dose.
type Pasting struct {
	Column string `json:"column"`
	Lots   int    `json:"lots"`
	At     []Mean `json:"at"` // below, optimum, above
}

// Bands parts the doses of a table. Errors: *job.RequestError for a request that the
// table cannot answer or doses that allow no bands, *job.NothingUsableError for a
// table without a lot that has dose and figure.
func Bands(_ context.Context, _ job.Env, q Request) (*Result, error) {
	t, fl, err := tablefile.Of(q.Joined, q.File)
	var empty *tablefile.EmptyError
	if errors.As(err, &empty) {
		return nil, &job.NothingUsableError{What: err.Error(), Findings: fl}
	}
	if err != nil {
		return nil, err
	}
	if q.LossPct != nil && !(*q.LossPct > 0 && *q.LossPct < 100) {
		return nil, &job.RequestError{Found: fmt.Sprintf("a loss of %g %%", *q.LossPct), Want: "more than 0 and less than 100 % of the maximum"}
	}
	if q.Level != 0 && !(q.Level > 0.5 && q.Level < 1) {
		return nil, &job.RequestError{Found: fmt.Sprintf("level %g", q.Level), Want: "a confidence between 0.5 and 1"}
	}
	b := &bands{t: t, q: q, out: &Result{Schema: "flourcast.bands/1", File: q.File, Figure: q.Figure, Dose: q.By, LeftOut: []assembly.LeftOut{}, Pasting: []Pasting{}, Cautions: []method.Caution{}, Findings: fl}}
	for _, c := range append([]string{q.Figure}, q.Pasting...) {
		if !t.IsNumber(c) {
			return nil, &job.RequestError{Found: "no column of figures " + c, Want: "a column of the table", Do: near(c, t)}
		}
	}
	if err := b.points(); err != nil {
		return nil, err
	}
	curve, err := b.fit(q.Figure)
	if err != nil {
		return nil, refused(err)
	}
	if err := b.parts(curve); err != nil {
		return nil, refused(err)
	}
	b.pasting()
	b.caution()
	return b.out, nil
}

func refused(err error) error {
	var e *banding.Error
	if errors.As(err, &e) {
		return &job.RequestError{Found: e.Found, Want: e.Want, Do: e.Do}
	}
	return err
}

func near(name string, t *table.Table) string {
	if names := trait.Near(name, t.Columns()); len(names) > 0 {
		return "did you mean " + strings.Join(names, " or ") + "?"
	}
	return "name one of its columns"
}

type bands struct {
	t    *table.Table
	q    Request
	rows []int // of out.Points
	out  *Result
}

// points takes the lots that have dose and figure.
func (b *bands) points() error {
	stated := b.q.By == ByPH || b.q.By == ByDose
	if stated && !b.t.Has(column.Treatment) {
		return &job.RequestError{Found: "no column treatment", Want: "one that states " + b.q.By + ", such as \"chlorinated pH 4.7\"", Do: "or name a column of doses with --dose"}
	}
	if !stated && !b.t.IsNumber(b.q.By) {
		return &job.RequestError{Found: "no column of doses " + b.q.By, Want: "a column of figures, " + ByPH + " or " + ByDose, Do: near(b.q.By, b.t)}
	}
	for i := range b.t.Len() {
		if product, _ := b.t.Text("product", i); b.q.Product != "" && product != b.q.Product {
			continue
		}
		leave := func(reason string) {
			b.out.LeftOut = append(b.out.LeftOut, assembly.LeftOut{Lot: b.t.Lot(i), Reason: reason})
		}
		text, _ := b.t.Text(column.Treatment, i)
		if k := treatment.Parse(text).Kind; k == treatment.Heat || k == treatment.Other {
			leave("treated otherwise: " + text)
			continue
		}
		dose, ok := b.dose(i, text)
		if !ok {
			leave("states no " + b.q.By)
			continue
		}
		v, ok := b.t.Number(b.q.Figure, i)
		if !ok {
			leave("lacks " + b.q.Figure)
			continue
		}
		flour, ok := b.t.Text("family", i)
		if !ok && b.t.Has("family") {
			flour = b.t.Lot(i)
		}
		b.rows = append(b.rows, i)
		b.out.Points = append(b.out.Points, Point{b.t.Lot(i), flour, dose, v})
	}
	if len(b.out.Points) == 0 {
		return &job.NothingUsableError{What: "no lot with a dose and " + b.q.Figure, Findings: b.out.Findings}
	}
	return nil
}

func (b *bands) dose(row int, written string) (float64, bool) {
	if b.q.By != ByPH && b.q.By != ByDose {
		return b.t.Number(b.q.By, row)
	}
	stated := treatment.Parse(written)
	v := stated.PH
	if b.q.By == ByDose {
		if v = stated.DoseMgPerKg; v == nil && stated.Kind == treatment.None {
			return 0, true
		}
	}
	if v == nil {
		return 0, false
	}
	return *v, true
}

// fit fits a column over the lots that have it.
func (b *bands) fit(of string) (*banding.Curve, error) {
	var p []banding.Point
	for k, i := range b.rows {
		if v, ok := b.t.Number(of, i); ok {
			p = append(p, banding.Point{Flour: b.out.Points[k].Flour, Dose: b.out.Points[k].Dose, Value: v})
		}
	}
	return banding.Fit(p, b.q.Level)
}

// pictured is how many doses the drawn line has.
const pictured = 60

// parts writes what the figure's curve says.
func (b *bands) parts(c *banding.Curve) error {
	r := b.out
	r.Lots, r.Flours, r.Doses, r.Tested, r.Level = c.N, c.Flours, c.Doses, [2]float64{c.Low, c.High}, c.Level()
	r.SD, r.DF, r.BendP, r.LackOfFit = c.SD, c.DF, c.BendP, c.LackOfFit
	r.Optimum = c.Optimum()
	mean := func(dose float64) Mean {
		v, low, high := c.Mean(dose)
		return Mean{dose, v, low, high}
	}
	r.Maximum = mean(r.Optimum.Value)
	if b.q.Least != nil {
		r.Limit, r.LimitRule = *b.q.Least, "as stated"
	} else {
		loss := lossPct
		if b.q.LossPct != nil {
			loss = *b.q.LossPct
		}
		r.Limit, r.LimitRule = r.Maximum.Value-loss/100*math.Abs(r.Maximum.Value), fmt.Sprintf("%g %% below the fitted maximum, which is taken as known", loss)
	}
	var err error
	if r.Below, r.Above, err = c.Edges(r.Limit); err != nil {
		return err
	}
	if r.Zones, err = c.Zones(r.Limit); err != nil {
		return err
	}
	for i := range pictured + 1 {
		r.Line = append(r.Line, mean(c.Low+(c.High-c.Low)*float64(i)/pictured))
	}
	if r.Below == nil || r.Above == nil {
		b.note("acceptable-to-the-end", finding.Note, fmt.Sprintf("the figure is still acceptable at the last tested dose, %g or %g", c.Low, c.High), "", "what lies beyond was not tested: nothing is said of it")
	}
	if r.LackOfFit != nil && *r.LackOfFit < 0.05 {
		b.note("parabola-misses", finding.Doubt, fmt.Sprintf("the parabola misses the means of the doses (p %.2g)", *r.LackOfFit), "a figure that rises and falls evenly", "test doses nearer the optimum, and fit within them")
	}
	if c.Flours == 1 {
		b.note("one-flour", finding.Doubt, "doses of one flour, or of flours that no column family tells apart", "several flours, each at several doses", "the bands are of this flour: protein, ash and particle size move them")
	}
	return nil
}

func (b *bands) note(code string, s finding.Severity, found, want, do string) {
	b.out.Findings.Add(finding.Finding{Code: code, Severity: s, At: finding.Place{File: b.q.File, Column: b.q.Figure}, Found: found, Want: want, Do: do})
}

// pasting reads the pasting figures at the edges and the optimum.
func (b *bands) pasting() {
	columns := b.q.Pasting
	if columns == nil {
		columns = b.inSucrose()
	}
	for _, name := range columns {
		var p []banding.Point
		for k, i := range b.rows {
			if v, ok := b.t.Number(name, i); ok {
				p = append(p, banding.Point{Flour: b.out.Points[k].Flour, Dose: b.out.Points[k].Dose, Value: v})
			}
		}
		c, err := banding.Shape(p, b.q.Level)
		if err != nil {
			b.note("pasting-not-fitted", finding.Note, name+": "+err.Error(), "", "")
			continue
		}
		out := Pasting{Column: name, Lots: c.N}
		at := [3]float64{b.out.Tested[0], b.out.Optimum.Value, b.out.Tested[1]}
		if b.out.Below != nil {
			at[0] = b.out.Below.Value
		}
		if b.out.Above != nil {
			at[2] = b.out.Above.Value
		}
		for _, d := range at {
			v, low, high := c.Mean(d)
			out.At = append(out.At, Mean{d, v, low, high})
		}
		b.out.Pasting = append(b.out.Pasting, out)
	}
}

// inSucrose are the columns of peak and final viscosity by a method in sucrose.
func (b *bands) inSucrose() (out []string) {
	for _, name := range b.t.Columns() {
		id, m := trait.Split(name)
		if id != "peak_mPas" && id != "final_mPas" || !b.t.IsNumber(name) {
			continue
		}
		if m == "" {
			if values := b.t.Values("method"); len(values) == 1 {
				m = values[0]
			}
		}
		if b.solvent(m) == trait.Sucrose {
			out = append(out, name)
		}
	}
	return out
}

func (b *bands) solvent(id string) trait.Solvent {
	for _, m := range b.q.Methods {
		if m.ID == id {
			return m.Solvent
		}
	}
	return method.SolventOf(id)
}

// caution says what must be said of chlorine, whatever the column of doses is called.
func (b *bands) caution() {
	b.out.Cautions = append(b.out.Cautions, method.Caution{Topic: "Chlorinated flour", Text: treatment.Caution},
		method.Caution{Topic: "Chlorine", Text: "Chlorine is toxic and corrosive and an oxidiser: only trained people dose it, by its safety data sheet and local rules. Bands say what a cake does, and permit nothing."})
}
