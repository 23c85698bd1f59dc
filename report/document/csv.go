package document

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// CSV writes a table as comma-separated UTF-8: a heading row of the columns'
// names, then one line a row. Numbers have the digits that give back the same
// float64; a cell without number and with the text "–" is empty. If a cell
// refers to footnotes a last column, notes, carries their texts, so that every
// other cell stays plain. Errors: a table that no face can show rightly, and
// those of w.
func CSV(w io.Writer, t *Table) error {
	if err := checkTable(t); err != nil {
		return fmt.Errorf("document: %w", err)
	}
	noted := slices.ContainsFunc(t.Rows, func(row []Cell) bool {
		return slices.ContainsFunc(row, func(c Cell) bool { return len(c.Notes) > 0 })
	})
	out := csv.NewWriter(w)
	var line []string
	for _, c := range t.Columns {
		if c.Name != "" {
			line = append(line, c.Name)
		} else {
			line = append(line, c.title())
		}
	}
	if noted {
		line = append(line, "notes")
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for _, row := range t.Rows {
		line = line[:0]
		var notes []string
		for i, c := range t.Columns {
			text := ""
			if i < len(row) {
				text = row[i].plain()
				for _, n := range row[i].Notes {
					if note := c.Heading + ": " + t.Notes[n]; !slices.Contains(notes, note) {
						notes = append(notes, note)
					}
				}
			}
			line = append(line, text)
		}
		if noted {
			line = append(line, strings.Join(notes, "; "))
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// plain is the cell for machines.
func (c Cell) plain() string {
	switch {
	case c.Value != nil:
		return strconv.FormatFloat(*c.Value, 'g', -1, 64)
	case c.Text == "–":
		return ""
	}
	return c.Text
}
