package lotcard

import (
	"fmt"

	reportbook "flourcast/report/book"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/following"
)

// Forecasts is the section of a lot's forecasts, made is in the order in which they were
// made: the last of each response in a box, then all, the latest first, with what was
// measured later.
func Forecasts(made []following.Scored) document.Section {
	s := document.Section{Heading: "Forecasts and outcomes"}
	if len(made) == 0 {
		s.Blocks = []document.Block{document.Paragraph("Nothing was forecast of this lot yet.")}
		return s
	}
	told := map[string]bool{}
	t := &document.Table{ID: "forecasts", Caption: "Forecasts as they were made, the latest first, and what was measured later: where that lies against the interval, whether the decision was right, and where the lot lies in the calibrated range",
		Columns: []document.Column{{Heading: "response"}, phrase.Right("forecast"), phrase.Right("from"), phrase.Right("to"), {Heading: "limits"}, {Heading: "decision"}, phrase.Right("measured"), {Heading: "interval"}, {Heading: "judged"}, {Heading: "range"}, {Heading: "made"}}}
	for i := len(made) - 1; i >= 0; i-- {
		m := made[i]
		of := m.Of.Of
		if !told[of.Response] {
			told[of.Response] = true
			s.Blocks = append(s.Blocks, short(m))
		}
		label, unit := phrase.AxisOf(of.Response)
		if unit != "" {
			label += ", " + unit
		}
		measured, interval, decision := document.Words("–"), m.Why, "–"
		if o := m.Outcome; o != nil {
			measured, interval, decision = phrase.Figure(of.Response, o.Measured), against(o), verdict(o)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(label), phrase.Optional(of.Response, of.Value), phrase.Optional(of.Response, of.Low), phrase.Optional(of.Response, of.High), document.Words(reportbook.Limits(of.Spec)), document.Words(or(of.Decision)),
			measured, document.Words(interval), document.Words(decision), document.Words(or(of.Domain)), document.Words(m.Of.Made.Format("2006-01-02"))})
	}
	s.Blocks = append(s.Blocks, t)
	return s
}

// short says one forecast and its outcome in a box.
func short(m following.Scored) document.Callout {
	of := m.Of.Of
	label, unit := phrase.AxisOf(of.Response)
	figure := func(v *float64) string { return phrase.WithUnit(of.Response, *v) }
	c := document.Callout{Kind: document.Notice, Title: phrase.First(label) + " could not be forecast"}
	if of.Value != nil {
		c.Title = phrase.First(label) + " " + figure(of.Value)
		if of.Low != nil && of.High != nil {
			c.Title += fmt.Sprintf(" (%s to %s)", phrase.Figure(of.Response, *of.Low).Text, phrase.Figure(of.Response, *of.High).Text)
		}
		c.Title += " was forecast"
	}
	if of.Decision != "" {
		c.Title += ": " + of.Decision
	}
	if of.Spec != "" {
		c.Text = "Specification: " + reportbook.Limits(of.Spec)
		if unit != "" {
			c.Text += " " + unit
		}
		c.Text += ". "
	}
	switch o := m.Outcome; {
	case o == nil:
		c.Text += phrase.First(m.Why) + "."
	default:
		c.Text += fmt.Sprintf("Measured %s, %s.", figure(&o.Measured), againstWords(o))
		if o.Right != nil {
			c.Text += " The decision was " + verdict(o) + "."
		}
		if o.Right != nil && !*o.Right || o.Inside != nil && !*o.Inside {
			c.Kind = document.Caution
		}
	}
	return c
}

// against says where the outcome lies against the interval.
func against(o *following.Lot) string {
	switch {
	case o.Inside == nil:
		return "–"
	case *o.Inside:
		return "inside"
	case o.Error > 0:
		return "above"
	}
	return "below"
}

func againstWords(o *following.Lot) string {
	if o.Inside == nil {
		return "where no interval was given"
	}
	return against(o) + " the interval"
}

// verdict says whether the decision was right.
func verdict(o *following.Lot) string {
	switch {
	case o.Right != nil && *o.Right:
		return "right"
	case o.Right != nil:
		return "wrong"
	case o.Met != nil && *o.Met:
		return "open, it meets"
	case o.Met != nil:
		return "open, it misses"
	}
	return "–"
}

func or(text string) string {
	if text == "" {
		return "–"
	}
	return text
}
