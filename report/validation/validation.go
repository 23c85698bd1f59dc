// Package validation turns a validation on lots never used into a document: what
// the lots say first, then the figures with their limits, then lot by lot. It
// computes no figure.
package validation

import (
	"fmt"
	"math"
	"strings"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study"
	"flourcast/study/validation"
)

// Document is the whole report of a validation.
func Document(r *study.ValidateResult) document.Document {
	label, _ := phrase.AxisOf(r.Response)
	d := document.Document{Title: "Validation of " + label, Subtitle: "Forecasts of measured lots that the model never saw", Notice: r.Notice,
		Meta: []document.Pair{{Name: "model", Value: r.Model}, {Name: "verdict of the model", Value: r.Standing}, {Name: "table", Value: r.Table}, {Name: "lots", Value: fmt.Sprint(r.N)}}}
	d.Sections = []document.Section{answer(r), figures(r), lots(r)}
	if len(r.LeftOut) > 0 || r.Other > 0 {
		d.Sections = append(d.Sections, leftOut(r))
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

// answer says what the lots say against the model, or that they say nothing.
func answer(r *study.ValidateResult) document.Section {
	_, unit := phrase.AxisOf(r.Response)
	var against []string
	if b := r.Bias; b != nil && b.Beyond {
		against = append(against, fmt.Sprintf("forecasts are %s by %s on average, more than chance gives (±%s)", side(b.Value), amount(math.Abs(b.Value), unit), amount(*b.Limit, unit)))
	}
	if s := r.Slope; s != nil && s.Beyond {
		against = append(against, fmt.Sprintf("forecasts are stretched or squeezed (slope %s, t %s beyond %s)", phrase.FixedText(s.Slope, 2), phrase.FixedText(s.T, 2), phrase.FixedText(s.Limit, 2)))
	}
	if s := r.SEP; s != nil && s.Beyond {
		against = append(against, fmt.Sprintf("the error, bias taken off, is larger than in calibration (%s, chance gives up to %s)", amount(s.Value, unit), amount(*s.Limit, unit)))
	}
	if c := r.Coverage; c != nil && c.Few {
		against = append(against, fmt.Sprintf("only %d of %d lots lie inside their %.0f %% interval", c.Inside, c.N, 100*c.Level))
	}
	box := document.Callout{Kind: document.Answer, Title: "Nothing speaks against the model", Text: fmt.Sprintf("Bias, slope, error and coverage of %s are within what chance gives.", phrase.Plural(r.N, "lot"))}
	if len(against) > 0 {
		box = document.Callout{Kind: document.Caution, Title: "The lots speak against the model", Text: phrase.First(strings.Join(against, "; ")) + ". See whether instrument, method or harvest changed before it decides on lots again; then fit it anew with these lots."}
	} else if r.Bias == nil || r.Slope == nil {
		box.Title, box.Text = "Too few lots to say", fmt.Sprintf("%s do not give every figure.", phrase.First(phrase.Plural(r.N, "lot")))
	}
	blocks := []document.Block{box}
	if r.N < r.Advised {
		blocks = append(blocks, document.Callout{Kind: document.Notice, Title: "Few lots", Text: fmt.Sprintf("%s, fewer than the %d advised (ASTM E1655, from memory): a fault may hide, and the figures are unsure.", phrase.First(phrase.Plural(r.N, "lot")), r.Advised)})
	}
	if r.Relatives && len(r.Related) > 0 {
		blocks = append(blocks, document.Callout{Kind: document.Caution, Title: "Related lots are counted", Text: fmt.Sprintf("%s a parent, or cultivar and delivery, with lots that the model was made from, and %s by choice: the figures look better than lots of other families would make them.",
			map[bool]string{true: "1 lot shares", false: fmt.Sprintf("%d lots share", len(r.Related))}[len(r.Related) == 1], map[bool]string{true: "counts", false: "count"}[len(r.Related) == 1])})
	}
	return document.Section{Heading: "What the lots say", Blocks: append(blocks, document.Paragraph(phrase.Supports))}
}

func side(bias float64) string {
	if bias < 0 {
		return "too high"
	}
	return "too low"
}

// figures are the figures of merit beside their limits.
func figures(r *study.ValidateResult) document.Section {
	_, unit := phrase.AxisOf(r.Response)
	t := &document.Table{ID: "figures", Caption: "Errors are measured − forecast",
		Columns: []document.Column{{Heading: "figure"}, phrase.Right("value"), phrase.Right("limit"), {Heading: "what it says"}},
		Notes: []string{
			"as ISO 12099:2017 uses them (from memory)",
			"bands " + r.RPDBands.Source + "; " + r.RPDBands.Weakness,
			"bands of " + r.RERBands.Source + "; " + r.RERBands.Weakness,
		}}
	row := func(name string, value, limit document.Cell, says string, notes ...int) {
		head := document.Words(name)
		head.Notes = notes
		t.Rows = append(t.Rows, []document.Cell{head, value, limit, document.Words(says)})
	}
	if b := r.Bias; b != nil {
		limit := document.Words("–")
		if b.Limit != nil {
			limit = document.Number(*b.Limit, "±"+amount(*b.Limit, unit))
		}
		row("bias", in(b.Value, unit), limit, within(b.Beyond), 0)
	}
	if s := r.SEP; s != nil {
		limit := document.Words("–")
		if s.Limit != nil {
			limit = in(*s.Limit, unit)
		}
		row("SEP, the error with bias taken off", in(s.Value, unit), limit, map[bool]string{false: "no larger than in calibration", true: "larger than in calibration"}[s.Beyond], 0)
	}
	if r.RMSEP != nil {
		row("RMSEP", in(*r.RMSEP, unit), document.Words("–"), "RMSECV of the calibration: "+amount(r.RMSECV, unit))
	}
	if s := r.Slope; s != nil {
		row("slope of measured on forecast", document.Number(s.Slope, phrase.FixedText(s.Slope, 3)), document.Number(s.Limit, fmt.Sprintf("t %s, limit %s", phrase.FixedText(s.T, 2), phrase.FixedText(s.Limit, 2))), within(s.Beyond), 0)
	}
	if r.RPD != nil {
		row("RPD, SD over SEP", document.Number(*r.RPD, phrase.FixedText(*r.RPD, 2)), document.Words("–"), r.RPDBand, 1)
	}
	if r.RER != nil {
		row("RER, range over SEP", document.Number(*r.RER, phrase.FixedText(*r.RER, 1)), document.Words("–"), r.RERBand, 2)
	}
	if c := r.Coverage; c != nil {
		row(fmt.Sprintf("lots inside their %.0f %% interval (%s)", 100*c.Level, c.Kind), document.Number(float64(c.Inside), fmt.Sprintf("%d of %d", c.Inside, c.N)), document.Words("–"),
			fmt.Sprintf("%.0f %% to %.0f %% of such lots (95 %%); so few or fewer by chance: p %s", 100*c.Low, 100*c.High, phrase.FixedText(c.P, 3)))
	}
	row("lots inside what was calibrated", document.Number(float64(r.WithinDomain), fmt.Sprintf("%d of %d", r.WithinDomain, r.N)), document.Words("–"), "")
	return document.Section{Heading: "Figures", Blocks: []document.Block{t}}
}

func within(beyond bool) string {
	if beyond {
		return "more than chance"
	}
	return "within chance"
}

// lots is the picture and the listing, lot by lot.
func lots(r *study.ValidateResult) document.Section {
	label, unit := phrase.AxisOf(r.Response)
	t := &document.Table{ID: "lots", Caption: "Lot by lot", Columns: []document.Column{{Heading: "lot"}, phrase.RightIn("measured", unit), phrase.RightIn("forecast", unit), phrase.RightIn("error", unit), phrase.RightIn("from", unit), phrase.RightIn("to", unit), {Heading: "interval"}, {Heading: "calibrated range"}}}
	for _, l := range r.Lots {
		t.Rows = append(t.Rows, []document.Cell{document.Words(l.Lot), phrase.Optional(r.Response, &l.Measured), phrase.Optional(r.Response, &l.Forecast), phrase.Optional(r.Response, &l.Error),
			phrase.Optional(r.Response, l.Low), phrase.Optional(r.Response, l.High), document.Words(insideWord(l)), document.Words(l.Domain)})
	}
	fig := chart.Figure{ID: "validation", Title: phrase.First(label) + ", measured against forecast", Description: "Each point is a lot that the model never saw. On the line, forecast and measurement agree.",
		Panels: []chart.Panel{{Identity: true, Height: 420, X: chart.Axis{Label: "forecast " + label, Unit: unit}, Y: chart.Axis{Label: "measured " + label, Unit: unit}}}}
	for k, where := range []string{"inside", "edge", "outside"} {
		s := chart.Series{Name: where + " the calibrated range", Style: chart.StylePoints, Ink: k}
		if where == "edge" {
			s.Name = "at the edge of the calibrated range"
		}
		for _, l := range r.Lots {
			if l.Domain == where {
				s.X, s.Y, s.Labels = append(s.X, l.Forecast), append(s.Y, l.Measured), append(s.Labels, l.Lot)
			}
		}
		if len(s.X) > 0 {
			fig.Panels[0].Series = append(fig.Panels[0].Series, s)
		}
	}
	return document.Section{Heading: "Lots", Blocks: []document.Block{document.Picture{Figure: fig}, t}}
}

func insideWord(l validation.Lot) string {
	switch {
	case l.Inside == nil:
		return "none"
	case *l.Inside:
		return "inside"
	}
	return "outside"
}

func leftOut(r *study.ValidateResult) document.Section {
	s := document.Section{Heading: "Left out"}
	if len(r.LeftOut) > 0 {
		t := &document.Table{ID: "left-out", Caption: "Measured lots that do not count", Columns: []document.Column{{Heading: "lot"}, {Heading: "reason"}}}
		for _, l := range r.LeftOut {
			t.Rows = append(t.Rows, []document.Cell{document.Words(l.Lot), document.Words(l.Reason)})
		}
		s.Blocks = append(s.Blocks, t)
	}
	if r.Other > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%d measured rows are of other products.", r.Other)))
	}
	return s
}

// amount is a figure with three significant digits and its unit.
func amount(v float64, unit string) string {
	return strings.TrimSpace(phrase.Digits(v) + " " + unit)
}

func in(v float64, unit string) document.Cell { return document.Number(v, amount(v, unit)) }
