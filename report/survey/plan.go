package survey

import (
	"fmt"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/survey"
)

// Plan is the document of how many more lots are needed.
func Plan(r *survey.PlanResult) document.Document {
	label, unit := phrase.AxisOf(r.Response)
	d := document.Document{Title: "How many lots for a forecast of " + label, Subtitle: "What is missing, and what more lots would bring", Meta: append(aboutPairs(r.About), document.Pair{Name: "model", Value: fmt.Sprintf("%s, %d features", r.Kind, len(r.Features))})}
	s := document.Section{Heading: "Answer"}
	if r.ForSpec != nil {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Notice, Title: "For the specification", Text: forSpec(r, unit)})
	}
	t := &document.Table{ID: "needs", Caption: "Counts that checks ask for", Columns: []document.Column{{Heading: "for"}, {Heading: "of"}, phrase.RightIn("have", ""), phrase.RightIn("need", ""), phrase.RightIn("more", ""), {Heading: "why"}}}
	for _, n := range r.Needs {
		what := n.For
		if n.Rule != "" {
			what = "rule " + n.Rule + " with " + phrase.Label(n.Feature)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(what), document.Words(n.Unit), phrase.Count(n.Have), phrase.Count(n.Need), phrase.Count(n.More), document.Words(n.Why)})
	}
	s.Blocks = append(s.Blocks, t)
	d.Sections = append(d.Sections, s)
	if len(r.Curve) > 0 {
		d.Sections = append(d.Sections, learning(r, label, unit))
	}
	return withFindings(d, r.About)
}

func forSpec(r *survey.PlanResult, unit string) string {
	f := r.ForSpec
	now := ""
	if r.Width != nil {
		now = fmt.Sprintf(" A 90 %% forecast interval is now about %s %s wide, the specification %s %s.", phrase.Digits(*r.Width), unit, phrase.Digits(f.SpecWidth), unit)
	}
	if f.Lots == nil {
		return "No number of lots would make the forecast interval narrower than the specification: what is left is the response's own error and what these features do not tell. Measure the response more often on each lot, or measure another feature." + now
	}
	span := fmt.Sprintf(" (95 %% interval %s to %s)", lots(f.Low), lots(f.High))
	if *f.Lots <= r.Lots {
		return fmt.Sprintf("The lots at hand are enough: from %d lots%s the forecast interval is no wider than the specification.", *f.Lots, span) + now
	}
	return fmt.Sprintf("About %d lots, %d more%s, until the forecast interval is no wider than the specification.", *f.Lots, *f.Lots-r.Lots, span) + now
}

func lots(n *int) string {
	if n == nil {
		return "no number would do"
	}
	return fmt.Sprint(*n)
}

func learning(r *survey.PlanResult, label, unit string) document.Section {
	t := &document.Table{ID: "learning", Caption: "Error of lots not seen, by the number of lots fitted, with 95 % intervals over lots",
		Columns: []document.Column{{Heading: ""}, phrase.RightIn("lots", ""), phrase.RightIn("error", unit), phrase.RightIn("95 % from", unit), phrase.RightIn("to", unit), phrase.RightIn("90 % forecast interval", unit)}}
	add := func(what string, ps []survey.CurvePoint) {
		for _, p := range ps {
			t.Rows = append(t.Rows, []document.Cell{document.Words(what), phrase.Count(p.Lots), document.Number(p.RMSE, phrase.Digits(p.RMSE)), document.Number(p.Low, phrase.Digits(p.Low)), document.Number(p.High, phrase.Digits(p.High)), optionalDigits(p.Width)})
		}
	}
	add("measured", r.Curve)
	add("carried on", r.Ahead)
	measured := chart.Series{Name: "measured", Style: chart.StylePoints}
	for _, p := range r.Curve {
		measured.X, measured.Y = append(measured.X, float64(p.Lots)), append(measured.Y, p.RMSE)
		measured.Low, measured.High = append(measured.Low, p.Low), append(measured.High, p.High)
	}
	ahead := chart.Series{Name: "carried on", Style: chart.StyleLine, Ink: 1}
	band := chart.Band{Name: "95 % interval", Ink: 1}
	for _, p := range r.Ahead[:min(4, len(r.Ahead))] {
		ahead.X, ahead.Y = append(ahead.X, float64(p.Lots)), append(ahead.Y, p.RMSE)
		band.X, band.Low, band.High = append(band.X, float64(p.Lots)), append(band.Low, p.Low), append(band.High, p.High)
	}
	zero := 0.0
	fig := chart.Figure{ID: "learning", Title: "Error of lots not seen, by the number of lots fitted", Description: "Points are errors of models fitted on some of the lots at hand; the line carries them on as √(floor + rate/lots).",
		Panels: []chart.Panel{{Height: 320, X: chart.Axis{Label: "lots"}, Y: chart.Axis{Label: "error of " + label, Unit: unit, Min: &zero}, Series: []chart.Series{measured, ahead}, Bands: []chart.Band{band}}}}
	words := "Sets of lots were drawn at random, fitted, and asked for the lots left out. Beyond the lots at hand the error is carried on as √(floor + rate/lots), a form of common practice without a source, and it supposes that new lots are like these."
	if r.Floor != nil {
		words += fmt.Sprintf(" It would end at about %s %s, however many lots.", phrase.Digits(*r.Floor), unit)
	}
	return document.Section{Heading: "Learning curve", Blocks: []document.Block{document.Picture{Figure: fig}, t, document.Paragraph(words)}}
}
