package pairing

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast/pairs"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/pairing"
)

func amylase(a *pairing.AmylasePairs) []document.Section {
	answers := map[pairs.Answer]int{}
	t := &document.Table{ID: "amylase", Caption: "Amylase activity index: the share of the inhibited peak that is missing in water",
		Columns: []document.Column{{Heading: "lot"}, right("peak in water", unit(a.Water), a.Water), right("tests", "", "water_n"), right("inhibited peak", unit(a.Inhibited), a.Inhibited), right("tests", "", "inhibited_n"),
			right("index", "", "index"), right("from", "", "index_low"), right("to", "", "index_high"), {Heading: "in the water run"}, right("falling number", "s", "falling_number_s")}}
	for _, l := range a.Lots {
		answers[l.Governed]++
		row := []document.Cell{document.Words(l.Lot), figure(a.Water, l.Water.Mean), phrase.Fixed(float64(l.WaterN), 0), figure(a.Inhibited, l.Inhibited.Mean), phrase.Fixed(float64(l.InhibitedN), 0),
			phrase.Fixed(l.Index.Value, 3), phrase.OptionalFixed(l.Index.Low, 3), phrase.OptionalFixed(l.Index.High, 3), document.Words(governed[l.Governed]), phrase.OptionalFixed(l.FallingNumberS, 0)}
		t.Rows = append(t.Rows, row)
	}
	text := fmt.Sprintf("Amylase governs the water run of %s, does not govern that of %d, and of %d the intervals cannot tell: it governs from an index of %.2f.",
		count(answers[pairs.Confirmed], "lot"), answers[pairs.Contradicted], answers[pairs.CannotTell], a.Threshold)
	basis := fmt.Sprintf("Intervals are Fieller's. Repeatability of the peak in water: %s; of the inhibited peak: %s.", a.WaterBasis, a.InhibitedBasis)
	blocks := []document.Block{document.Callout{Kind: document.Answer, Text: text}}
	if fig, ok := amylaseFigure(a); ok {
		blocks = append(blocks, document.Picture{Figure: fig})
	}
	return []document.Section{{Heading: "Lots", Blocks: append(blocks, t, document.Paragraph(basis), document.Paragraph(pairs.FallingNumberCaution))}}
}

// drawn is how many lots one picture takes: those of the highest index.
const drawn = 24

// rowHeight is what a category of a picture takes, beside the axis.
const rowHeight = 16.0

func amylaseFigure(a *pairing.AmylasePairs) (chart.Figure, bool) {
	s := chart.Series{Name: "index with its interval", Style: chart.StylePoints}
	var ticks []string
	whole := true
	for i, l := range a.Lots[:min(len(a.Lots), drawn)] {
		ticks = append(ticks, l.Lot)
		s.X, s.Y = append(s.X, l.Index.Value), append(s.Y, float64(i))
		if whole = whole && l.Index.Low != nil; whole {
			s.Low, s.High = append(s.Low, *l.Index.Low), append(s.High, *l.Index.High)
		}
	}
	if !whole {
		s.Low, s.High, s.Name = nil, nil, "index"
	}
	return chart.Figure{ID: "amylase-index", Title: "Amylase activity index by lot", Description: fmt.Sprintf("The share of the inhibited peak that is missing in water, for the %s of the highest, with the threshold from which amylase governs.", count(len(ticks), "lot")),
		Panels: []chart.Panel{{Height: 60 + rowHeight*float64(len(ticks)), X: chart.Axis{Label: "amylase index"}, Y: chart.Axis{Label: "lot", Ticks: ticks}, Series: []chart.Series{s}, VLines: []chart.Line{{At: a.Threshold, Label: "governs", Strong: true}}}}}, len(ticks) > 0
}

