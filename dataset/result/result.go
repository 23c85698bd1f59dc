// Package result takes texture and bake tests from files to what they come to for
// each lot and product.
//
//  1. ReadTexture and ReadBakes read files of readings, row by row, and texture
//     files of force curves, piece by piece (package piece). Every row or piece is
//     checked by the package of its test.
//  2. The caller says which results wait for their lot, and gives products to those
//     that state none.
//  3. Correct brings forces to one thickness, and ShiftDays takes the days out by a
//     control flour, both on request (packages thickness and dayshift).
//  4. Pool summarises by lot and product. Protocols whose rules differ are not
//     pooled: the one with the most results counts.
//
// It refuses a result without any figure of a response, and knows no lots.
package result

import (
	"context"
	"fmt"

	"flourcast/dataset/bake"
	"flourcast/dataset/baking"
	"flourcast/dataset/dayshift"
	"flourcast/dataset/piece"
	"flourcast/dataset/protocol"
	"flourcast/dataset/reading"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/dataset/texture"
	"flourcast/dataset/thickness"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/work"
)

// Result is one reading of a texture or bakes file, or one piece of a file of
// force curves. Values are responses, with thickness and cook time where they are known.
type Result struct {
	Lot, Product, Protocol             string
	Sample, Batch, TestedAt, Replicate string

	Values           map[string]float64
	At               finding.Place
	Rows             int // in its file
	Refused, Waiting bool
}

// Accepted reports whether the result counts.
func (r Result) Accepted() bool { return !r.Refused && !r.Waiting }

// Count is the counts of the result's rows.
func (r Result) Count() record.Counts {
	c := record.Counts{Read: r.Rows}
	switch {
	case r.Refused:
		c.Refused = r.Rows
	case r.Waiting:
		c.Waiting = r.Rows
	default:
		c.Accepted = r.Rows
	}
	return c
}

// Options are the settings of a reading. Protocols are the laboratory's own, Protocol that of force curves that
// do not tell theirs. Cores 0 means all; Progress may be nil.
type Options struct {
	Map       *sheet.Map
	Protocols []protocol.Protocol
	Protocol  string
	Cores     int
	Progress  work.Progress

	// BakeMethods are the laboratory's own, BakeMethod that of cakes that name none
	// which is known.
	BakeMethods []baking.Method
	BakeMethod  string
}

// ReadTexture reads texture files, of readings and of force curves. Counts hold
// only rows that belong to no result, all refused. The error is of a file that is
// not there, or of ctx.
func ReadTexture(ctx context.Context, paths []string, opt Options) ([]Result, record.Counts, finding.List, error) {
	forces, others, err := record.SplitForces(ctx, paths, opt.Map, opt.Cores)
	if err != nil {
		return nil, record.Counts{}, nil, err
	}
	out, c, fl, err := read(others, opt.Map, texture.Read, opt.Protocols)
	if err != nil {
		return nil, c, fl, err
	}
	pieces, counts, more, err := piece.Read(ctx, forces, piece.Options{Map: opt.Map, Protocols: opt.Protocols, Protocol: opt.Protocol, Cores: opt.Cores, Progress: opt.Progress})
	if err != nil {
		return nil, c, fl, err
	}
	fl = append(fl, more...)
	for _, p := range pieces {
		r := Result{Lot: p.Lot, Product: p.Product, Protocol: p.RanAs, Sample: p.Sample, Batch: p.Batch, TestedAt: p.TestedAt, Replicate: p.Replicate, At: p.At, Rows: p.Rows, Refused: p.Refused}
		r.keep(p.Readings)
		out = append(out, r)
		counts.Read -= p.Rows
	}
	c.Read, c.Refused = c.Read+counts.Read, c.Refused+counts.Read
	return out, c, fl, nil
}

// ReadBakes reads bakes files. The pan and batter of a row's bake method fill in what
// it does not state; one baked in another pan, or with another batter, than its method
// says goes by a name of its own. Counts and error are those of ReadTexture.
func ReadBakes(paths []string, opt Options) ([]Result, record.Counts, finding.List, error) {
	raw, c, fl, err := record.ReadReadings(paths, opt.Map)
	if err != nil {
		return nil, c, fl, err
	}
	out := make([]Result, len(raw))
	for i, r := range raw {
		m, known := baking.Find(opt.BakeMethods, r.Protocol)
		if !known && opt.BakeMethod != "" {
			if m, known = baking.Find(opt.BakeMethods, opt.BakeMethod); known && r.Protocol == "" {
				r.Protocol = m.ID
			}
		}
		values := r.Figures.Values
		if known {
			values = m.Complete(values)
		}
		checked, found := bake.Read(values, r.At)
		out[i] = take(r, checked, found, &fl)
		if known && !out[i].Refused {
			missed := m.Check(checked, r.At)
			for _, f := range missed {
				fl.Add(r.Figures.Placed(f))
			}
			out[i].Protocol = m.BakedAs(missed, r.Protocol)
		}
	}
	return out, c, fl, nil
}

