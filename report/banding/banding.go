// Package banding makes the document of dose bands: the answer and its caution, the
// zones, the picture, what the curve in sucrose shows at the edges, the fit behind it.
//
//  1. Document takes the result of study/banding.
//
// It computes no figure: what a result does not hold is not in the document.
package banding

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	bands "flourcast/forecast/banding"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/banding"
)

// rules is what bands do not replace.
const rules = "Bands say what a cake does at a dose that somebody may lawfully use. Safety data sheets, local rules and qualified people decide whether any dose may be; a band releases nothing."

// Document is the document of bands.
func Document(r *banding.Result) document.Document {
	d := document.Document{
		Title:    "Dose bands: " + trait.Name(r.Figure) + " over " + doseWords(r),
		Subtitle: "Which dose is best, acceptable, and out of bounds?",
		Notice:   "Chlorinated flour is banned in some countries: read the cautions first.",
		Meta: []document.Pair{{Name: "table", Value: r.File}, {Name: "lots", Value: fmt.Sprintf("%d, of %d flours at %d doses from %s to %s", r.Lots, r.Flours, r.Doses, phrase.General(r.Tested[0]), phrase.General(r.Tested[1]))},
			{Name: "intervals", Value: fmt.Sprintf("%g %%", 100*r.Level)}},
	}
	s := document.Section{Heading: "Cautions"}
	for _, c := range r.Cautions {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Caution, Title: c.Topic, Text: c.Text})
	}
	d.Sections = append(d.Sections, s, answer(r), fit(r))
	if len(r.Pasting) > 0 {
		d.Sections = append(d.Sections, pasting(r))
	}
	if len(r.LeftOut) > 0 {
		t := &document.Table{ID: "left-out", Caption: "Lots left out", Columns: []document.Column{{Heading: "lot"}, {Heading: "reason"}}}
		for _, l := range r.LeftOut {
			t.Rows = append(t.Rows, []document.Cell{document.Words(l.Lot), document.Words(l.Reason)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: "Left out", Blocks: []document.Block{t}})
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Before you rely on it", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

func answer(r *banding.Result) document.Section {
	text := fmt.Sprintf("%s is greatest, %s, at a dose of %s (%s). It is at least %s %s.", phrase.First(trait.Name(r.Figure)), figure(r, r.Maximum.Value), phrase.General(r.Optimum.Value), between(r.Optimum), figure(r, r.Limit), from(r))
	t := &document.Table{ID: "zones", Caption: "The tested doses by what the mean " + trait.Name(r.Figure) + " does there", Columns: []document.Column{phrase.Right("from"), phrase.Right("to"), {Heading: "zone"}, {Heading: "meaning"}}}
	for _, z := range r.Zones {
		t.Rows = append(t.Rows, []document.Cell{dose(z.From), dose(z.To), document.Words(string(z.Name)), document.Words(meaning[z.Name])})
	}
	return document.Section{Heading: "Bands", Blocks: []document.Block{document.Callout{Kind: document.Answer, Text: text}, t, document.Picture{Figure: picture(r)}, document.Paragraph(
		fmt.Sprintf("The limit is %s (%s). Doses below %s and above %s were not tested: nothing is said of them. %s", figure(r, r.Limit), r.LimitRule, phrase.General(r.Tested[0]), phrase.General(r.Tested[1]), rules))}}
}

var meaning = map[bands.Name]string{
	bands.OutOfBounds: "below the limit", bands.CannotTell: "cannot be told from the limit",
	bands.Acceptable: "above the limit", bands.Optimum: "above the limit, and the maximum may lie here",
}

// from says between which doses the figure is acceptable.
func from(r *banding.Result) string {
	side := func(i *bands.Interval, last float64) string {
		if i == nil {
			return phrase.General(last) + ", the last dose tested"
		}
		return fmt.Sprintf("%s (%s)", phrase.General(i.Value), between(*i))
	}
	return "from " + side(r.Below, r.Tested[0]) + " to " + side(r.Above, r.Tested[1])
}

func fit(r *banding.Result) document.Section {
	text := fmt.Sprintf("A parabola of the dose by least squares; each of the %d flours has a level of its own and all share the shape. One lot scatters about it with a standard deviation of %s (%g degrees of freedom). The bend is shown with p %s.",
		r.Flours, figure(r, r.SD), r.DF, chance(r.BendP))
	if r.LackOfFit != nil {
		text += " Against lots repeated at a dose the parabola misses with p " + chance(*r.LackOfFit) + "."
	}
	return document.Section{Heading: "The fit", Blocks: []document.Block{document.Paragraph(text + " The optimum's interval is Fieller's; those of the edges are the doses whose mean cannot be told from the limit.")}}
}

func pasting(r *banding.Result) document.Section {
	t := &document.Table{ID: "pasting", Caption: "Pasting in sucrose at the edges and the optimum, mean of the flours",
		Columns: []document.Column{{Heading: "figure"}, phrase.Right("lots"), phrase.Right("at the lower edge"), phrase.Right("from"), phrase.Right("to"), phrase.Right("at the optimum"), phrase.Right("from"), phrase.Right("to"), phrase.Right("at the upper edge"), phrase.Right("from"), phrase.Right("to")}}
	for _, p := range r.Pasting {
		row := []document.Cell{document.Words(trait.Label(p.Column)), document.Number(float64(p.Lots), fmt.Sprint(p.Lots))}
		for _, m := range p.At {
			for _, v := range []float64{m.Value, m.Low, m.High} {
				row = append(row, phrase.Figure(p.Column, v))
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return document.Section{Heading: "On the pasting curve", Blocks: []document.Block{t, document.Paragraph("These go with the dose on the lots tested; a flour whose curve lies there was not thereby dosed rightly.")}}
}

func picture(r *banding.Result) chart.Figure {
	tested := chart.Series{Name: "lot", Style: chart.StylePoints}
	for _, p := range r.Points {
		tested.X, tested.Y, tested.Labels = append(tested.X, p.Dose), append(tested.Y, p.Figure), append(tested.Labels, p.Lot)
	}
	line, band := chart.Series{Name: "mean of the flours", Style: chart.StyleLine, Ink: 1}, chart.Band{Name: "interval of the mean", Ink: 1}
	for _, m := range r.Line {
		line.X, line.Y = append(line.X, m.Dose), append(line.Y, m.Value)
		band.X, band.Low, band.High = append(band.X, m.Dose), append(band.Low, m.Low), append(band.High, m.High)
	}
	t, _ := trait.Lookup(r.Figure)
	p := chart.Panel{Height: 300, X: chart.Axis{Label: doseWords(r)}, Y: chart.Axis{Label: trait.Name(r.Figure), Unit: t.Unit}, Series: []chart.Series{line, tested}, Bands: []chart.Band{band},
		HLines: []chart.Line{{At: r.Limit, Label: "limit"}}, VLines: []chart.Line{{At: r.Optimum.Value, Label: "optimum", Strong: true}}}
	for _, e := range []*bands.Interval{r.Below, r.Above} {
		if e != nil {
			p.VLines = append(p.VLines, chart.Line{At: e.Value, Label: "edge"})
		}
	}
	return chart.Figure{ID: "bands", Title: "Dose and figure", Description: "Each point is a lot. The curve is the mean of the flours with its interval; lines stand at the optimum and where the mean falls to the limit.", Panels: []chart.Panel{p}}
}

func doseWords(r *banding.Result) string {
	switch r.Dose {
	case banding.ByPH:
		return "pH of the treated flour"
	case banding.ByDose:
		return "chlorine, mg/kg"
	}
	return r.Dose
}

func figure(r *banding.Result, v float64) string {
	t, ok := trait.Lookup(r.Figure)
	if !ok {
		return phrase.General(v)
	}
	return strings.TrimSpace(trait.Format(r.Figure, v) + " " + t.Unit)
}

func between(i bands.Interval) string {
	end := func(v *float64) string {
		if v == nil {
			return "beyond what was tested"
		}
		return phrase.General(*v)
	}
	return end(i.Low) + " to " + end(i.High)
}

func dose(v float64) document.Cell { return document.Number(v, phrase.General(v)) }

func chance(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
