package survey

import (
	"fmt"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/survey"
)

// Compare is the document of candidates on the same folds.
func Compare(r *survey.CompareResult) document.Document {
	label, unit := phrase.AxisOf(r.Response)
	d := document.Document{Title: "Which model of " + label, Subtitle: "Candidates on the same lots and folds", Meta: append(aboutPairs(r.About), document.Pair{Name: "folds", Value: r.Scheme})}
	s := document.Section{Heading: "Candidates", Blocks: []document.Block{document.Callout{Kind: document.Notice, Title: "What pasting data add beyond protein", Text: beyond(r)}}}
	t := &document.Table{ID: "candidates", Caption: "Each with its own choices made inside every training part; gains with 95 % paired bootstrap intervals over lots",
		Columns: []document.Column{{Heading: "candidate"}, phrase.RightIn("columns", ""), phrase.RightIn("RMSECV", unit), phrase.RightIn("Q²", ""), phrase.RightIn("gain over the mean", ""), phrase.RightIn("gain over protein", ""), phrase.RightIn("p", "")}}
	t.Notes = []string{"that its errors are no larger than those of the best row: sign flips over lots (van der Voet 1994, Chemom Intell Lab Syst 25:313)"}
	gain := func(g *survey.Gain) document.Cell {
		if g == nil {
			return document.Words("–")
		}
		return interval(g.Value, g.Low, g.High)
	}
	noted := false
	var failed []string
	for _, c := range r.Candidates {
		p := pValue(c.WorseThanBest)
		if c.WorseThanBest != nil && !noted {
			p.Notes, noted = []int{0}, true
		}
		name := c.Name
		if c.Name == r.Best {
			name += " (least error)"
		}
		if c.Failed != "" {
			failed = append(failed, c.Name+": "+c.Failed)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(name), phrase.Count(c.Features), optionalDigits(c.RMSECV), phrase.OptionalFixed(c.Q2, 2), gain(c.OverMean), gain(c.OverProtein), p})
	}
	s.Blocks = append(s.Blocks, t)
	for _, f := range failed {
		s.Blocks = append(s.Blocks, document.Paragraph("Not fitted: "+f))
	}
	if c := r.Chosen; c != nil {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("The row of least error was picked after the fact, and flatters. Chosen anew inside every training part (%d repeats), the best candidate reaches Q² %s, RMSECV %s: that is what to expect of it.",
			c.Repeats, phrase.FixedText(c.Q2, 2), phrase.Digits(c.RMSECV))), picks(c))
	}
	d.Sections = append(d.Sections, s, document.Section{Heading: "Picture", Blocks: []document.Block{document.Picture{Figure: bars(r, label)}}})
	if len(r.Components) > 0 {
		d.Sections = append(d.Sections, components(r, unit))
	}
	return withFindings(d, r.About)
}

// beyond answers in one line.
func beyond(r *survey.CompareResult) string {
	g := r.BeyondProtein
	if g == nil {
		return "Cannot be said: protein and pasting figures are not both known for every lot used."
	}
	figures := fmt.Sprintf("%s in Q² (%.0f %% interval %s to %s)", phrase.FixedText(g.Value, 2), 100*g.Level, phrase.FixedText(g.Low, 2), phrase.FixedText(g.High, 2))
	switch {
	case g.Low > 0:
		return "Pasting adds to protein: " + figures + "."
	case g.High < 0:
		return "Pasting takes away from protein: " + figures + ". Protein alone serves better on these lots."
	}
	return "It may be nothing: " + figures + " includes zero. Protein alone may serve as well."
}

func picks(c *survey.Chosen) *document.Table {
	t := &document.Table{ID: "picks", Caption: "How often each candidate was taken", Columns: []document.Column{{Heading: "candidate"}, phrase.RightIn("training parts", "")}}
	for _, p := range c.Picks {
		t.Rows = append(t.Rows, []document.Cell{document.Words(p.Name), phrase.Count(p.Times)})
	}
	return t
}

func bars(r *survey.CompareResult, label string) chart.Figure {
	s := chart.Series{Name: "gain over the mean with 95 % interval", Style: chart.StylePoints}
	var ticks []string
	for _, c := range r.Candidates {
		if c.OverMean == nil {
			continue
		}
		s.X, s.Y = append(s.X, c.OverMean.Value), append(s.Y, float64(len(ticks)))
		s.Low, s.High = append(s.Low, c.OverMean.Low), append(s.High, c.OverMean.High)
		ticks = append(ticks, c.Name)
	}
	return chart.Figure{ID: "candidates", Title: "Gain of each candidate over the mean, " + label,
		Description: "A point for each candidate: how much Q² it gains over the mean of the training lots, with its interval. At zero it forecasts no better than the mean.",
		Panels: []chart.Panel{{Height: float64(60 + 28*len(ticks)), X: chart.Axis{Label: "gain in Q² over the mean"}, Y: chart.Axis{Label: "candidate", Ticks: ticks},
			Series: []chart.Series{s}, VLines: []chart.Line{{At: 0, Strong: true}}}}}
}

func components(r *survey.CompareResult, unit string) document.Section {
	t := &document.Table{ID: "components", Caption: "PLS on all features, by number of components; the choice is not nested here",
		Columns: []document.Column{{Heading: "step"}, phrase.RightIn("RMSECV", unit), phrase.RightIn("Q²", ""), phrase.RightIn("p", ""), {Heading: "taken"}}}
	t.Notes = []string{"that its errors are no larger than those of the step of least error (sign flips over lots)"}
	noted := false
	for _, c := range r.Components {
		p := pValue(c.P)
		if c.P != nil && !noted {
			p.Notes, noted = []int{0}, true
		}
		taken := ""
		if c.Taken {
			taken = "yes: least error plus one standard error"
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(c.Label), document.Number(c.RMSECV, phrase.Digits(c.RMSECV)), phrase.Fixed(c.Q2, 2), p, document.Words(taken)})
	}
	return document.Section{Heading: "Components", Blocks: []document.Block{t}}
}
