// Package piece takes texture tests of single pieces (a set of strands, a cube of
// crumb) from files of force curves to readings.
//
//  1. Read has package record read the files: a record is a piece, accepted unless
//     its rows or name are at fault.
//  2. Each curve is read by its protocol (package bite), in parallel. Of protocols
//     that do not state the kind of test, one with two bites anywhere is a two-bite
//     test everywhere: a single bite then is a second one that failed.
//  3. Gumminess and chewiness are worked out, and all readings held to what they can
//     be (package texture), with what the file says beside the curve: thickness,
//     cook time, yield, cooking loss.
//  4. What happened is compared with the protocol's targets, and strain, pause and
//     speed with its rules: readings by other rules are not pooled.
//
// It refuses a piece under the name of an earlier one, and one whose curve gives no
// reading. It knows lots by name only and summarises nothing.
package piece

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/protocol"
	"flourcast/dataset/reading"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/dataset/texture"
	"flourcast/dataset/texture/bite"
	"flourcast/finding"
	"flourcast/work"
)

// Piece is one test of one piece. Protocol is the one that it was read by. Bites
// has its trace and parts only if they are kept.
type Piece struct {
	Lot, Product, Sample, Batch, TestedAt, Replicate string

	Protocol protocol.Protocol
	RanAs    string        // the protocol's id, and the rules that it was not run by
	At       finding.Place // its first row
	Rows     int
	Refused  bool
	Readings reading.Reading // with what the file says beside the curve
	Bites    bite.Bites
	Findings finding.List

	name  record.Identity
	bites int         // on the record
	raw   *record.Run // until the piece is finished
}

// Options are the settings of a reading. Protocol and Lot are of pieces that do not tell theirs; Protocols are
// the laboratory's own. Keep keeps traces. Cores 0 means all; Progress may be nil.
type Options struct {
	Map           *sheet.Map
	Protocols     []protocol.Protocol
	Protocol, Lot string
	Keep          bool
	Cores         int
	Progress      work.Progress
}

// Read reads files of force curves. Counts are file rows: those of refused pieces
// are refused, the others accepted. Findings of pieces stand with them too. The
// error is of a file that is not there, or of ctx.
func Read(ctx context.Context, paths []string, opt Options) ([]Piece, record.Counts, finding.List, error) {
	if opt.Progress == nil {
		opt.Progress = work.Quiet
	}
	files := make([][]Piece, len(paths))
	c, fl, err := record.EachForces(ctx, paths, record.Options{Map: opt.Map, Lot: opt.Lot, Cores: opt.Cores, Progress: opt.Progress}, func(i int, runs []record.Run) error {
		files[i] = make([]Piece, len(runs))
		return work.Each(ctx, len(runs), opt.Cores, func(k int) error {
			files[i][k] = opt.piece(&runs[k])
			return nil
		})
	})
	if err != nil {
		return nil, c, fl, err
	}
	pieces := slices.Concat(files...)
	settleTest(pieces, opt.Keep)
	refuseTwice(pieces)
	for i := range pieces {
		p := &pieces[i]
		fl = append(fl, p.Findings...)
		if c.Read += p.Rows; p.Refused {
			c.Refused += p.Rows
		} else {
			c.Accepted += p.Rows
		}
	}
	return pieces, c, fl, nil
}

// piece reads one record. One whose kind of test is not settled keeps its points.
func (opt Options) piece(r *record.Run) Piece {
	p := Piece{Lot: r.Lot, Product: r.Product, Sample: r.Sample, Batch: r.Batch, TestedAt: r.TestedAt, Replicate: r.Replicate,
		Protocol: protocol.Find(opt.Protocols, cmp.Or(r.Protocol, opt.Protocol)), At: r.At, Rows: r.Rows, raw: r, name: r.Identity()}
	for _, f := range r.Findings {
		p.add(f)
	}
	if !p.Refused {
		p.extract()
	}
	if p.Refused || p.Protocol.Test != protocol.Unstated || p.Bites.Count() != 1 {
		p.finish(opt.Keep)
	}
	return p
}

func (p *Piece) add(f finding.Finding) {
	p.Findings.Add(f)
	p.Refused = p.Refused || f.Severity == finding.Refused
}

// refuseTwice refuses every piece under the name of an earlier one that counts.
func refuseTwice(pieces []Piece) {
	first := map[record.Identity]finding.Place{}
	for i := range pieces {
		p := &pieces[i]
		if p.Refused {
			continue
		}
		if at, known := first[p.name]; known {
			p.add(record.Twice(p.named(), at))
			p.Readings, p.Bites = reading.Reading{}, bite.Bites{}
			continue
		}
		first[p.name] = p.At
	}
}

