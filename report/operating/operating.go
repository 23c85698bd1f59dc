// Package operating makes the documents of operating windows: the zones in a
// sentence first, then the picture, then how past lots would have fared.
//
//  1. Document takes a window from a model, as a line or a map.
//  2. Production takes windows from lots that ran well.
//
// It computes no figure: what a result does not hold is not in the document.
package operating

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast/window"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/operating"
)

// supports is said beside every window.
const supports = "A window supports a decision by qualified people; it releases nothing."

// Document is the document of a window from a model.
func Document(r *operating.Result) document.Document {
	label, _ := axis(r.Response)
	d := document.Document{Title: "Operating window of " + list(r.By, plain) + " for " + label + ", " + product(r.Product),
		Subtitle: "Within which range does a lot meet " + phrase.Limits(r.Response, r.Spec.Low, r.Spec.High) + "?", Notice: r.Notice,
		Meta: []document.Pair{{Name: "model", Value: phrase.Model(r.Model)}, {Name: "verdict of the model", Value: r.Standing}, {Name: "specification", Value: phrase.Limits(r.Response, r.Spec.Low, r.Spec.High)},
			{Name: "other features", Value: otherWords(r)}}}
	d.Sections = sections(r)
	return d
}

// sections are the window and its back-test, as parts of a document.
func sections(r *operating.Result) []document.Section {
	label, unit := axis(r.Response)
	s := document.Section{Heading: "Operating window of " + list(r.By, plain)}
	if r.Override != "" {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Caution, Title: "The model is " + r.Standing, Text: r.Sentence + " The window was asked for all the same. Reason given: " + r.Override})
	}
	s.Blocks = append(s.Blocks, document.Callout{Kind: document.Answer, Title: "Target zone", Text: answer(r)})
	if r.Line != nil {
		s.Blocks = append(s.Blocks, lineTable(r), document.Picture{Figure: lineFigure(r, label, unit)})
	} else {
		s.Blocks = append(s.Blocks, document.Picture{Figure: mapFigure(r)}, mapTable(r))
	}
	s.Blocks = append(s.Blocks, document.Paragraph(meaning(r)), document.Paragraph(supports))
	return []document.Section{s, pastSection(r)}
}

// meaning says what the zones are.
func meaning(r *operating.Result) string {
	t := r.Thresholds
	text := fmt.Sprintf("Target: a lot meets the specification with a probability of %.4g or more. Acceptable: %.4g or more; measure such a lot before it is used. Out of bounds: less; it is the likelier to fail the lower it lies. ", t.Target, t.Acceptable)
	if len(r.Others) > 0 {
		text += "The other features are taken to move with " + list(r.By, plain) + " as they do in the calibration lots, with their spread and the uncertainty of both; a lot whose other features are unusual needs its own forecast. "
	}
	return text + "Beyond the calibration lots nothing is known."
}

func otherWords(r *operating.Result) string {
	if len(r.Others) == 0 {
		return "none"
	}
	return list(r.Others, plain) + ": as in the calibration lots"
}

// answer states the target zone in a sentence.
func answer(r *operating.Result) string {
	if r.Map != nil {
		if r.Map.BestP < r.Thresholds.Target {
			return fmt.Sprintf("No pair of %s reaches a probability of %.4g; the highest is %s, at %s and %s.", list(r.By, plain), r.Thresholds.Target, chance(r.Map.BestP),
				amount(r.By[0], r.Map.Best.X), amount(r.By[1], r.Map.Best.Y))
		}
		return fmt.Sprintf("The darker band of the map. The highest probability, %s, is at %s and %s.", chance(r.Map.BestP), amount(r.By[0], r.Map.Best.X), amount(r.By[1], r.Map.Best.Y))
	}
	name := r.By[0]
	var parts []string
	for _, s := range r.Line.Stretches {
		if s.Zone == window.Target {
			parts = append(parts, trait.Format(name, s.From)+" to "+amount(name, s.To)+ends(r.Line, s))
		}
	}
	if parts == nil {
		return fmt.Sprintf("No %s reaches a probability of %.4g; the highest is %s, at %s. A wider specification, more features (two at a time with --by, or a forecast of each lot) or a better model would.",
			plain(name), r.Thresholds.Target, chance(r.Line.Best.P), amount(name, r.Line.Best.X))
	}
	return upper(plain(name)) + " of " + strings.Join(parts, ", and ") + "."
}

// ends says where a stretch ends because the lots do.
func ends(l *window.Line, s window.Stretch) string {
	switch low, high := s.From == l.From, s.To == l.To; {
	case low && high:
		return " (as far as there are lots)"
	case low:
		return " (no lots below)"
	case high:
		return " (no lots above)"
	}
	return ""
}

func lineTable(r *operating.Result) *document.Table {
	label, unit := axis(r.By[0])
	t := &document.Table{ID: "zones-" + figureID(r), Caption: "Zones of " + label, Columns: []document.Column{{Heading: "zone"}, {Heading: "from", Unit: unit, Name: "from", Align: document.Right}, {Heading: "to", Unit: unit, Name: "to", Align: document.Right},
		{Heading: "past lots", Align: document.Right}, {Heading: "met the specification", Align: document.Right}}}
	for _, s := range r.Line.Stretches {
		lots, met := 0, 0
		for _, l := range r.Lots {
			if l.At[0] >= s.From && l.At[0] <= s.To && l.Zone == s.Zone {
				lots++
				if l.Meets {
					met++
				}
			}
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(s.Zone), number(r.By[0], s.From), number(r.By[0], s.To), phrase.Count(lots), phrase.Count(met)})
	}
	return t
}

