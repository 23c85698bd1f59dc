// Package run takes pasting tests from their files to the figures of their lots.
//
//  1. ReadCurves and Read turn what package record read into runs; each run is
//     accepted, waiting (its lot or test is not known yet) or refused, and its
//     rows with it.
//  2. Link gives runs what the runs file knows: lot, method, kind, status, reason,
//     instrument, water, and the solids as weighed in, which are compared with the
//     method's and never corrected for.
//  3. Extract judges how curves kept to their methods, by the user's policy, and
//     works out their features, in parallel.
//  4. Pool summarises the runs of each lot by each method. Void runs and controls
//     are not pooled; a retest never replaces the first run by itself; what
//     differs in instrument, water or solids is named.
//
// It refuses a run under the name of an earlier one, and one that says something
// else about itself than the runs file. It knows lots by name only.
package run

import (
	"context"
	"slices"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/work"
)

// Fate is what became of the rows of a run or reading.
type Fate string

// The fates.
const (
	Accepted Fate = "accepted"
	Waiting  Fate = "waiting"
	Refused  Fate = "refused"
)

// Count is the counts of so many rows that share the fate.
func (f Fate) Count(rows int) record.Counts {
	c := record.Counts{Read: rows}
	switch f {
	case Accepted:
		c.Accepted = rows
	case Waiting:
		c.Waiting = rows
	default:
		c.Refused = rows
	}
	return c
}

// Run is one test of one lot by one pasting method: a curve, or a row of feature
// values. Kind, Status ("ok" or "void"), Reason, Water and SolidsG come from the
// runs file, as far as it has the run.
type Run struct {
	Lot, Method, Run, Sample, Replicate string

	Kind, Status, Reason, Instrument, Water string
	TestedAt                                string   // 2006-01-02, with the time of day behind it if it is known
	SolidsG                                 *float64 // flour weighed in as dry matter, g

	At       finding.Place // its first row
	Rows     int           // rows that it has in the file
	Values   bool          // read as feature values, without a curve
	Fate     Fate
	Pooled   bool // its features count for its lot
	Features pasting.Features
	Curve    *pasting.Curve // nil unless kept, or without a curve
	Findings finding.List
	// Conformity is how a curve kept to its method; nil for feature values.
	Conformity *conformity.Report

	raw *record.Run
}

// add keeps a finding with the run. A refused finding refuses the run.
func (r *Run) add(f finding.Finding) {
	r.Findings.Add(f)
	if f.Severity == finding.Refused {
		r.Fate = Refused
	}
}

// named is the run as package record knows it.
func (r *Run) named() *record.Run {
	return &record.Run{Run: r.Run, Lot: r.Lot, Sample: r.Sample, Method: r.Method, Replicate: r.Replicate, At: r.At}
}

// Options say how runs are read and extracted. Method and Lot hold for runs that
// do not tell theirs. Keep keeps the curves. The zero Policy doubts. Cores 0 means all; Progress may be
// nil.
type Options struct {
	Map         *sheet.Map
	Method, Lot string
	Methods     []method.Method
	Keep        bool
	Policy      conformity.Policy // what deviations from the method do to a run
	Cores       int
	Progress    work.Progress
}

// ReadCurves reads curves files, long (columns lot, method, replicate, time,
// temperature, viscosity) or one run a file, and extracts the features of each
// run. A run without a lot waits; one without a method is read by its
// temperatures, with a doubt. Counts are file rows. The error is of a file that
// is not there, or of ctx.
func ReadCurves(ctx context.Context, paths []string, opt Options) ([]Run, record.Counts, finding.List, error) {
	raw, c, fl, err := record.ReadCurves(ctx, paths, record.Options{Map: opt.Map, Method: opt.Method, Lot: opt.Lot, Cores: opt.Cores, Progress: opt.Progress})
	if err != nil {
		return nil, c, fl, err
	}
	runs := New(raw)
	for i := range runs {
		r := &runs[i]
		if r.Method == "" {
			r.add(finding.Finding{Code: "method-missing", Severity: finding.Doubt, At: r.At, Found: "no method", Want: "the method of the run", Do: "name it in a column, in the import map, or by flag"})
		}
		if r.Lot == "" && r.Fate == Accepted {
			r.Fate = Waiting
			r.add(finding.Finding{Code: "lot-missing", Severity: finding.Doubt, At: r.At, Found: "no lot; the run waits", Want: "the lot of the run", Do: "name it in a column, in the import map, or by flag"})
		}
	}
	if err := Extract(ctx, runs, opt, true); err != nil {
		return nil, c, fl, err
	}
	for i := range runs {
		c = c.Plus(runs[i].Fate.Count(runs[i].Rows))
		fl = append(fl, runs[i].Findings...)
	}
	return runs, c, fl, nil
}

