// Package pieces puts texture readings into a document: the lots' means, each piece,
// and the curves with what was measured on them in words.
//
//  1. Texture builds the document from the job's result.
//  2. Thickness is the table of how forces change with thickness, for other
//     documents too.
//
// It computes no figure.
package pieces

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/thickness"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/pieces"
)

// drawn is how many curves are drawn, one picture each.
const drawn = 6

// Texture is the document of texture readings.
func Texture(r *pieces.Result) document.Document {
	d := document.Document{Title: "Texture", Subtitle: fmt.Sprintf("%d rows read: %d accepted, %d waiting, %d refused", r.Counts.Read, r.Counts.Accepted, r.Counts.Waiting, r.Counts.Refused)}
	ids := shown(r.Runs)
	if slices.ContainsFunc(r.Lots, func(l pieces.Lot) bool { return l.Pieces > 1 }) {
		d.Sections = append(d.Sections, document.Section{Heading: "Lots", Blocks: []document.Block{lotTable(r.Lots, ids)}})
	}
	d.Sections = append(d.Sections, document.Section{Heading: "Pieces", Blocks: []document.Block{pieceTable(r.Runs, ids), document.Paragraph(conventions(r.Runs))}})
	if len(r.Thickness) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Thickness", Blocks: []document.Block{Thickness(r.Thickness)}})
	}
	d.Sections = append(d.Sections, curves(r.Runs))
	all := slices.Clone(r.Findings)
	for _, run := range r.Runs {
		all = append(all, run.Findings...)
	}
	if len(all) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings", Blocks: []document.Block{document.Findings(finding.List(all))}})
	}
	return d
}

// shown are the readings that any piece has, in the glossary's order.
func shown(runs []pieces.Run) (ids []string) {
	for _, t := range trait.All() {
		has := func(r pieces.Run) bool { _, ok := r.Readings[t.ID]; return ok }
		if slices.ContainsFunc(runs, has) {
			ids = append(ids, t.ID)
		}
	}
	return ids
}

func columns(first []string, ids []string) (out []document.Column) {
	for _, h := range first {
		out = append(out, document.Column{Heading: h})
	}
	for _, id := range ids {
		t, _ := trait.Lookup(id)
		out = append(out, document.Column{Heading: t.Label, Unit: t.Unit, Name: id, Align: document.Right})
	}
	return out
}

func number(id string, v float64) document.Cell {
	return phrase.Figure(id, v)
}

