package study

import (
	"fmt"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/treatment"
	"flourcast/study/card"
)

// otherRows says in what a lot differs from the rows that a model was made from: its
// flour's treatment, or a column that chose the rows. What the source does not state
// is not held against it.
func otherRows(c *card.Card, word func(column string) (string, bool)) []string {
	var out []string
	conditions := c.Where
	if c.Treatment != "" {
		conditions = append([]column.Condition{{Column: column.Treatment, Value: c.Treatment}}, conditions...)
	}
	if f := c.TreatmentFactor; f != nil {
		if text, stated := word(column.Treatment); stated && !f.Knows(text) {
			out = append(out, fmt.Sprintf("treatment is %s and the model was made from flours of %s: use a model made from such flours, or test the lot", text, strings.Join(f.Names(), ", ")))
		}
	}
	said := map[string]bool{}
	for _, w := range conditions {
		text, stated := word(w.Column)
		if !stated || w.Holds(text) || said[w.Column] {
			continue
		}
		said[w.Column] = true
		problem := fmt.Sprintf("%s is %s and the model was made from rows with %s: use a model made from such rows, or test the lot", w.Column, text, w.Value)
		if w.Column == column.Treatment && treatment.Parse(text).Kind == treatment.Chlorinated {
			problem += ". " + treatment.Caution
		}
		out = append(out, problem)
	}
	return out
}

// withIndicators lets a lot answer for the indicator columns of a model in which
// treatment is a factor, from the treatment that its source states.
func (l lotFigures) withIndicators(c *card.Card) lotFigures {
	if c.TreatmentFactor == nil || l.word == nil {
		return l
	}
	own := l.figure
	l.figure = func(name string) (float64, bool) {
		if v, ok := own(name); ok {
			return v, true
		}
		text, stated := l.word(column.Treatment)
		if !stated {
			return 0, false
		}
		return c.TreatmentFactor.Indicator(name, text)
	}
	return l
}
