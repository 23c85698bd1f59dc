// Package pieces is the job `texture`: from files of force curves to readings.
//
//  1. Curves are read piece by piece and their readings taken (package piece).
//  2. Those of one lot, product and protocol are summarised; how forces change with
//     thickness within lots is told where thickness is given.
//  3. The curves are kept, with the stretches that readings were taken on, for
//     pictures.
//
// Read = Accepted + Waiting + Refused, in rows. A piece without a lot waits: its
// readings are given, and belong to nothing yet. It takes no reading itself.
package pieces

import (
	"context"

	"flourcast/dataset/piece"
	"flourcast/dataset/protocol"
	"flourcast/dataset/record"
	"flourcast/dataset/replicate"
	"flourcast/dataset/sheet"
	"flourcast/dataset/thickness"
	"flourcast/finding"
	"flourcast/study/job"
)

// Request names files of force curves. Protocol and Lot hold for pieces whose file
// does not tell; Protocols are the laboratory's own, beside the built-in ones. Map
// may be nil.
type Request struct {
	Paths         []string
	Map           *sheet.Map
	Protocol, Lot string
	Protocols     []protocol.Protocol
}

// Result is what `texture` prints.
type Result struct {
	Schema    string            `json:"schema"`
	Runs      []Run             `json:"runs"`
	Lots      []Lot             `json:"lots"`
	Thickness []thickness.Slope `json:"thickness"`
	Counts    record.Counts     `json:"counts"`
	Findings  finding.List      `json:"findings"` // of files, not of one piece
}

// Run is one piece: its readings by name in the units of the names. A refused
// piece has none. Conventions say what the readings mean.
type Run struct {
	File        string             `json:"file"`
	Row         int                `json:"row"`
	Lot         string             `json:"lot"`
	Replicate   string             `json:"replicate"`
	Product     string             `json:"product"`
	Protocol    string             `json:"protocol"`
	Batch       string             `json:"batch"`
	TestedAt    string             `json:"tested_at"`
	Conventions Conventions        `json:"conventions"`
	Readings    map[string]float64 `json:"readings"`
	Findings    finding.List       `json:"findings"`

	Trace Trace  `json:"-"`
	Parts []Part `json:"-"`
}

// Conventions are the kind of test that a piece was read as (empty for a refused
// one), the areas of cohesiveness, the lengths of springiness and the sign of
// adhesiveness.
type Conventions struct {
	Test         string `json:"test"`
	Cohesiveness string `json:"cohesiveness"`
	Springiness  string `json:"springiness"`
	Adhesiveness string `json:"adhesiveness_sign"`
}

// Trace is a force curve less its baseline, thinned to what a picture shows.
type Trace struct{ TimeS, ForceN []float64 }

// Part is a stretch of the curve with its name ("first stroke"), and the point of
// its greatest force, or of its greatest pull.
type Part struct {
	Name string
	Trace
	AtS, AtN float64
}

// Lot is the pieces of one lot, product and protocol.
type Lot struct {
	Lot      string             `json:"lot"`
	Product  string             `json:"product"`
	Protocol string             `json:"protocol"`
	Pieces   int                `json:"pieces"`
	Readings map[string]Summary `json:"readings"`
}

// Summary is what pieces come to; SD and SE need two.
type Summary struct {
	N    int      `json:"n"`
	Mean float64  `json:"mean"`
	SD   *float64 `json:"sd"`
	SE   *float64 `json:"se"`
}

