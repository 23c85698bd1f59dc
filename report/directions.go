package report

import (
	"fmt"

	"flourcast/eval/direction"
	"flourcast/report/phrase"
)

func directionSection(answers []direction.Answer) Section {
	s := Section{Heading: "Published directions"}
	t := &Table{ID: "directions", Columns: []Column{{Heading: "rule"}, {Heading: "standing"}, {Heading: "these lots"}, {Heading: "r (95 %)"}, {Heading: "lots", Align: Right}, {Heading: "source, and why it cannot be told"}}}
	for _, a := range answers {
		if !a.Applies {
			continue
		}
		t.Rows = append(t.Rows, []Cell{Words(ruleWords(a)), Words(a.Rule.Standing), Words(a.Outcome), correlationCell(a), phrase.Count(a.N), Words(directionWords(a))})
	}
	if len(t.Rows) == 0 {
		s.Blocks = append(s.Blocks, Paragraph("No published or declared direction covers this product, solvent and response. A laboratory can add its own rules."))
		return s
	}
	t.Caption = "Directions put to the measured lots: the correlation with its bootstrap interval over lots. Confirmed concerns the sign, never the size."
	s.Blocks = append(s.Blocks, t)
	if f := directionFigures(answers); f != nil {
		s.Blocks = append(s.Blocks, f, Paragraph("These figures are shown, not judged, but for two: a direction must hold within crop years, and what holds only without protein held constant is a caution. The model's slope says how its forecasts of lots not seen move with a feature, models fitted anew on resampled lots; a model that learnt nothing may move too, so it is no test of a direction. Single coefficients are none either: figures of one curve go together too closely."))
	}
	return s
}

// perSD is the unit of the slopes, which all are of one response; empty without a unit.
func perSD(answers []direction.Answer) string {
	for _, a := range answers {
		if _, unit := phrase.AxisOf(a.Rule.Response); unit != "" {
			return unit + " per SD"
		}
	}
	return ""
}

// directionFigures are the figures behind the answers, a row a rule; nil without any.
func directionFigures(answers []direction.Answer) *Table {
	t := &Table{ID: "direction-figures", Caption: "Behind the directions, with 95 % intervals",
		Columns: []Column{{Heading: "rule"}, {Heading: "within years", Align: Right}, {Heading: "given protein", Align: Right}, {Heading: "adjusted p", Align: Right}, {Heading: "published r (n)", Align: Right}, {Heading: "p of the difference", Align: Right}, {Heading: "slope of the model", Unit: perSD(answers), Align: Right}},
		Notes:   []string{"Benjamini and Hochberg 1995, over the features tested", "for one SD of the feature, 199 resamples of lots"}}
	part := func(c *direction.Correlation) Cell {
		if c == nil {
			return Words("–")
		}
		return Number(c.R, spanText(c.R, c.Low, c.High, 2))
	}
	p := func(v *float64) Cell {
		switch {
		case v == nil:
			return Words("–")
		case *v < 0.001:
			return Number(*v, "<0.001")
		}
		return phrase.Fixed(*v, 3)
	}
	for _, a := range answers {
		if !a.Applies || a.R == nil {
			continue
		}
		published, slope := Words("–"), Words("–")
		if a.Rule.R != nil {
			published = phrase.Fixed(*a.Rule.R, 2)
			if a.Rule.N != nil {
				published.Text += fmt.Sprintf(" (%d)", *a.Rule.N)
			}
		}
		if a.Slope != nil {
			slope = Number(a.Slope.Value, spanText(a.Slope.Value, a.Slope.Low, a.Slope.High, 2))
		}
		adjusted := p(a.PAdjusted)
		if len(t.Rows) == 0 {
			adjusted.Notes, slope.Notes = []int{0}, []int{1}
		}
		t.Rows = append(t.Rows, []Cell{Words(a.Rule.ID + " " + phrase.Label(a.Feature)), part(a.Within), part(a.GivenProtein), adjusted, published, p(a.PPublished), slope})
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

// spanText is "0.41 (0.24 to 0.56)".
func spanText(v, low, high float64, decimals int) string {
	return phrase.FixedText(v, decimals) + " (" + phrase.FixedText(low, decimals) + " to " + phrase.FixedText(high, decimals) + ")"
}

// correlationCell is r with its interval in one cell.
func correlationCell(a direction.Answer) Cell {
	if a.R == nil {
		return Words("–")
	}
	text := phrase.FixedText(*a.R, 2)
	if a.Low != nil && a.High != nil {
		text = spanText(*a.R, *a.Low, *a.High, 2)
	}
	return Number(*a.R, text)
}

// directionWords is the rule's source, and the reason where the answer is not
// plain from the correlation.
func directionWords(a direction.Answer) string {
	source := phrase.Sentences(phrase.First(a.Rule.Source))
	if a.Outcome == direction.Confirmed {
		return source
	}
	return phrase.Sentences(phrase.First(a.Rule.Source), a.Reason)
}

// ruleWords is a rule as a sentence: "higher peak viscosity, lower hardness".
func ruleWords(a direction.Answer) string {
	feature, response := phrase.Label(a.Feature), phrase.Label(a.Rule.Response)
	switch a.Rule.Sign {
	case direction.Rises:
		return "higher " + feature + ", higher " + response
	case direction.Falls:
		return "higher " + feature + ", lower " + response
	case direction.Optimum:
		return response + " has an optimum in " + feature
	}
	return feature + " without effect on " + response
}
