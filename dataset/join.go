package dataset

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/lot"
	"flourcast/dataset/record"
	"flourcast/dataset/result"
	"flourcast/dataset/run"
	"flourcast/finding"
)

// Join reads all files and joins them: see the package comment for the steps and
// buildTable for the columns. The error is of a file that is not there, or of
// ctx; everything else is a finding.
func Join(ctx context.Context, f Files, opt JoinOptions) (*Joined, error) {
	j, err := readTests(ctx, f, opt)
	if err != nil {
		return nil, err
	}
	if err := j.readResults(ctx); err != nil {
		return nil, err
	}
	if err := j.readNotes(); err != nil {
		return nil, err
	}
	if err := j.controlRead(); err != nil {
		return nil, err
	}
	j.reportStrangers()
	if err := j.buildTable(); err != nil {
		return nil, err
	}
	j.listUnpaired()
	return j.finish(), nil
}

// ReadRuns reads lots, runs, curves and pasting files, with control batches and
// events, and links and judges the runs as Join does. Texture and bakes files are
// not read, and there is no Table. The error is that of Join.
func ReadRuns(ctx context.Context, f Files, opt JoinOptions) (*Joined, error) {
	j, err := readTests(ctx, f, opt)
	if err != nil {
		return nil, err
	}
	j.reportStrangers()
	return j.finish(), nil
}

// readTests is what Join and ReadRuns share.
func readTests(ctx context.Context, f Files, opt JoinOptions) (*joiner, error) {
	j := &joiner{f: f, opt: opt, known: map[string]bool{}, unknown: map[string]*stranger{}, out: &Joined{Unpaired: []Unpaired{}}}
	if err := j.readLots(); err != nil {
		return nil, err
	}
	if err := j.readRuns(ctx); err != nil {
		return nil, err
	}
	return j, nil
}

func (j *joiner) finish() *Joined {
	for _, k := range j.out.Kinds {
		j.out.Counts = j.out.Counts.Plus(k.Counts)
	}
	j.out.Runs = j.runs
	return j.out
}

type joiner struct {
	f   Files
	opt JoinOptions
	out *Joined

	lots  *lot.Lots
	order []string // lots of the table
	known map[string]bool

	runs           []Run // of curves files, then of pasting files
	texture, bakes []result.Result
	notes          []record.Note // of lots that are known

	unknown   map[string]*stranger
	strangers []string // in order of appearance
}

// stranger is a lot that the lots files do not have.
type stranger struct {
	rows  int
	at    finding.Place
	kinds []string
	near  []string // lots that may be meant
}

func (j *joiner) add(f ...finding.Finding) { j.out.Findings = append(j.out.Findings, f...) }

func (j *joiner) counted(kind string, c Counts) {
	j.out.Kinds = append(j.out.Kinds, KindCounts{kind, c})
}

func (j *joiner) readLots() error {
	j.lots = lot.NewRegister()
	var c Counts
	for _, path := range j.f.Lots {
		s, ok, err := record.Open(path, j.f.Map, &j.out.Findings)
		if err != nil {
			return err
		}
		if ok {
			read, refused, fl := j.lots.Read(s)
			c = c.Plus(Counts{Read: read, Accepted: read - refused, Refused: refused})
			j.add(fl...)
		}
	}
	j.add(j.lots.Check()...)
	j.counted("lots", c)
	for _, id := range j.lots.IDs() {
		j.know(id)
	}
	if len(j.f.Lots) == 0 {
		j.add(finding.Finding{Code: "lots-not-given", Severity: finding.Note, Found: "no lots file: lots are taken as the other files name them, and none waits"})
	}
	return nil
}

func (j *joiner) know(lot string) {
	if !j.known[lot] {
		j.known[lot] = true
		j.order = append(j.order, lot)
	}
}

// waits reports whether rows of a lot have to wait for it, and remembers them.
func (j *joiner) waits(lot, kind string, rows int, at finding.Place) bool {
	if j.known[lot] {
		return false
	}
	if len(j.f.Lots) == 0 && lot != "" {
		j.know(lot)
		return false
	}
	s, ok := j.unknown[lot]
	if !ok {
		s = &stranger{at: at}
		j.unknown[lot] = s
		j.strangers = append(j.strangers, lot)
	}
	s.rows += rows
	if !slices.Contains(s.kinds, kind) {
		s.kinds = append(s.kinds, kind)
	}
	return true
}