// New makes runs of records, all accepted unless their reader refused them.
func New(raw []record.Run) []Run {
	runs := make([]Run, len(raw))
	for i := range raw {
		r := &raw[i]
		runs[i] = Run{Lot: r.Lot, Method: r.Method, Run: r.Run, Sample: r.Sample, Replicate: r.Replicate, Instrument: r.Instrument,
			At: r.At, Rows: r.Rows, Values: r.Points == nil, Fate: Accepted, raw: r}
		for _, f := range r.Findings {
			runs[i].add(f)
		}
	}
	return runs
}

// Extract refuses runs under the name of an earlier one, and works out the
// features of accepted runs (with waiting, of waiting ones too). A run that has
// none is refused. Curves are dropped unless opt.Keep. It is called once.
func Extract(ctx context.Context, runs []Run, opt Options, waiting bool) error {
	refuseTwice(runs)
	progress := opt.Progress
	if progress == nil {
		progress = work.Quiet
	}
	progress.Start("extracting features", len(runs))
	defer progress.Done()
	return work.Each(ctx, len(runs), opt.Cores, func(i int) error {
		defer progress.Step(1)
		r := &runs[i]
		raw := r.raw
		r.raw = nil
		if p := raw.Points; p != nil {
			r.Curve = &pasting.Curve{TimeS: p.TimeS, TemperatureC: p.TemperatureC, ViscosityMPas: p.ViscosityMPas, SpeedRPM: p.SpeedRPM, At: finding.Place{File: r.At.File}, Rows: p.Row}
		}
		if r.Fate == Accepted || waiting && r.Fate == Waiting {
			r.extract(raw, Method(opt.Methods, r.Method), opt.Policy)
		}
		if !opt.Keep {
			r.Curve = nil
		}
		return nil
	})
}

func (r *Run) extract(raw *record.Run, m method.Method, p conformity.Policy) {
	var fl finding.List
	if r.Curve != nil {
		fl = r.read(m, p)
	} else {
		r.Features, fl = pasting.FromValues(raw.Figures.Values)
	}
	for _, f := range fl {
		if r.Curve == nil {
			f = raw.Figures.Placed(f)
		}
		r.add(f)
	}
	if !r.Features.OK() {
		r.Fate = Refused
	}
}

// read judges a curve by its method and reads its features, unless the record or
// the policy refuses it.
func (r *Run) read(m method.Method, p conformity.Policy) finding.List {
	tr, faults := trace.Read(*r.Curve, m)
	report, fl := conformity.Check(tr, faults, p)
	r.Conformity = &report
	if fl.Count(finding.Refused) > 0 {
		return fl
	}
	features, more := pasting.FromTrace(tr)
	r.Features = features
	return append(fl, more...)
}

// refuseTwice refuses every run under the name of an earlier one.
func refuseTwice(runs []Run) {
	first := map[record.Identity]int{}
	for i := range runs {
		r := &runs[i]
		if r.Fate == Refused {
			continue
		}
		if k, known := first[r.named().Identity()]; known {
			r.add(record.Twice(r.named(), runs[k].At))
			continue
		}
		first[r.named().Identity()] = i
	}
}

// Method finds a method among the laboratory's own, then the built-in ones; of
// any other only the name is known.
func Method(own []method.Method, id string) method.Method {
	if k := slices.IndexFunc(own, func(m method.Method) bool { return m.ID == id }); k >= 0 {
		return own[k]
	}
	if m, ok := method.Lookup(id); ok {
		return m
	}
	return method.Unknown(id)
}