// Texture reads files of force curves. It returns *job.NothingUsableError when no
// piece has a reading.
func Texture(ctx context.Context, env job.Env, q Request) (*Result, error) {
	read, c, fl, err := piece.Read(ctx, q.Paths, piece.Options{Map: q.Map, Protocols: q.Protocols, Protocol: q.Protocol, Lot: q.Lot, Keep: true, Cores: env.Cores, Progress: env.Report()})
	if err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.texture/1", Runs: []Run{}, Lots: []Lot{}, Thickness: []thickness.Slope{}, Counts: c, Findings: finding.List{}}
	ofPieces := map[finding.Finding]bool{}
	var rows []thickness.Row
	for _, p := range read {
		for _, f := range p.Findings {
			ofPieces[f] = true
		}
		r := run(p)
		if p.Lot == "" && !p.Refused {
			res.Counts.Accepted -= p.Rows
			res.Counts.Waiting += p.Rows
			r.Findings.Add(finding.Finding{Code: "lot-missing", Severity: finding.Doubt, At: p.At, Found: "no lot; the piece waits", Want: "the lot of the piece", Do: "name it in a column, in the import map, or by --lot"})
		}
		if p.Lot != "" && !p.Refused {
			rows = append(rows, thickness.Row{Lot: p.Lot, Product: p.Product, Protocol: p.RanAs, Values: r.Readings})
		}
		res.Runs = append(res.Runs, r)
	}
	for _, f := range fl {
		if !ofPieces[f] {
			res.Findings.Add(f)
		}
	}
	if res.Counts.Accepted+res.Counts.Waiting == 0 {
		return nil, &job.NothingUsableError{What: "no force curve with a reading in the input", Findings: fl}
	}
	res.Thickness = append(res.Thickness, thickness.Slopes(rows)...)
	res.Lots = append(res.Lots, lots(rows)...)
	return res, nil
}

func run(p piece.Piece) Run {
	q := p.Protocol
	out := Run{File: p.At.File, Row: p.At.Row, Lot: p.Lot, Replicate: p.Replicate, Product: p.Product, Protocol: p.RanAs, Batch: p.Batch, TestedAt: p.TestedAt,
		Conventions: Conventions{string(p.Bites.Test()), string(q.Cohesiveness), string(q.Springiness), "positive"}, Readings: map[string]float64{}, Findings: append(finding.List{}, p.Findings...)}
	if q.AdhesivenessNegative {
		out.Conventions.Adhesiveness = "negative"
	}
	for _, v := range p.Readings.Values() {
		out.Readings[v.ID] = v.Value
	}
	if p.Refused {
		return out
	}
	whole := Trace{}
	whole.TimeS, whole.ForceN = p.Bites.Trace()
	for _, part := range p.Bites.Parts() {
		out.Parts = append(out.Parts, whole.part(part.Name, part.FromS, part.ToS))
	}
	out.Trace = whole.thinned()
	return out
}

// part cuts a stretch out.
func (t Trace) part(name string, from, to float64) Part {
	p := Part{Name: name}
	for i, at := range t.TimeS {
		if at < from || at > to {
			continue
		}
		f := t.ForceN[i]
		if len(p.TimeS) == 0 || f*f > p.AtN*p.AtN {
			p.AtS, p.AtN = at, f
		}
		p.TimeS, p.ForceN = append(p.TimeS, at), append(p.ForceN, f)
	}
	p.Trace = p.thinned()
	return p
}

// most is how many points a picture takes of a curve.
const most = 800

// thinned keeps every k-th point, and the last.
func (t Trace) thinned() (out Trace) {
	k := len(t.TimeS)/most + 1
	for i := range t.TimeS {
		if i%k == 0 || i == len(t.TimeS)-1 {
			out.TimeS, out.ForceN = append(out.TimeS, t.TimeS[i]), append(out.ForceN, t.ForceN[i])
		}
	}
	return out
}

// lots summarises pieces by lot, product and protocol, in order of appearance.
func lots(rows []thickness.Row) (out []Lot) {
	type key struct{ lot, product, protocol string }
	of := map[key][]map[string]float64{}
	var keys []key
	for _, r := range rows {
		k := key{r.Lot, r.Product, r.Protocol}
		if of[k] == nil {
			keys = append(keys, k)
		}
		of[k] = append(of[k], r.Values)
	}
	for _, k := range keys {
		set := replicate.Summarise(of[k])
		l := Lot{Lot: k.lot, Product: k.product, Protocol: k.protocol, Pieces: len(of[k]), Readings: map[string]Summary{}}
		for _, s := range set {
			sum := Summary{N: s.N, Mean: s.Mean}
			if s.Repeated {
				sum.SD, sum.SE = &s.SD, &s.SE
			}
			l.Readings[s.ID] = sum
		}
		out = append(out, l)
	}
	return out
}