// named is the piece as package record knows it, for findings.
func (p *Piece) named() *record.Run {
	return &record.Run{Lot: p.Lot, Replicate: p.Replicate, Run: p.name[0], Method: p.Protocol.ID, At: p.At}
}

func (p *Piece) curve() bite.Curve {
	q := p.raw.Points
	return bite.Curve{TimeS: q.TimeS, ForceN: q.ForceN, DistanceMM: q.DistanceMM, Rows: q.Row, At: finding.Place{File: p.At.File}}
}

func (p *Piece) extract() {
	var fl finding.List
	p.Bites, fl = bite.Extract(p.curve(), p.Protocol)
	for _, f := range fl {
		p.add(f)
	}
}

// settleTest finishes the pieces of which only the others tell the kind of test:
// single bites by a protocol that does not state it. Where others by it show two
// bites, they are read again as two-bite tests.
func settleTest(pieces []Piece, keep bool) {
	two := map[string]bool{}
	for _, p := range pieces {
		if p.Protocol.Test == protocol.Unstated && p.bites > 1 {
			two[p.Protocol.ID] = true
		}
	}
	for i := range pieces {
		p := &pieces[i]
		if p.raw == nil {
			continue
		}
		if two[p.Protocol.ID] {
			p.Findings = slices.Clone(p.raw.Findings)
			p.Protocol.Test = protocol.TwoBite
			p.extract()
			p.Protocol.Test = protocol.Unstated
		}
		p.finish(keep)
	}
}

// finish checks the readings and puts those of the file beside them.
func (p *Piece) finish(keep bool) {
	raw := p.raw
	p.RanAs = p.Protocol.ID
	p.raw, p.bites = nil, p.Bites.Count()
	if p.Refused {
		return
	}
	values := map[string]float64{}
	for id, v := range raw.Figures.Values {
		values[id] = v
	}
	for _, v := range p.Bites.Values() {
		values[v.ID] = v.Value
	}
	checked, fl := texture.Read(values, p.At)
	for _, f := range fl {
		if _, written := raw.Figures.Values[f.At.Column]; written {
			f = raw.Figures.Placed(f)
		}
		p.add(f)
	}
	if p.Refused {
		return
	}
	p.Readings = texture.WithProducts(checked)
	p.compare()
	p.rules()
	if !keep {
		p.Bites = bite.Bites{}
	}
}

// cookOff is by how much a cook time may miss a fixed one, as a share; ours.
const cookOff = 0.05

// compare doubts a piece that missed what its protocol asks of the cook.
func (p *Piece) compare() {
	q := p.Protocol
	doubt := func(code, id string, found, want string) {
		at := p.At
		at.Column = id
		p.add(finding.Finding{Code: code, Severity: finding.Doubt, At: at, Found: found, Want: want + " by protocol " + q.ID, Do: "the reading counts; note why, or cook again"})
	}
	if v, ok := p.Readings.Get(texture.Thickness); ok && q.TargetThicknessMM != nil && q.ThicknessToleranceMM != nil && math.Abs(v-*q.TargetThicknessMM) > *q.ThicknessToleranceMM {
		doubt("thickness-off-target", texture.Thickness, fmt.Sprintf("%g mm thick", v), fmt.Sprintf("%g ± %g mm", *q.TargetThicknessMM, *q.ThicknessToleranceMM))
	}
	if v, ok := p.Readings.Get("cook_time_s"); ok && q.CookTimeS != nil && math.Abs(v-*q.CookTimeS) > cookOff**q.CookTimeS {
		doubt("cook-time-off", "cook_time_s", fmt.Sprintf("cooked for %g s", v), fmt.Sprintf("%g s", *q.CookTimeS))
	}
}

// rules compares how the test was run, as recorded or else read off the curve, with
// the protocol.
func (p *Piece) rules() {
	on := p.Bites.Ran()
	ran := protocol.Ran{SpeedMMPerS: on.SpeedMMPerS, PauseS: on.PauseS}
	if height, ok := p.Readings.Get(texture.Thickness); ok && on.TravelMM != nil && height > 0 {
		strain := 100 * *on.TravelMM / height
		ran.StrainPct, ran.StrainRead = &strain, true
	}
	if v, ok := p.Readings.Get("strain_pct"); ok {
		ran.StrainPct, ran.StrainRead = &v, false
	}
	if v, ok := p.Readings.Get("pause_s"); ok {
		ran.PauseS = &v
	}
	missed := p.Protocol.Missed(ran)
	p.RanAs = p.Protocol.RanAs(missed)
	for _, m := range missed {
		if m.Rule != "speed_mm_per_s" { // package bite has said it
			p.add(m.Finding(p.At))
		}
	}
}
