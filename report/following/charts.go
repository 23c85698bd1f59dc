package following

import (
	"fmt"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/following"
)

// charts are the judged chart, and the CUSUM that is only drawn.
func charts(r *following.Result) document.Section {
	var (
		errors    = chart.Series{Name: "error of a lot", Style: chart.StylePoints, Ink: 1}
		average   = chart.Series{Name: "moving average", Style: chart.StyleLine, Ink: 0}
		low, high = chart.Series{Name: "limits", Style: chart.StyleLine, Ink: 2}, chart.Series{Name: "limits", Style: chart.StyleLine, Ink: 2}
		up, down  = chart.Series{Name: "up: measured above forecast", Style: chart.StyleLine, Ink: 0}, chart.Series{Name: "down", Style: chart.StyleLine, Ink: 1}
		n         = 0.0
		marks     []chart.Mark
		signal    = map[string]bool{}
	)
	for _, s := range r.Signals {
		signal[s.Lot] = true
	}
	for _, l := range r.Lots {
		if l.Standardised == nil {
			continue
		}
		n++
		add := func(s *chart.Series, v float64) {
			s.X, s.Y, s.Labels = append(s.X, n), append(s.Y, v), append(s.Labels, l.Lot.Lot)
		}
		add(&errors, *l.Standardised)
		add(&average, *l.EWMA)
		add(&low, *l.EWMALow)
		add(&high, *l.EWMAHigh)
		add(&up, *l.CUSUMUp)
		add(&down, *l.CUSUMDown)
		if signal[l.Lot.Lot] {
			marks = append(marks, chart.Mark{X: n, Y: *l.EWMA, Label: l.Lot.Lot})
		}
	}
	x := chart.Axis{Label: "lots in the order of their forecasts"}
	fig := chart.Figure{ID: "follow", Title: "Errors in the order of the forecasts", ShareX: true,
		Description: "Above, each lot's error in standard errors of its forecast, their moving average and its limits, which begin anew after a signal. Below, cumulative sums of the same errors, drawn and not judged.",
		Panels: []chart.Panel{
			{X: x, Y: chart.Axis{Label: "error", Unit: "standard errors"}, Height: 260, Series: []chart.Series{errors, low, high, average}, HLines: []chart.Line{{At: 0, Strong: true}}, Marks: marks},
			{X: x, Y: chart.Axis{Label: "CUSUM (drawn only)", Unit: "standard errors"}, Height: 140, Series: []chart.Series{up, down}},
		}}
	l := r.Limits
	text := fmt.Sprintf("One chart is judged: the moving average (λ %.1f) with limits of %.2f standard deviations, found from %d simulated mills with %d calibration lots, in which the model's own error is in. Of models as good as when they were made, it calls out %.0f %% within %d lots, and confirms %.1f %%. Bias, SEP and the CUSUM are drawn and told: all judged together would call out about four of ten.",
		l.Lambda, l.L, l.Mills, l.Calibration, 100*l.False, l.Horizon, 100*l.FalseConfirmed)
	return document.Section{Heading: "The chart", Blocks: []document.Block{document.Picture{Figure: fig}, document.Paragraph(text)}}
}

// lots is measured against forecast, as a picture and lot by lot.
func lots(r *following.Result) document.Section {
	label, unit := phrase.AxisOf(r.Response)
	s := chart.Series{Style: chart.StylePoints, Ink: 0}
	t := &document.Table{ID: "lots", Caption: "Lot by lot, in the order of their forecasts",
		Columns: []document.Column{{Heading: "lot"}, {Heading: "forecast on"}, {Heading: "decision"}, phrase.RightIn("forecast", unit), phrase.RightIn("from", unit), phrase.RightIn("to", unit), phrase.RightIn("measured", unit), phrase.RightIn("error", unit), phrase.RightIn("in standard errors", ""), phrase.RightIn("moving average", "")}}
	var notes []string
	for _, l := range r.Lots {
		s.X, s.Y, s.Labels = append(s.X, l.Forecast), append(s.Y, l.Measured), append(s.Labels, l.Lot.Lot)
		lot := document.Words(l.Lot.Lot)
		if l.Uncharted != "" {
			k := len(notes)
			for i, n := range notes {
				if n == l.Uncharted {
					k = i
				}
			}
			if k == len(notes) {
				notes = append(notes, l.Uncharted)
			}
			lot.Notes = []int{k}
		}
		day := l.Made
		if len(day) > 10 {
			day = day[:10]
		}
		t.Rows = append(t.Rows, []document.Cell{lot, document.Words(day), document.Words(l.Decision), phrase.Optional(r.Response, &l.Forecast), phrase.Optional(r.Response, l.Low), phrase.Optional(r.Response, l.High), phrase.Optional(r.Response, &l.Measured), phrase.Optional(r.Response, &l.Error), phrase.OptionalFixed(l.Standardised, 2), phrase.OptionalFixed(l.EWMA, 2)})
	}
	for i := range notes {
		notes[i] = "not charted: " + notes[i]
	}
	t.Notes = notes
	fig := chart.Figure{ID: "measured-forecast", Title: "Measured against forecast", Description: "Each point is a lot. On the line, forecast and measurement agree.",
		Panels: []chart.Panel{{Identity: true, Height: 380, X: chart.Axis{Label: "forecast " + label, Unit: unit}, Y: chart.Axis{Label: "measured " + label, Unit: unit}, Series: []chart.Series{s}}}}
	return document.Section{Heading: "Lots", Blocks: []document.Block{document.Picture{Figure: fig}, t}}
}