func lotTable(lots []pieces.Lot, ids []string) *document.Table {
	t := &document.Table{ID: "lots", Caption: "Mean of the pieces of each lot", Columns: columns([]string{"lot", "product", "protocol"}, nil)}
	t.Columns = append(t.Columns, document.Column{Heading: "pieces", Align: document.Right})
	t.Columns = append(t.Columns, columns(nil, ids)...)
	for _, l := range lots {
		row := []document.Cell{document.Words(l.Lot), document.Words(cmp.Or(l.Product, "–")), document.Words(cmp.Or(l.Protocol, "–")), document.Number(float64(l.Pieces), fmt.Sprint(l.Pieces))}
		for _, id := range ids {
			if s, ok := l.Readings[id]; ok {
				row = append(row, number(id, s.Mean))
			} else {
				row = append(row, document.Words("–"))
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func pieceTable(runs []pieces.Run, ids []string) *document.Table {
	t := &document.Table{ID: "pieces", Caption: "Readings of each piece; – where the curve does not show one", Columns: columns([]string{"lot", "batch", "replicate"}, ids)}
	for _, run := range runs {
		row := []document.Cell{document.Words(cmp.Or(run.Lot, "–")), document.Words(cmp.Or(run.Batch, "–")), document.Words(run.Replicate)}
		for _, id := range ids {
			if v, ok := run.Readings[id]; ok {
				row = append(row, number(id, v))
			} else {
				row = append(row, document.Words("–"))
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

var (
	areaWords   = map[string]string{"whole": "the work of the whole second bite over that of the first", "down-stroke": "the work of the second down-stroke over that of the first", "net": "down-stroke less withdrawal, second bite over first"}
	lengthWords = map[string]string{"time": "the time from contact to the turning point", "distance": "the travel from contact to the turning point"}
)

// conventions says once what the readings mean.
func conventions(runs []pieces.Run) string {
	seen := map[pieces.Conventions]bool{}
	text := ""
	for _, r := range runs {
		if c := r.Conventions; c.Test == "two-bite" && !seen[c] {
			seen[c] = true
			name := ""
			if r.Protocol != "" {
				name = " by protocol " + r.Protocol
			}
			text += fmt.Sprintf("Cohesiveness%s is %s; springiness is %s, second bite over first; adhesiveness is written as a %s figure. ", name, areaWords[c.Cohesiveness], lengthWords[c.Springiness], c.Adhesiveness)
		}
	}
	return text + "Forces are less the baseline."
}

// Thickness is the table of slopes within lots.
func Thickness(slopes []thickness.Slope) *document.Table {
	t := &document.Table{ID: "thickness", Caption: "Change with the thickness of the strand, within lots (95 % interval)", Columns: []document.Column{{Heading: "reading"}, {Heading: "product"}, {Heading: "protocol"},
		{Heading: "change per mm", Name: "per_mm", Align: document.Right}, {Heading: "from", Align: document.Right}, {Heading: "to", Align: document.Right}, {Heading: "lots", Align: document.Right}, {Heading: "readings", Align: document.Right}, {Heading: "corrected"}}}
	for _, s := range slopes {
		tr, _ := trait.Lookup(s.Response)
		cell := func(v float64) document.Cell { // a reading each, so that the unit stands in the cell
			c := number(s.Response, v)
			c.Text = strings.TrimSpace(c.Text + " " + tr.Unit)
			return c
		}
		to := "no"
		if s.Corrected {
			to = fmt.Sprintf("to %g mm", *s.AtMM)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(tr.Label), document.Words(cmp.Or(s.Product, "–")), document.Words(cmp.Or(s.Protocol, "–")), cell(s.PerMM), cell(s.Low), cell(s.High),
			document.Number(float64(s.Lots), fmt.Sprint(s.Lots)), document.Number(float64(s.Readings), fmt.Sprint(s.Readings)), document.Words(to)})
	}
	return t
}

// curves draws the first pieces, one picture each.
func curves(runs []pieces.Run) document.Section {
	s := document.Section{Heading: "Curves"}
	n, there := 0, 0
	for _, run := range runs {
		if len(run.Trace.TimeS) < 2 {
			continue
		}
		if there++; n < drawn {
			n++
			s.Blocks = append(s.Blocks, document.Picture{Figure: figure(run, n)})
		}
	}
	if there > n {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%d of %d pieces are drawn.", n, there)))
	}
	if n == 0 {
		s.Blocks = append(s.Blocks, document.Paragraph("No curve to draw."))
	}
	return s
}

// figure is the force of one piece over time. What readings were taken on is
// filled and named.
func figure(run pieces.Run, n int) chart.Figure {
	p := chart.Panel{Height: 260, X: chart.Axis{Label: "time", Unit: "s"}, Y: chart.Axis{Label: "force", Unit: "N"},
		Series: []chart.Series{{Style: chart.StyleLine, X: run.Trace.TimeS, Y: run.Trace.ForceN}}, HLines: []chart.Line{{At: 0, Label: "no force"}}}
	inks := map[string]int{"first stroke": 0, "first withdrawal": 1, "adhesion": 2, "second stroke": 3, "second withdrawal": 4}
	for _, part := range run.Parts {
		if len(part.TimeS) < 2 {
			continue
		}
		band := chart.Band{Name: part.Name, X: part.TimeS, Ink: inks[part.Name]}
		for _, f := range part.ForceN {
			band.Low, band.High = append(band.Low, min(f, 0)), append(band.High, max(f, 0))
		}
		p.Bands = append(p.Bands, band)
		if part.Name == "first stroke" || part.Name == "second stroke" || part.Name == "adhesion" {
			p.Marks = append(p.Marks, chart.Mark{X: part.AtS, Y: part.AtN, Label: part.Name})
		}
	}
	title := "Force on the piece"
	if run.Lot != "" {
		title += " of lot " + run.Lot
	}
	return chart.Figure{ID: fmt.Sprintf("piece-%d", n), Title: fmt.Sprintf("%s, replicate %s", title, run.Replicate), Panels: []chart.Panel{p},
		Description: "Force over time less the baseline. Filled: the strokes down and up of each bite, and where the piece held the probe back (adhesion)."}
}
