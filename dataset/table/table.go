// Package table holds the joined figures of lots: one row per lot and product
// (or several rows per lot, in a table of one's own), columns of text or of
// numbers, cells that may be absent.
//
//  1. New puts columns together; Read takes any CSV or workbook whose first
//     column, or a named one, tells the lot.
//  2. Text, Number, Where and Frame read it; nothing changes it.
//  3. WriteCSV and Read are exact inverses; Digest is the fingerprint of what
//     WriteCSV writes.
//  4. Assemble picks a response, features and rows, and hands them on as a
//     complete finite design.Matrix, with a list of what was left out and why.
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
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"

	"flourcast/dataset/trait"
)

// Column is one column on its way into a table. Text columns have Cells ("" is
// absent); number columns have Values and Present. Make one with TextColumn,
// NumberColumn or GuessColumn.
type Column struct {
	name    string
	number  bool
	cells   []string
	values  []float64
	present []bool
}

// TextColumn is a column of text; an empty cell is absent. Spaces around a
// cell are cut off, as every reader does.
func TextColumn(name string, cells []string) Column {
	c := Column{name: clean(name), cells: make([]string, len(cells))}
	for i, s := range cells {
		c.cells[i] = clean(s)
	}
	return c
}

// NumberColumn is a column of numbers; values[i] counts if present[i].
func NumberColumn(name string, values []float64, present []bool) Column {
	c := Column{name: clean(name), number: true, values: make([]float64, len(values)), present: slices.Clone(present)}
	for i, v := range values {
		if i < len(present) && present[i] {
			c.values[i] = v
		}
	}
	return c
}

// GuessColumn types a column from its name and cells, by the rule of Read:
// numbers if Declared says so or, for an unknown name, if every cell that is
// not empty is a plain number. A code such as 0012 is text.
func GuessColumn(name string, cells []string) Column {
	text := TextColumn(name, cells)
	number, known := Declared(text.name)
	if known && !number {
		return text
	}
	values, present := make([]float64, len(cells)), make([]bool, len(cells))
	any := false
	for i, s := range text.cells {
		if s == "" {
			continue
		}
		v, ok := ParseNumber(s)
		if !ok {
			return text
		}
		values[i], present[i], any = v, true, true
	}
	if !any && !known {
		return text
	}
	return NumberColumn(text.name, values, present)
}

// Name is the column's name.
func (c Column) Name() string { return c.name }

// Empty reports whether no cell is present.
func (c Column) Empty() bool {
	if c.number {
		return !slices.Contains(c.present, true)
	}
	return !slices.ContainsFunc(c.cells, func(s string) bool { return s != "" })
}

func (c Column) len() int {
	if c.number {
		return len(c.values)
	}
	return len(c.cells)
}

func (c Column) text(row int) (string, bool) {
	if !c.number {
		return c.cells[row], c.cells[row] != ""
	}
	if !c.present[row] {
		return "", false
	}
	return formatNumber(c.values[row]), true
}

func (c Column) pick(rows []int) Column {
	out := Column{name: c.name, number: c.number}
	for _, i := range rows {
		if c.number {
			out.values, out.present = append(out.values, c.values[i]), append(out.present, c.present[i])
		} else {
			out.cells = append(out.cells, c.cells[i])
		}
	}
	return out
}

