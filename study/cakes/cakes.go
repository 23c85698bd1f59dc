// Package cakes is the job `cake`: from files of measured cakes to readings.
//
//  1. Rows are read (package record): a lot, a replicate, heights, masses, volumes.
//  2. The pan and batter of the bake method fill in what a row does not state, and
//     package bake checks the figures and works out what follows from them.
//  3. The cakes of a lot are summarised, and what must be said of chlorinated flour
//     and of the method is said.
//
// Read = Accepted + Refused, in rows. It computes no index itself and compares no
// lots.
package cakes

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/bake"
	"flourcast/dataset/baking"
	"flourcast/dataset/record"
	"flourcast/dataset/replicate"
	"flourcast/dataset/sheet"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/study/job"
)

// Request names files of cakes. Method, the id of a bake method, holds for rows
// whose protocol names none that is known; Methods are the laboratory's own, beside
// the built-in ones. Map may be nil.
type Request struct {
	Paths   []string
	Map     *sheet.Map
	Method  string
	Methods []baking.Method
}

// Result is what `cake` prints.
type Result struct {
	Schema   string       `json:"schema"`
	Runs     []Run        `json:"runs"`
	Lots     []Lot        `json:"lots"`
	Counts   Counts       `json:"counts"`
	Cautions []string     `json:"cautions"`
	Findings finding.List `json:"findings"` // of files, and of rows that are no run
}

// Counts are rows: Read = Accepted + Refused.
type Counts struct {
	Read     int `json:"read"`
	Accepted int `json:"accepted"`
	Refused  int `json:"refused"`
}

// Run is one cake: its readings by name in the units of the names, those given and
// those worked out. A refused cake has no readings. Method is the bake method whose
// pan and targets were used, or empty.
type Run struct {
	File      string             `json:"file"`
	Row       int                `json:"row"`
	Lot       string             `json:"lot"`
	Replicate string             `json:"replicate"`
	Method    string             `json:"method"`
	Treatment string             `json:"treatment"`
	Readings  map[string]float64 `json:"readings"`
	Findings  finding.List       `json:"findings"`
}

// Lot is the mean of a lot's accepted cakes.
type Lot struct {
	Lot      string             `json:"lot"`
	Cakes    int                `json:"cakes"`
	Readings map[string]Summary `json:"readings"`
}

// Summary is what the cakes of one lot come to; SD and SE need two.
type Summary struct {
	N    int      `json:"n"`
	Mean float64  `json:"mean"`
	SD   *float64 `json:"sd"`
	SE   *float64 `json:"se"`
}

// Cake reads the files. Errors: *job.RequestError for a method that there is not,
// *job.NothingUsableError when no cake has readings, else of a file that is not there.
func Cake(ctx context.Context, _ job.Env, q Request) (*Result, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if _, ok := q.find(q.Method); !ok && q.Method != "" {
		return nil, &job.RequestError{Found: "bake method " + q.Method, Want: fmt.Sprint("one of ", q.ids()), Do: "or give the laboratory's own as a file"}
	}
	rows, c, fl, err := record.ReadReadings(q.Paths, q.Map)
	if err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.cake/1", Runs: []Run{}, Lots: []Lot{}, Cautions: []string{}, Findings: fl, Counts: Counts{Read: c.Read + len(rows), Refused: c.Refused}}
	count := map[string]int{}
	for _, r := range rows {
		run := q.run(r)
		if count[r.Lot]++; run.Replicate == "" {
			run.Replicate = fmt.Sprint(count[r.Lot])
		}
		if len(run.Readings) == 0 {
			res.Counts.Refused++
		} else {
			res.Counts.Accepted++
		}
		res.Runs = append(res.Runs, run)
	}
	if res.Counts.Accepted == 0 {
		for _, r := range res.Runs {
			fl = append(fl, r.Findings...)
		}
		return nil, &job.NothingUsableError{What: "no cake with readings in the input", Findings: fl}
	}
	res.summarise()
	res.caution(q)
	return res, nil
}

// run checks one row by its method and works its readings out.
func (q Request) run(r record.Reading) Run {
	out := Run{File: r.At.File, Row: r.At.Row, Lot: r.Lot, Replicate: r.Replicate, Treatment: r.Treatment, Readings: map[string]float64{}}
	m, known := q.find(r.Protocol)
	if !known {
		m, known = q.find(q.Method)
	}
	values := r.Figures.Values
	if known {
		out.Method, values = m.ID, m.Complete(values)
	}
	read, fl := bake.Read(values, r.At)
	if read.OK() && known {
		fl = append(fl, m.Check(read, r.At)...)
	}
	for _, f := range fl {
		out.Findings.Add(r.Figures.Placed(f))
	}
	for _, v := range read.Values() {
		out.Readings[v.ID] = v.Value
	}
	return out
}

func (q Request) find(id string) (baking.Method, bool) {
	if i := slices.IndexFunc(q.Methods, func(m baking.Method) bool { return m.ID == id }); i >= 0 {
		return q.Methods[i], true
	}
	return baking.Lookup(id)
}

func (q Request) ids() []string {
	var out []string
	for _, m := range append(slices.Clone(q.Methods), baking.Builtin()...) {
		out = append(out, m.ID)
	}
	return out
}

// summarise takes the lots in order of appearance; cakes of two methods are not
// pooled: the first method of a lot counts, with a doubt.
func (res *Result) summarise() {
	method := map[string]string{}
	records := map[string][]map[string]float64{}
	var lots []string
	for _, r := range res.Runs {
		if len(r.Readings) == 0 {
			continue
		}
		m, seen := method[r.Lot]
		if !seen {
			lots = append(lots, r.Lot)
			method[r.Lot] = r.Method
		} else if m != r.Method {
			res.Findings.Add(replicate.Differs("protocol", fmt.Sprintf("a cake of lot %s by method %q, not pooled with those by %q", r.Lot, r.Method, m), finding.Place{File: r.File, Row: r.Row}))
			continue
		}
		records[r.Lot] = append(records[r.Lot], r.Readings)
	}
	for _, name := range lots {
		set := replicate.Summarise(records[name])
		lot := Lot{Lot: name, Cakes: len(records[name]), Readings: map[string]Summary{}}
		for _, s := range set {
			sum := Summary{N: s.N, Mean: s.Mean}
			if s.Repeated {
				sum.SD, sum.SE = &s.SD, &s.SE
			}
			lot.Readings[s.ID] = sum
		}
		if f := set.Disagreement("cakes of lot "+name, finding.Place{}); f != nil {
			res.Findings.Add(*f)
		}
		res.Lots = append(res.Lots, lot)
	}
}

// caution gathers what must be said of the flours and methods that were touched.
func (res *Result) caution(q Request) {
	add := func(text string) {
		if text != "" && !slices.Contains(res.Cautions, text) {
			res.Cautions = append(res.Cautions, text)
		}
	}
	var treatments []string
	for _, r := range res.Runs {
		treatments = append(treatments, r.Treatment)
		if treatment.Parse(r.Treatment).Kind == treatment.Chlorinated {
			add(treatment.Caution)
		}
		if m, ok := q.find(r.Method); ok {
			add(m.Caution)
		}
	}
	if kinds := treatment.Kinds(treatments); len(kinds) > 1 {
		res.Findings.Add(finding.Finding{Code: "treatments-differ", Severity: finding.Note, Found: "flours of several treatments: " + strings.Join(kinds, ", "),
			Do: "keep them apart: treatment drives the volume whatever the flour"})
	}
}
