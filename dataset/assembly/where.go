package assembly

import (
	"flourcast/dataset/table"
	"slices"
)

// where keeps the rows that meet every condition. It returns a *table.ColumnError for a
// column that is not there, or a value that no row has.
func (a *assembler) where(rows []int) ([]int, error) {
	for _, c := range a.s.Where {
		if !a.t.Has(c.Column) {
			return nil, a.missing(c.Column, "a column for "+c.String())
		}
		text := func(row int) string { s, _ := a.t.Text(c.Column, row); return s }
		rows = slices.DeleteFunc(slices.Clone(rows), func(i int) bool { return !c.Holds(text(i)) })
		if len(rows) == 0 {
			return nil, &table.ColumnError{Column: c.Column, Found: "no row with " + c.Value, Want: "one of " + some(a.t.Values(c.Column))}
		}
	}
	return rows, nil
}