// Table is immutable. Row numbers run from 0; columns keep their order.
type Table struct {
	n       int
	columns []Column
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
func New(lot string, columns ...Column) (*Table, error) {
	t := &Table{at: map[string]int{}, lot: clean(lot)}
	for k, c := range columns {
		if c.name == "" {
			return nil, &ShapeError{fmt.Sprint(k + 1), "no name", "a name"}
		}
		if _, twice := t.at[c.name]; twice {
			return nil, &ShapeError{c.name, "the name twice", "each name once"}
		}
		if k == 0 {
			t.n = c.len()
		}
		if c.len() != t.n || c.number && len(c.present) != t.n {
			return nil, &ShapeError{c.name, fmt.Sprint(c.len(), " cells"), fmt.Sprint(t.n, " as in the first column")}
		}
		for i, v := range c.values {
			if c.present[i] && (math.IsNaN(v) || math.IsInf(v, 0)) {
				return nil, &ShapeError{c.name, fmt.Sprint(v, " in row ", i+1), "a finite number or an absent cell"}
			}
		}
		t.at[c.name] = k
		t.columns = append(t.columns, c)
	}
	k, ok := t.at[t.lot]
	switch {
	case !ok:
		return nil, &ShapeError{t.lot, "no such column", "the column that names the lot"}
	case t.columns[k].number:
		return nil, &ShapeError{t.lot, "numbers", "text: lot 0012 is not 12"}
	case slices.Contains(t.columns[k].cells, ""):
		return nil, &ShapeError{t.lot, "a row without a lot", "a lot in every row"}
	}
	return t, nil
}

// Len is the number of rows.
func (t *Table) Len() int { return t.n }

// Columns are the names, in order.
func (t *Table) Columns() []string {
	names := make([]string, len(t.columns))
	for k, c := range t.columns {
		names[k] = c.name
	}
	return names
}

// Has reports whether the column is there.
func (t *Table) Has(column string) bool { _, ok := t.at[column]; return ok }

// LotColumn names the column that tells the lot.
func (t *Table) LotColumn() string { return t.lot }

// Lot names the lot of a row. It panics on a row outside 0…Len()-1.
func (t *Table) Lot(row int) string { return t.columns[t.at[t.lot]].cells[row] }

// IsNumber reports whether the column is there and holds numbers.
func (t *Table) IsNumber(column string) bool {
	k, ok := t.at[column]
	return ok && t.columns[k].number
}

// Text is a cell as it stands in a CSV, and whether it is there. An unknown
// column has no cells. It panics on a row outside 0…Len()-1.
func (t *Table) Text(column string, row int) (string, bool) {
	k, ok := t.at[column]
	if !ok {
		return "", false
	}
	return t.columns[k].text(row)
}

// Number is a cell of a number column, and whether it is there. A text column
// has no numbers. It panics on a row outside 0…Len()-1.
func (t *Table) Number(column string, row int) (float64, bool) {
	k, ok := t.at[column]
	if !ok || !t.columns[k].number || !t.columns[k].present[row] {
		return 0, false
	}
	return t.columns[k].values[row], true
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
		out.columns = append(out.columns, c.pick(rows))
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
			record[k], _ = c.text(i)
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

// Frame is the table as a data frame with declared column types: numbers are
// Float (absent: NA), everything else String (absent: NA), so that lot 0012
// stays 0012.
func (t *Table) Frame() dataframe.DataFrame {
	all := make([]series.Series, len(t.columns))
	for k, c := range t.columns {
		cells := make([]any, t.n) // nil is NA
		kind := series.String
		if c.number {
			kind = series.Float
		}
		for i := range t.n {
			switch {
			case c.number && c.present[i]:
				cells[i] = c.values[i]
			case !c.number && c.cells[i] != "":
				cells[i] = c.cells[i]
			}
		}
		all[k] = series.New(cells, kind, c.name)
	}
	return dataframe.New(all...)
}

func formatNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// ParseNumber reads a plain decimal number: digits with a point and an
// exponent, finite. A code with leading zeros (0012), a hexadecimal, NaN and
// Inf are not numbers.
func ParseNumber(s string) (float64, bool) {
	if strings.Trim(s, "0123456789+-.eE") != "" || isCode(s) {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}

// isCode reports whether a cell of digits starts with a zero that a number would lose.
func isCode(s string) bool {
	s = strings.TrimLeft(s, "+-")
	return len(s) > 1 && s[0] == '0' && s[1] >= '0' && s[1] <= '9'
}

// clean makes a text what it would be when read back from a file.
func clean(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "�"), "\r", "")
	return strings.TrimSpace(strings.ReplaceAll(s, "\ufeff", ""))
}

// suffixes of a column that tells about another one and is never a feature:
// number of replicates, SD, standard error, and a figure somebody claims.
var suffixes = []string{"_n", "_sd", "_se", Claimed}

// Claimed is the suffix of a figure that was not measured on this lot by the
// laboratory itself: a supplier's, a third party's, or a typical one.
const Claimed = "_claimed"

// Companion reports whether a column only tells about another one (number of
// replicates, SD, standard error, claimed figure), and which.
func Companion(column string) (of string, ok bool) {
	id, method := trait.Split(column)
	for _, s := range suffixes {
		if base, found := strings.CutSuffix(id, s); found && base != "" {
			return trait.Join(base, method), true
		}
	}
	return "", false
}
