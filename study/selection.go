package study

import (
	"fmt"

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