// readRuns reads runs, curves and pasting files, links them and extracts features.
func (j *joiner) readRuns(ctx context.Context) error {
	tests, c, fl, err := record.ReadTests(j.f.Runs, j.f.Map)
	if err != nil {
		return err
	}
	j.add(fl...)
	for _, t := range tests {
		if t.Kind != record.Control && j.waits(t.Lot, "runs", 1, t.At) {
			c.Accepted--
			c.Waiting++
		}
	}
	j.counted("runs", c)
	know := run.Knowledge{Tests: tests, Methods: j.f.Methods, Method: j.f.Method, Moisture: j.moisture, Waits: j.runWaits, Policy: j.opt.Policy}
	runs, rest, fl, err := run.ReadLinked(ctx, run.Files{Curves: j.f.Curves, Pasting: j.f.Pasting}, know, run.Options{Map: j.f.Map, Lot: j.f.Lot,
		Methods: j.f.Methods, Keep: j.opt.Keep, Policy: j.opt.Policy, Cores: j.opt.Cores, Progress: j.opt.Progress})
	if err != nil {
		return err
	}
	j.runs = runs
	j.add(fl...)
	curveCounts, valueCounts := rest[0], rest[1]
	if err := j.judgeDays(); err != nil {
		return err
	}
	for i := range j.runs {
		r := &j.runs[i]
		j.add(r.Findings...)
		if c := r.Fate.Count(r.Rows); r.Values {
			valueCounts = valueCounts.Plus(c)
		} else {
			curveCounts = curveCounts.Plus(c)
		}
	}
	j.counted("curves", curveCounts)
	j.counted("pasting", valueCounts)
	j.noteRuns()
	return nil
}

func (j *joiner) moisture(id string) (pct float64, ok bool) {
	if l, known := j.lots.Get(id); known {
		pct, ok = l.Figures["moisture_pct"]
	}
	return pct, ok
}

func (j *joiner) runWaits(r *Run) bool {
	kind := "curves"
	if r.Values {
		kind = "pasting"
	}
	return j.waits(r.Lot, kind, r.Rows, r.At)
}

// noteRuns tells once how many controls there are, and which methods are known by
// name only.
func (j *joiner) noteRuns() {
	controls := 0
	var methods []string
	for _, r := range j.runs {
		if r.Fate != run.Accepted {
			continue
		}
		if r.Kind == record.Control {
			controls++
		}
		if slices.Contains(methods, r.Method) {
			continue
		}
		methods = append(methods, r.Method)
		if m := run.Method(j.f.Methods, r.Method); m.SolidsG == 0 && !m.HasProgramme() {
			j.add(finding.Finding{Code: "method-unknown", Severity: finding.Note, At: r.At, Found: fmt.Sprintf("method %s has no protocol: its solvent and weigh-in are not known", r.Method),
				Do: "give its protocol, so that directions and weigh-ins can be checked"})
		}
	}
	if controls > 0 {
		j.add(finding.Finding{Code: "controls-not-pooled", Severity: finding.Note, Found: fmt.Sprintf("%d control runs were read; they belong to no lot", controls)})
	}
}

func (j *joiner) readResults(ctx context.Context) error {
	opt := result.Options{Map: j.f.Map, Protocols: j.f.Protocols, Protocol: j.f.Protocol, BakeMethods: j.f.BakeMethods, BakeMethod: j.f.BakeMethod, Cores: j.opt.Cores, Progress: j.opt.Progress}
	read, c, fl, err := result.ReadTexture(ctx, j.f.Texture, opt)
	if err != nil {
		return err
	}
	j.texture = j.settle("texture", read, c, fl)
	if read, c, fl, err = result.ReadBakes(j.f.Bakes, opt); err != nil {
		return err
	}
	j.bakes = j.settle("bakes", read, c, fl)
	return nil
}

// settle lets results wait whose lot is not known, and counts their rows.
func (j *joiner) settle(kind string, read []result.Result, c Counts, fl finding.List) []result.Result {
	j.add(fl...)
	for i := range read {
		r := &read[i]
		ofControl := r.Lot != "" && r.Lot == j.opt.DayControl.Lot // belongs to no lot, unless the lots files have it
		r.Waiting = !r.Refused && !ofControl && j.waits(r.Lot, kind, r.Rows, r.At)
		c = c.Plus(r.Count())
	}
	j.counted(kind, c)
	return read
}

// reportStrangers names every lot that rows wait for, with the names that may
// be meant.
func (j *joiner) reportStrangers() {
	names := lot.NewNames(j.order)
	for _, id := range j.strangers {
		s := j.unknown[id]
		s.near = names.Near(id)
		f := finding.Finding{Code: "lot-unknown", Severity: finding.Doubt, At: s.at, Want: "a lot of the lots file",
			Found: fmt.Sprintf("lot %s, which no lots file has; %d rows of %s wait", id, s.rows, strings.Join(s.kinds, ", ")), Do: run.Meant(s.near, "enter the lot")}
		if id == "" {
			f.Found, f.Do = fmt.Sprintf("no lot; %d rows of %s wait", s.rows, strings.Join(s.kinds, ", ")), "name the lot in a column, in the import map, or by flag"
		}
		j.add(f)
	}
}
