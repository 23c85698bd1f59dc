package newlots

import (
	"fmt"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/replicate"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/study/card"
)

// OtherRows says in what a lot differs from the rows that a model was made from: its
// flour's treatment, or a column that chose the rows. What the source does not state
// is not held against it.
func (l Lot) OtherRows(c *card.Card) []string {
	if l.Word == nil {
		return nil
	}
	var out []string
	conditions := c.Where
	if c.Treatment != "" {
		conditions = append([]column.Condition{{Column: column.Treatment, Value: c.Treatment}}, conditions...)
	}
	if f := c.TreatmentFactor; f != nil {
		if text, stated := l.Word(column.Treatment); stated && !f.Knows(text) {
			out = append(out, fmt.Sprintf("treatment is %s and the model was made from flours of %s: use a model made from such flours, or test the lot", text, strings.Join(f.Names(), ", ")))
		}
	}
	said := map[string]bool{}
	for _, w := range conditions {
		text, stated := l.Word(w.Column)
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
func (l Lot) withIndicators(c *card.Card) Lot {
	if c.TreatmentFactor == nil || l.Word == nil {
		return l
	}
	own := l.Figure
	l.Figure = func(name string) (float64, bool) {
		if v, ok := own(name); ok {
			return v, true
		}
		text, stated := l.Word(column.Treatment)
		if !stated {
			return 0, false
		}
		return c.TreatmentFactor.Indicator(name, text)
	}
	return l
}

// Find looks a model's feature up: by its name, by its name with the model's
// method where the source has several, and by its bare name where the source
// has only the method that the feature names. by is the method of the column, if
// the column names one.
func (l Lot) Find(feature, modelMethod string) (s replicate.Summary, by string, ok bool) {
	id, m := trait.Split(feature)
	if s, ok := replicate.Read(l.Figure, feature); ok {
		return s, m, true
	}
	switch {
	case m == "" && modelMethod != "":
		s, ok = replicate.Read(l.Figure, trait.Join(id, modelMethod))
		return s, modelMethod, ok
	case m != "" && l.Method == m:
		s, ok = replicate.Read(l.Figure, id)
		return s, m, ok
	}
	return s, "", false
}

// OfAnother reports whether a lot's row is stated to be of another product.
func (l Lot) OfAnother(product string) bool {
	if l.Word == nil || product == "" {
		return false
	}
	p, ok := l.Word("product")
	return ok && p != "" && p != product
}