// lineFigure draws the probability, and the response, over the feature.
func lineFigure(r *operating.Result, label, unit string) chart.Figure {
	x, xUnit := axis(r.By[0])
	var at, p, value, low, high []float64
	for _, q := range r.Line.Points {
		at, p, value, low, high = append(at, q.X), append(p, q.P), append(value, q.Value), append(low, q.Low), append(high, q.High)
	}
	zero, one := 0.0, 1.0
	first := chart.Panel{X: chart.Axis{Label: x, Unit: xUnit}, Y: chart.Axis{Label: "probability of meeting the specification", Min: &zero, Max: &one},
		Series: []chart.Series{{Style: chart.StyleLine, X: at, Y: p, Ink: 0}},
		HLines: []chart.Line{{At: r.Thresholds.Target, Label: "target"}, {At: r.Thresholds.Acceptable, Label: "acceptable"}}}
	for _, s := range r.Line.Stretches {
		if s.Zone != window.OutOfBounds {
			first.Bands = append(first.Bands, chart.Band{Name: s.Zone, X: []float64{s.From, s.To}, Low: []float64{0, 0}, High: []float64{1, 1}, Ink: zoneInk(s.Zone), Strong: s.Zone == window.Target})
		}
	}
	second := chart.Panel{X: chart.Axis{Label: x, Unit: xUnit}, Y: chart.Axis{Label: label, Unit: unit},
		Bands:  []chart.Band{{Name: "90 % of lots", X: at, Low: low, High: high, Ink: 3}},
		Series: append([]chart.Series{{Name: "expected", Style: chart.StyleLine, X: at, Y: value, Ink: 3}}, lotSeries(r, func(l operating.Lot) (float64, float64) { return l.At[0], l.Measured })...)}
	if v := r.Spec.Low; v != nil {
		second.HLines = append(second.HLines, chart.Line{At: *v, Label: "lower limit", Strong: true})
	}
	if v := r.Spec.High; v != nil {
		second.HLines = append(second.HLines, chart.Line{At: *v, Label: "upper limit", Strong: true})
	}
	return chart.Figure{ID: figureID(r), Title: "Operating window of " + x, Description: "Above, the probability of meeting the specification over the calibrated range, with the zones shaded; below, what lots measured, with the limits.",
		Panels: []chart.Panel{first, second}}
}

// lotSeries are the past lots, by whether they met the specification: another
// glyph, not only another colour.
func lotSeries(r *operating.Result, place func(operating.Lot) (x, y float64)) []chart.Series {
	met, failed := chart.Series{Name: "lot that met it", Style: chart.StylePoints, Ink: 0}, chart.Series{Name: "lot that failed", Style: chart.StylePoints, Ink: 1}
	for _, l := range r.Lots {
		to := &failed
		if l.Meets {
			to = &met
		}
		x, y := place(l)
		to.X, to.Y, to.Labels = append(to.X, x), append(to.Y, y), append(to.Labels, l.Lot)
	}
	var out []chart.Series
	for _, s := range []chart.Series{met, failed} {
		if len(s.X) > 0 {
			out = append(out, s)
		}
	}
	return out
}

func zoneInk(zone string) int {
	if zone == window.Target {
		return 0 // the darker tint, in grey too
	}
	return 4
}

// pastSection is the back-test.
func pastSection(r *operating.Result) document.Section {
	b := r.Backtest
	s := document.Section{Heading: "Had the window of " + list(r.By, plain) + " been used on the past lots"}
	t := &document.Table{ID: "past-" + figureID(r), Caption: fmt.Sprintf("%d past lots, each judged by a model and window made without it (%s)", b.Rows, b.Scheme), Columns: []document.Column{{Heading: "zone"},
		{Heading: "met the specification", Align: document.Right}, {Heading: "failed", Align: document.Right}, {Heading: "forecast with all features: met", Align: document.Right}, {Heading: "failed", Name: "failed by forecast", Align: document.Right}}}
	for k, z := range b.Window {
		t.Rows = append(t.Rows, []document.Cell{document.Words(z.Zone), phrase.Count(z.Meets), phrase.Count(z.Fails), phrase.Count(b.Forecast[k].Meets), phrase.Count(b.Forecast[k].Fails)})
	}
	g := b.Right
	s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("Right accepts %d, wrong accepts %d; right rejections %d, wrong rejections %d; %d undecided (acceptable, or where no lots stood). Of all %d, %d met the specification as measured.",
		g.RightAccepts, g.WrongAccepts, g.RightRejections, g.WrongRejections, g.Undecided, b.Rows, b.Meeting)), t,
		document.Paragraph("For the forecast with all features, target is accept, out of bounds is reject and acceptable is hold; not known is outside the domain. What was measured has its own error, so a lot near a limit may count on the wrong side."))
	return s
}
