package tablefile

import (
	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"

	"flourcast/dataset/table"
)

// Frame is a table as a data frame with declared column types: numbers are Float
// (absent: NA), everything else String (absent: NA), so that lot 0012 stays 0012.
func Frame(t *table.Table) dataframe.DataFrame {
	var all []series.Series
	for _, name := range t.Columns() {
		cells, kind := make([]any, t.Len()), series.String // nil is NA
		if t.IsNumber(name) {
			kind = series.Float
		}
		for i := range t.Len() {
			if v, ok := t.Number(name, i); ok {
				cells[i] = v
			} else if s, ok := t.Text(name, i); ok {
				cells[i] = s
			}
		}
		all = append(all, series.New(cells, kind, name))
	}
	return dataframe.New(all...)
}