func dose(d *pairing.DoseSeries) []document.Section {
	answer := fmt.Sprintf("%s of %s over %s in lot %s.", title(d.Curve), trait.Name(d.Feature), d.DoseColumn, d.Lot)
	if d.Dose != nil {
		answer = fmt.Sprintf("%s meets %s at a dose of %s%s.", title(trait.Name(d.Feature)), plain(d.Feature, *d.Target), phrase.General(d.Dose.Value), between(d.Dose))
	}
	answer += fmt.Sprintf(" The series reaches from %s to %s; nothing is extrapolated.", plain(d.Feature, d.Low.Value), plain(d.Feature, d.High.Value))
	fit := &document.Table{ID: "series", Caption: "The series", Columns: []document.Column{right("dose", "", d.DoseColumn), right(trait.Name(d.Feature), unit(d.Feature), d.Feature)}}
	for _, p := range d.Points {
		fit.Rows = append(fit.Rows, []document.Cell{document.Number(p.Dose, phrase.General(p.Dose)), figure(d.Feature, p.Value)})
	}
	tests := &document.Table{ID: "fit", Caption: "The fit: a " + d.Curve, Columns: []document.Column{{Heading: "test"}, right("p", "", "p")}}
	for _, x := range []struct {
		name string
		p    *float64
	}{{"the dose moves the figure", d.EffectP}, {"the curve bends", d.CurvatureP}, {"the curve misses repeated doses", d.LackOfFitP}} {
		tests.Rows = append(tests.Rows, []document.Cell{document.Words(x.name), pCell(x.p)})
	}
	sections := []document.Section{{Heading: "Dose", Blocks: []document.Block{document.Callout{Kind: document.Answer, Text: answer}, document.Picture{Figure: doseFigure(d)}, fit, tests}}}
	if len(d.Screened) > 0 {
		t := &document.Table{ID: "screened", Caption: "Lots without added amylase, and the dose that each acts like",
			Columns: []document.Column{{Heading: "lot"}, right(trait.Name(d.Feature), unit(d.Feature), d.Feature), right("tests", "", "n"), right("acts like", "", "equivalent"), right("from", "", "low"), right("to", "", "high"), {Heading: "remark"}}}
		for _, s := range d.Screened {
			row := []document.Cell{document.Words(s.Lot), figure(d.Feature, s.Mean), phrase.Fixed(float64(s.N), 0), document.Words("–"), document.Words("–"), document.Words("–"), document.Words(s.Reason)}
			if s.Equivalent != nil {
				row[3], row[4], row[5] = document.Number(s.Equivalent.Value, phrase.General(s.Equivalent.Value)), dosed(s.Equivalent.Low), dosed(s.Equivalent.High)
			}
			t.Rows = append(t.Rows, row)
		}
		sections = append(sections, document.Section{Heading: "Sprouted grain screened", Blocks: []document.Block{t,
			document.Paragraph("Each lot's starch is taken for that of the series: this screens, and proves nothing. " + pairs.FallingNumberCaution)}})
	}
	return sections
}

func dosed(v *float64) document.Cell {
	if v == nil {
		return document.Words("beyond")
	}
	return document.Number(*v, phrase.General(*v))
}

// between is the interval of a dose in words.
func between(d *pairs.Dose) string {
	end := func(v *float64) string {
		if v == nil {
			return "beyond the series"
		}
		return phrase.General(*v)
	}
	return fmt.Sprintf(" (%g %% interval %s to %s)", 100*d.Level, end(d.Low), end(d.High))
}

func plain(column string, v float64) string {
	return strings.TrimSpace(figure(column, v).Text + " " + unit(column))
}

