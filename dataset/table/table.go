// Package table holds the joined figures of lots: one row per lot and product
// (or several rows per lot, in a table of one's own), columns of text or of
// numbers, cells that may be absent.
//
//  1. New puts columns (package column) together; Read takes any CSV or workbook whose first
//     column, or a named one, tells the lot.
//  2. Text, Number and Where read it; nothing changes it.
//  3. WriteCSV and Read are exact inverses; Digest is the fingerprint of what
//     WriteCSV writes.
//
// It refuses rows without a lot, numbers that are not finite, and two columns
// of one name. It computes nothing across lots.
package table

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"flourcast/dataset/column"
)

// Table is immutable. Row numbers run from 0; columns keep their order.
type Table struct {
	n       int
	columns []column.Column
	at      map[string]int
	lot     string // name of the column that names the lot
}

// ShapeError says which column does not fit into a table.
type ShapeError struct{ Column, Found, Want string }

func (e *ShapeError) Error() string {
	return fmt.Sprintf("table: column %s: found %s, expected %s", e.Column, e.Found, e.Want)
}

// ColumnError says that a column asked for is not there, or is not what the
// question needs. Near proposes names; nothing guesses.
type ColumnError struct {
	Column, Found, Want string
	Near                []string
}

func (e *ColumnError) Error() string {
	s := fmt.Sprintf("column %q: found %s, expected %s", e.Column, e.Found, e.Want)
	if len(e.Near) > 0 {
		s += "; did you mean " + strings.Join(e.Near, " or ") + "?"
	}
	return s
}

// New makes a table. lot names the column that tells the lot; it must be a
// text column without absent cells. It returns a *ShapeError for unequal
// lengths, a name that is empty or used twice, or a number that is not finite.
func New(lot string, columns ...column.Column) (*Table, error) {
	t := &Table{at: map[string]int{}, lot: column.Clean(lot), columns: columns}
	for k, c := range columns {
		if c.Name() == "" {
			return nil, &ShapeError{fmt.Sprint(k + 1), "no name", "a name"}
		}
		if _, twice := t.at[c.Name()]; twice {
			return nil, &ShapeError{c.Name(), "the name twice", "each name once"}
		}
		if t.n = columns[0].Len(); c.Len() != t.n {
			return nil, &ShapeError{c.Name(), fmt.Sprint(c.Len(), " cells"), fmt.Sprint(t.n, " as in the first column")}
		}
		if err := c.Check(); err != nil {
			return nil, err
		}
		t.at[c.Name()] = k
	}
	k, ok := t.at[t.lot]
	switch {
	case !ok:
		return nil, &ShapeError{t.lot, "no such column", "the column that names the lot"}
	case t.columns[k].IsNumber():
		return nil, &ShapeError{t.lot, "numbers", "text: lot 0012 is not 12"}
	}
	for i := range t.n {
		if _, ok := t.columns[k].Cell(i); !ok {
			return nil, &ShapeError{t.lot, fmt.Sprint("row ", i+1, " without a lot"), "a lot in every row"}
		}
	}
	return t, nil
}

// With is t with more columns behind its own, each of as many rows. Errors are
// those of New.
func (t *Table) With(more ...column.Column) (*Table, error) {
	return New(t.lot, slices.Concat(t.columns, more)...)
}

// Len is the number of rows.
func (t *Table) Len() int { return t.n }

// Columns are the names, in order.
func (t *Table) Columns() []string {
	names := make([]string, len(t.columns))
	for k, c := range t.columns {
		names[k] = c.Name()
	}
	return names
}

// All are the columns in their order.
func (t *Table) All() []column.Column { return slices.Clone(t.columns) }

// Has reports whether the column is there.
func (t *Table) Has(column string) bool { _, ok := t.at[column]; return ok }

// LotColumn names the column that tells the lot.
func (t *Table) LotColumn() string { return t.lot }

// Lot names the lot of a row. It panics on a row outside 0…Len()-1.
func (t *Table) Lot(row int) string { s, _ := t.Text(t.lot, row); return s }

// IsNumber reports whether the column is there and holds numbers.
func (t *Table) IsNumber(column string) bool {
	k, ok := t.at[column]
	return ok && t.columns[k].IsNumber()
}

// Text is a cell as it stands in a CSV, and whether it is there. An unknown
// column has no cells. It panics on a row outside 0…Len()-1.
func (t *Table) Text(column string, row int) (string, bool) {
	k, ok := t.at[column]
	if !ok {
		return "", false
	}
	return t.columns[k].Cell(row)
}

// Number is a cell of a number column, and whether it is there. A text column
// has no numbers. It panics on a row outside 0…Len()-1.
func (t *Table) Number(column string, row int) (float64, bool) {
	k, ok := t.at[column]
	if !ok {
		return 0, false
	}
	return t.columns[k].Number(row)
}

// Values are the distinct texts of a column, in order of first appearance;
// absent cells are left out.
func (t *Table) Values(column string) []string {
	var out []string
	seen := map[string]bool{}
	for i := range t.n {
		if s, ok := t.Text(column, i); ok && !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	return out
}

// Where is the table of the rows whose cell in the column has the text.
func (t *Table) Where(column, value string) *Table {
	var rows []int
	for i := range t.n {
		if s, ok := t.Text(column, i); ok && s == value {
			rows = append(rows, i)
		}
	}
	return t.Rows(rows)
}

// Rows is the table of the given rows, in the given order. It panics on a row
// outside 0…Len()-1.
func (t *Table) Rows(rows []int) *Table {
	out := &Table{n: len(rows), at: t.at, lot: t.lot}
	for _, c := range t.columns {
		out.columns = append(out.columns, c.Pick(rows))
	}
	return out
}

// WriteCSV writes the table: commas, decimal points, UTF-8, a header row, an
// empty cell for an absent one, and every number with as many digits as it
// takes to read the same bits again.
func (t *Table) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(t.Columns()); err != nil {
		return err
	}
	record := make([]string, len(t.columns))
	for i := range t.n {
		for k, c := range t.columns {
			record[k], _ = c.Cell(i)
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// Digest is the SHA-256 of what WriteCSV writes, in hexadecimal.
func (t *Table) Digest() string {
	h := sha256.New()
	if err := t.WriteCSV(h); err != nil {
		panic("table: " + err.Error()) // a hash takes every write
	}
	return hex.EncodeToString(h.Sum(nil))
}
