// Package run takes pasting tests from their files to the figures of their lots.
//
//  1. ReadCurves and ReadLinked read files, several at once, and go from a file's
//     points to the features of its runs before they read the next. Each run is
//     accepted, waiting (its lot or test is not known yet) or refused, and its
//     rows with it.
//  2. Link gives runs what the runs file knows: lot, method, kind, status, reason,
//     instrument, water, and the solids as weighed in, which are compared with the
//     method's and never corrected for.
//  3. How curves kept to their methods is judged by the user's policy, and their
//     features are worked out.
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

	raw    *record.Run // until it is worked out
	worked *outcome    // until it is known whether the run is used
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

// EachCurve reads curves files, long (columns lot, method, replicate, time,
// temperature, viscosity) or one run a file, extracts the features of each run and
// hands it to take: in the order of the files, one at a time, as soon as the run and
// those before it are known, so that nobody has to keep them all. A run without a lot
// waits; one without a method is read by its temperatures, with a doubt. Counts are
// file rows; findings those of files, for a run's stand with it. The error is of a
// file that is not there, of take, or of ctx.
func EachCurve(ctx context.Context, paths []string, opt Options, take func(Run) error) (record.Counts, finding.List, error) {
	var c record.Counts
	names := namesake{}
	files := work.InOrder(func(runs []Run) error {
		for i := range runs {
			r := &runs[i]
			r.sayWhatIsMissing()
			names.refuse(r)
			r.finish(opt, true)
			c = c.Plus(r.Fate.Count(r.Rows))
			if err := take(*r); err != nil {
				return err
			}
		}
		return nil
	})
	rest, fl, err := stream(ctx, paths, Knowledge{Method: opt.Method}, opt, files.Put)
	return c.Plus(rest), fl, err
}

// ReadCurves reads curves files as EachCurve does, and keeps all runs. The findings
// are those of files, then those of runs.
func ReadCurves(ctx context.Context, paths []string, opt Options) ([]Run, record.Counts, finding.List, error) {
	var runs []Run
	c, fl, err := EachCurve(ctx, paths, opt, func(r Run) error {
		runs = append(runs, r)
		return nil
	})
	if err != nil {
		return nil, record.Counts{}, nil, err
	}
	for _, r := range runs {
		fl = append(fl, r.Findings...)
	}
	return runs, c, fl, nil
}

// sayWhatIsMissing: a run of no method is doubted, one of no lot waits.
func (r *Run) sayWhatIsMissing() {
	if r.Method == "" {
		r.add(finding.Finding{Code: "method-missing", Severity: finding.Doubt, At: r.At, Found: "no method", Want: "the method of the run", Do: "name it in a column, in the import map, or by flag"})
	}
	if r.Lot == "" && r.Fate == Accepted {
		r.Fate = Waiting
		r.add(finding.Finding{Code: "lot-missing", Severity: finding.Doubt, At: r.At, Found: "no lot; the run waits", Want: "the lot of the run", Do: "name it in a column, in the import map, or by flag"})
	}
}

// Files are curves files and pasting files.
type Files struct{ Curves, Pasting []string }

// ReadLinked reads curves and pasting files, links their runs (see Link), and
// works out the features of those that are accepted. Runs of curves come first,
// in the order of the files; rest are the counts of rows that belong to no run,
// of curves and of pasting files. The error is that of ReadCurves.
func ReadLinked(ctx context.Context, f Files, k Knowledge, opt Options) (runs []Run, rest [2]record.Counts, fl finding.List, err error) {
	files := make([][]Run, len(f.Curves))
	rest[0], fl, err = stream(ctx, f.Curves, k, opt, func(i int, runs []Run) error {
		files[i] = runs
		return nil
	})
	if err != nil {
		return nil, rest, nil, err
	}
	raw, c, more, err := record.ReadValues(ctx, f.Pasting, opt.record())
	if err != nil {
		return nil, rest, nil, err
	}
	runs, rest[1], fl = append(slices.Concat(files...), fromRecords(raw)...), c, append(fl, more...)
	Link(runs, k)
	names := namesake{}
	for i := range runs {
		names.refuse(&runs[i])
		runs[i].finish(opt, false)
	}
	return runs, rest, fl, nil
}

