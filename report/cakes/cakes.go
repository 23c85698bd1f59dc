// Package cakes puts measured cakes into a document: the lots' means, each cake, and
// the outline of the cut with its stations in words.
//
//  1. Cake builds the document from the job's result.
//
// It computes no figure: the outline joins the heights as they were measured.
package cakes

import (
	"fmt"

	"flourcast/dataset/bake"
	"flourcast/dataset/trait"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/cakes"
)

// columns are the readings shown, in this order, where any cake has them.
var columns = []string{bake.Volume, bake.SpecificVolume, bake.VolumeIndex, bake.SymmetryIndex, bake.UniformityIndex, bake.Shrinkage, bake.EdgeShrinkage, bake.BakeLoss, bake.BatterGravity, bake.CrumbFirmness}

// Cake is the document of measured cakes.
func Cake(r *cakes.Result) document.Document {
	d := document.Document{Title: "Cakes", Subtitle: fmt.Sprintf("%d rows read: %d accepted, %d refused", r.Counts.Read, r.Counts.Accepted, r.Counts.Refused)}
	lots := document.Section{Heading: "Lots", Blocks: []document.Block{lotTable(r)}}
	for _, c := range r.Cautions {
		lots.Blocks = append(lots.Blocks, document.Callout{Kind: document.Caution, Title: "before baking", Text: c})
	}
	d.Sections = append(d.Sections, lots)
	if fig, ok := outline(r); ok {
		d.Sections = append(d.Sections, document.Section{Heading: "Outline of the cut", Blocks: []document.Block{document.Picture{Figure: fig}}})
	}
	d.Sections = append(d.Sections, document.Section{Heading: "Cakes", Blocks: []document.Block{cakeTable(r)}})
	all := document.Findings{}
	all = append(all, r.Findings...)
	for _, run := range r.Runs {
		all = append(all, run.Findings...)
	}
	if len(all) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings", Blocks: []document.Block{all}})
	}
	return d
}

// shown are the columns that any cake has.
func shown(r *cakes.Result) []string {
	var out []string
	for _, id := range columns {
		for _, run := range r.Runs {
			if _, ok := run.Readings[id]; ok {
				out = append(out, id)
				break
			}
		}
	}
	return out
}

func heads(first []document.Column, ids []string) []document.Column {
	for _, id := range ids {
		t, _ := trait.Lookup(id)
		first = append(first, document.Column{Heading: t.Label, Unit: t.Unit, Name: id, Align: document.Right})
	}
	return first
}

func lotTable(r *cakes.Result) *document.Table {
	ids := shown(r)
	t := &document.Table{ID: "lots", Caption: "Mean of each lot's cakes, and their standard deviation behind ±", Columns: heads([]document.Column{{Heading: "lot"}, {Heading: "cakes", Align: document.Right}}, ids)}
	for _, l := range r.Lots {
		row := []document.Cell{document.Words(l.Lot), document.Number(float64(l.Cakes), fmt.Sprint(l.Cakes))}
		for _, id := range ids {
			s, ok := l.Readings[id]
			switch {
			case !ok:
				row = append(row, document.Words("–"))
			case s.SD == nil:
				row = append(row, phrase.Figure(id, s.Mean))
			default:
				row = append(row, document.Number(s.Mean, phrase.Figure(id, s.Mean).Text+" ± "+trait.Format(id, *s.SD)))
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func cakeTable(r *cakes.Result) *document.Table {
	ids := shown(r)
	t := &document.Table{ID: "cakes", Columns: heads([]document.Column{{Heading: "lot"}, {Heading: "replicate"}}, ids)}
	for _, run := range r.Runs {
		row := []document.Cell{document.Words(run.Lot), document.Words(run.Replicate)}
		for _, id := range ids {
			if v, ok := run.Readings[id]; ok {
				row = append(row, phrase.Figure(id, v))
			} else {
				row = append(row, document.Words("–"))
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// stations are the heights' places in words.
var stations = []string{"left edge", "left", "centre", "right", "right edge"}

// drawn is how many cakes one picture takes.
const drawn = 12

// outline draws the heights over the cut: in mm from the middle where every cake
// drawn names one pan, else in shares of the pan's radius.
func outline(r *cakes.Result) (chart.Figure, bool) {
	var runs []cakes.Run
	for _, run := range r.Runs {
		if _, ok := run.Readings[bake.HeightC]; ok && len(runs) < drawn {
			runs = append(runs, run)
		}
	}
	if len(runs) == 0 {
		return chart.Figure{}, false
	}
	pan, same := runs[0].Readings[bake.PanDiameter]
	depth, rim := runs[0].Readings[bake.PanDepth]
	for _, run := range runs {
		same = same && run.Readings[bake.PanDiameter] == pan
		rim = rim && run.Readings[bake.PanDepth] == depth
	}
	x := chart.Axis{Label: "distance from the middle of the cut", Unit: "mm"}
	if !same {
		x, pan = chart.Axis{Label: "distance from the middle of the cut", Unit: "share of the radius"}, 2
	}
	zero := 0.0
	p := chart.Panel{Height: 260, X: x, Y: chart.Axis{Label: "height", Unit: "mm", Min: &zero}}
	at := bake.Stations(pan)
	for i, run := range runs {
		s := chart.Series{Name: run.Lot + ", cake " + run.Replicate, Style: chart.StyleLine, Ink: i}
		for k, id := range bake.Heights {
			v, ok := run.Readings[id]
			if !ok {
				continue
			}
			s.X, s.Y = append(s.X, at[k]), append(s.Y, v)
			if i == 0 {
				p.Marks = append(p.Marks, chart.Mark{X: at[k], Y: v, Label: stations[k]})
			}
		}
		p.Series = append(p.Series, s)
	}
	if rim {
		p.HLines = append(p.HLines, chart.Line{At: depth, Label: "rim of the pan"})
	}
	return chart.Figure{ID: "outline", Title: "Outline of the cut through the middle", Panels: []chart.Panel{p},
		Description: fmt.Sprintf("Heights of %d of %d cakes at the stations of the template: the middle, three fifths of the radius to either side, and the edges. Lines join what was measured; between the stations nothing was.", len(runs), len(r.Runs))}, true
}