// check is how a package checks the figures of one row.
type check func(values map[string]float64, at finding.Place) (reading.Reading, finding.List)

func read(paths []string, m *sheet.Map, check check, protocols []protocol.Protocol) ([]Result, record.Counts, finding.List, error) {
	raw, c, fl, err := record.ReadReadings(paths, m)
	if err != nil {
		return nil, c, fl, err
	}
	out := make([]Result, len(raw))
	for i, r := range raw {
		checked, found := check(r.Figures.Values, r.At)
		out[i] = take(r, checked, found, &fl)
		out[i].ranBy(checked, protocols, &fl)
	}
	return out, c, fl, nil
}

// take makes a result of a checked row; one without a figure of a response is refused.
func take(r record.Reading, checked reading.Reading, found finding.List, fl *finding.List) Result {
	for _, f := range found {
		fl.Add(r.Figures.Placed(f))
	}
	out := Result{Lot: r.Lot, Product: r.Product, Protocol: r.Protocol, Batch: r.Batch, TestedAt: r.TestedAt, Replicate: r.Replicate, At: r.At, Rows: 1}
	out.keep(checked)
	out.Refused = !checked.OK() || !out.answers()
	if out.Refused && found.Count(finding.Refused) == 0 {
		fl.Add(finding.Finding{Code: "result-missing", Severity: finding.Refused, At: r.At, Found: "no figure of a result", Want: "at least one", Do: "fill the row in, or take it out"})
	}
	return out
}

// besides are facts of a piece that go along with its responses: they decide the
// force, and a model may take them as covariates.
var besides = []string{thickness.ID, "cook_time_s"}

func (r *Result) keep(checked reading.Reading) {
	r.Values = map[string]float64{}
	for _, v := range checked.Values() {
		if isResponse(v.ID) {
			r.Values[v.ID] = v.Value
		}
	}
	for _, id := range besides {
		if v, ok := checked.Get(id); ok {
			r.Values[id] = v
		}
	}
}

// ranBy holds what a row says of how it was run against its protocol's rules: a row
// that missed one is by a protocol of its own.
func (r *Result) ranBy(checked reading.Reading, protocols []protocol.Protocol, fl *finding.List) {
	var ran protocol.Ran
	for id, to := range map[string]**float64{"strain_pct": &ran.StrainPct, "pause_s": &ran.PauseS} {
		if v, ok := checked.Get(id); ok {
			*to = &v
		}
	}
	q := protocol.Find(protocols, r.Protocol)
	missed := q.Missed(ran)
	for _, m := range missed {
		fl.Add(m.Finding(r.At))
	}
	r.Protocol = q.RanAs(missed)
}

func isResponse(id string) bool {
	t, ok := trait.Lookup(id)
	return ok && t.Role == trait.RoleResponse
}

// answers reports whether there is a figure of a response.
func (r Result) answers() bool {
	for id := range r.Values {
		if isResponse(id) {
			return true
		}
	}
	return false
}

// Correct estimates how the results that count change with thickness, and, with
// at, brings them to that thickness. See package thickness.
func Correct(results []Result, at *float64) ([]thickness.Slope, finding.List) {
	var rows []thickness.Row
	for _, r := range results {
		if r.Accepted() {
			rows = append(rows, thickness.Row{Lot: r.Lot, Product: r.Product, Protocol: r.Protocol, Values: r.Values})
		}
	}
	if at == nil {
		return thickness.Slopes(rows), nil
	}
	return thickness.Correct(rows, *at)
}

// ShiftDays takes the days out of the results that count, by the control lot. See
// package dayshift.
func ShiftDays(results []Result, control string, how dayshift.How) ([]dayshift.Shift, finding.List) {
	var rows []dayshift.Row
	for _, r := range results {
		if r.Accepted() {
			rows = append(rows, dayshift.Row{Lot: r.Lot, Protocol: r.Protocol, Day: r.TestedAt, Values: r.Values, At: r.At})
		}
	}
	return dayshift.Correct(rows, control, how)
}

// what names a number of results.
func what(n int, kind string) string { return fmt.Sprintf("%d %s readings", n, kind) }