func (o Options) record() record.Options {
	return record.Options{Map: o.Map, Method: o.Method, Lot: o.Lot, Cores: o.Cores, Progress: o.Progress}
}

// stream reads curves files and works out what each run comes to by the method
// that Link will give it, file by file: points of a file are let go before the
// next is read, unless curves are kept. The runs of file i go to take, from several
// goroutines.
func stream(ctx context.Context, paths []string, k Knowledge, opt Options, take func(i int, runs []Run) error) (record.Counts, finding.List, error) {
	x := newIndex(k.Tests)
	return record.EachCurves(ctx, paths, opt.record(), func(i int, raw []record.Run) error {
		runs := fromRecords(raw)
		for j := range runs {
			r := &runs[j]
			r.workOut(Method(opt.Methods, x.method(r, k.Method)), opt)
		}
		return take(i, runs)
	})
}

// fromRecords makes runs of records, all accepted unless their reader refused them.
func fromRecords(raw []record.Run) []Run {
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

// outcome is what a run comes to by itself, before it is known whether the run is
// to be used.
type outcome struct {
	features   pasting.Features
	conformity *conformity.Report
	findings   finding.List
}

// workOut works out what the run comes to by method m, and frees its points: a curve
// that is kept is a copy of them.
func (r *Run) workOut(m method.Method, opt Options) {
	raw := r.raw
	r.raw, r.worked = nil, &outcome{}
	p := raw.Points
	if p == nil {
		r.worked.features, r.worked.findings = pasting.FromValues(raw.Figures.Values)
		for i, f := range r.worked.findings {
			r.worked.findings[i] = raw.Figures.Placed(f)
		}
		return
	}
	c := pasting.Curve{TimeS: p.TimeS, TemperatureC: p.TemperatureC, ViscosityMPas: p.ViscosityMPas, SpeedRPM: p.SpeedRPM, At: finding.Place{File: r.At.File}, Rows: p.Row}
	r.worked.read(c, m, opt.Policy)
	if opt.Keep { // in memory of the right size: the reader took it for a usual run
		c.TimeS, c.TemperatureC, c.ViscosityMPas, c.Rows = slices.Clone(c.TimeS), slices.Clone(c.TemperatureC), slices.Clone(c.ViscosityMPas), slices.Clone(c.Rows)
		r.Curve = &c
	}
	p.Free()
}

// read judges a curve by its method and reads its features, unless the record or
// the policy refuses it.
func (o *outcome) read(c pasting.Curve, m method.Method, p conformity.Policy) {
	tr, faults := trace.Read(c, m)
	report, fl := conformity.Check(tr, faults, p)
	o.conformity, o.findings = &report, fl
	if fl.Count(finding.Refused) > 0 {
		return
	}
	features, more := pasting.FromTrace(tr)
	o.features, o.findings = features, append(fl, more...)
}

// finish gives an accepted run (with waiting, a waiting one too) what it comes to. A
// run that has no features is refused.
func (r *Run) finish(opt Options, waiting bool) {
	if r.Fate == Accepted || waiting && r.Fate == Waiting {
		if r.worked == nil {
			r.workOut(Method(opt.Methods, r.Method), opt)
		}
		r.Features, r.Conformity = r.worked.features, r.worked.conformity
		for _, f := range r.worked.findings {
			r.add(f)
		}
		if !r.Features.OK() {
			r.Fate = Refused
		}
	}
	r.raw, r.worked = nil, nil
}

// namesake is where each name of a run that is not refused was met first.
type namesake map[record.Identity]finding.Place

// refuse refuses a run under the name of an earlier one.
func (n namesake) refuse(r *Run) {
	if r.Fate == Refused {
		return
	}
	name := r.named()
	if first, known := n[name.Identity()]; known {
		r.add(record.Twice(name, first))
		return
	}
	n[name.Identity()] = r.At
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
