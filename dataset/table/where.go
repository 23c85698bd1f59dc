package table

import (
	"slices"

	"flourcast/dataset/column"
	"flourcast/dataset/treatment"
	"flourcast/finding"
)

// where keeps the rows that meet every condition. It returns a *ColumnError for a
// column that is not there, or a value that no row has.
func (a *assembler) where(rows []int) ([]int, error) {
	for _, c := range a.s.Where {
		if !a.t.Has(c.Column) {
			return nil, a.missing(c.Column, "a column for "+c.String())
		}
		text := func(row int) string { s, _ := a.t.Text(c.Column, row); return s }
		rows = slices.DeleteFunc(slices.Clone(rows), func(i int) bool { return !c.Holds(text(i)) })
		if len(rows) == 0 {
			return nil, &ColumnError{c.Column, "no row with " + c.Value, "one of " + some(a.t.Values(c.Column)), nil}
		}
	}
	return rows, nil
}

// treatmentOf is the one kind of flour treatment of the rows, or "" and a doubt if
// there are several. A chlorinated flour gets its caution.
func (a *assembler) treatmentOf(rows []int) string {
	if !a.t.Has(column.Treatment) {
		return ""
	}
	var written []string
	for _, i := range rows {
		text, _ := a.t.Text(column.Treatment, i)
		written = append(written, text)
	}
	kinds := treatment.Kinds(written)
	at := finding.Place{Column: column.Treatment}
	if slices.Contains(kinds, string(treatment.Chlorinated)) {
		a.fl.Add(finding.Finding{Code: "chlorinated-flour", Severity: finding.Note, At: at, Found: "rows of chlorinated flour", Do: treatment.Caution})
	}
	if len(kinds) > 1 {
		a.fl.Add(finding.Finding{Code: "pooled-differs", Severity: finding.Doubt, At: at, Found: "rows of several: " + some(kinds),
			Want: "one treatment in a model: it drives the curve and the cake both, and so can pass for a relation between the two",
			Do:   "fit within one, such as --where treatment=none, or be sure that pooling is meant"})
		return ""
	}
	if kinds[0] == "not stated" {
		return ""
	}
	return kinds[0]
}