func title(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func pCell(p *float64) document.Cell {
	switch {
	case p == nil:
		return document.Words("not tested")
	case *p < 0.001:
		return document.Number(*p, "below 0.001")
	}
	return phrase.Fixed(*p, 3)
}

func doseFigure(d *pairing.DoseSeries) chart.Figure {
	tested := chart.Series{Name: "tested", Style: chart.StylePoints, Ink: 0}
	for _, p := range d.Points {
		tested.X, tested.Y = append(tested.X, p.Dose), append(tested.Y, p.Value)
	}
	curve, band := chart.Series{Name: d.Curve, Style: chart.StyleLine, Ink: 1}, chart.Band{Name: "band of the mean", Ink: 1}
	for _, b := range d.Line {
		curve.X, curve.Y = append(curve.X, b.Dose), append(curve.Y, b.Value)
		band.X, band.Low, band.High = append(band.X, b.Dose), append(band.Low, b.Low), append(band.High, b.High)
	}
	p := chart.Panel{Height: 300, X: chart.Axis{Label: d.DoseColumn}, Y: chart.Axis{Label: trait.Name(d.Feature), Unit: unit(d.Feature)}, Series: []chart.Series{curve, tested}, Bands: []chart.Band{band}}
	if d.Dose != nil {
		p.HLines = []chart.Line{{At: *d.Target, Label: "target"}}
		p.Marks = []chart.Mark{{X: d.Dose.Value, Y: *d.Target, Label: "dose " + phrase.General(d.Dose.Value)}}
	}
	return chart.Figure{ID: "dose", Title: "Figure over added amylase", Description: "Results at each dose, the fitted curve with the band of its mean, and the dose that meets the target.", Panels: []chart.Panel{p}}
}

func treated(t *pairing.TreatmentPairs) []document.Section {
	var out []document.Section
	for _, g := range t.Groups {
		table := &document.Table{ID: "treatment-" + strings.ReplaceAll(string(g.Kind), " ", "-"), Caption: "Treated less untreated, over pairs; s_r is the repeatability standard deviation",
			Columns: []document.Column{{Heading: "figure"}, {Heading: "method"}, right("pairs", "", "pairs"), right("difference", "", "difference"), right("of the untreated", "%", "percent"), right("in s_r", "", "in_repeatability_sds"), right("from", "", "low"), right("to", "", "high"), {Heading: "s_r from"}, {Heading: "expected"}, {Heading: "answer"}}}
		answers := map[pairs.Answer]int{}
		for _, c := range g.Figures {
			s := c.Together
			row := []document.Cell{document.Words(trait.Name(c.Feature)), document.Words(c.Method), phrase.Fixed(float64(len(c.Pairs)), 0), figure(c.Feature, s.Difference), phrase.OptionalFixed(s.Percent, 1), phrase.OptionalFixed(s.Units, 1), phrase.OptionalFixed(s.Low, 1), phrase.OptionalFixed(s.High, 1), document.Words(c.Basis), document.Words(""), document.Words("")}
			row[3].Text = minus(row[3].Text)
			if c.Expectation != nil {
				row[9], row[10] = document.Words(c.Expectation.Words), document.Words(string(c.Answer))
				answers[c.Answer]++
			}
			table.Rows = append(table.Rows, row)
		}
		blocks := []document.Block{document.Callout{Kind: document.Answer, Text: fmt.Sprintf("Of %s of the trade, %d confirmed, %d contradicted, %d that these pairs cannot tell.",
			count(answers[pairs.Confirmed]+answers[pairs.Contradicted]+answers[pairs.CannotTell], "expectation"), answers[pairs.Confirmed], answers[pairs.Contradicted], answers[pairs.CannotTell])}}
		if fig, ok := treatmentFigure(g); ok {
			blocks = append(blocks, document.Picture{Figure: fig})
		}
		blocks = append(blocks, table, document.Paragraph(fmt.Sprintf("Expectations: %s. “Hardly” is within %g s_r, what two results of one flour keep 95 times in 100. Over several pairs the interval comes from how the pairs differ among themselves.", t.Source, t.Alike)))
		out = append(out, document.Section{Heading: title(string(g.Kind)) + " flour", Blocks: blocks})
	}
	return out
}

func treatmentFigure(g pairing.Treated) (chart.Figure, bool) {
	s := chart.Series{Name: "treated less untreated", Style: chart.StylePoints}
	var ticks []string
	for _, c := range g.Figures {
		if c.Together.Percent == nil {
			continue
		}
		s.X, s.Y = append(s.X, *c.Together.Percent), append(s.Y, float64(len(ticks)))
		ticks = append(ticks, trait.Name(c.Feature)+", "+c.Method)
	}
	return chart.Figure{ID: "treatment-" + strings.ReplaceAll(string(g.Kind), " ", "-"), Title: "Treated less untreated", Description: "Mean difference over pairs in per cent of the untreated flour, a point a figure and method.",
		Panels: []chart.Panel{{Height: 60 + rowHeight*float64(len(ticks)), X: chart.Axis{Label: "difference", Unit: "%"}, Y: chart.Axis{Label: "figure and method", Ticks: ticks}, Series: []chart.Series{s}, VLines: []chart.Line{{At: 0, Strong: true}}}}}, len(ticks) > 0
}
