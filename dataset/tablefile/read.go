// Package tablefile reads any CSV or workbook as a table of lots.
//
//  1. The column that names the lot is found: as asked, or `lot`, or the first.
//  2. Rows without a lot are refused; every other row is kept.
//  3. Columns are typed: declared ones by their name, others by their cells.
//  4. Frame hands a table on as a data frame.
//
// Read renames and converts nothing: a header that is a trait in other words is only
// pointed out. ReadFor takes it for the trait where that is asked for by its name.
package tablefile

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/sheet"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Read reads any CSV or workbook as a table. The lot stands in the column
// named by lot; if that is empty, in the column `lot`; if there is none, in the
// first. Several rows may share a lot. Columns are typed by column.Guess; their
// names and figures stay as written: a header that is a trait in other words
// or another unit is only pointed out in a note.
//
// A row without a lot, or that the sheet cannot read, is refused by a finding.
// A text in a column of numbers leaves that cell empty, with a doubt. The error
// is sheet's if the file cannot be read, *table.ColumnError if the lot column is not
// there, *EmptyError if no row is left.
func Read(path, lot string) (*table.Table, finding.List, error) {
	s, err := sheet.Open(path, nil)
	if err != nil {
		return nil, nil, err
	}
	return FromSheet(s, lot)
}

// Parse is Read on bytes; name stands for the file in findings.
func Parse(name string, data []byte, lot string) (*table.Table, finding.List, error) {
	s, err := sheet.Read(name, data, nil)
	if err != nil {
		return nil, nil, err
	}
	return FromSheet(s, lot)
}

// Of is the table that is given, as the join makes it, or that of the file as Read
// has it.
func Of(given *table.Table, path string) (*table.Table, finding.List, error) {
	if given != nil {
		return given, nil, nil
	}
	return Read(path, "")
}

// ReadFor is Read for somebody who asks for traits by name, such as hardness_N: where
// no column has that name, the one whose header says so in other words ("hardness
// (gf)") is renamed, and its figures are brought to the unit of the name, with a note.
func ReadFor(path, lot string, traits ...string) (*table.Table, finding.List, error) {
	s, err := sheet.Open(path, nil)
	if err != nil {
		return nil, nil, err
	}
	return fromSheet(s, lot, traits)
}

// EmptyError says that a table has no row to work with.
type EmptyError struct{ File string }

func (e *EmptyError) Error() string {
	return fmt.Sprintf("%s: found no usable row, expected a header and at least one row with a lot", e.File)
}

// FromSheet is Read on an opened sheet.
func FromSheet(s *sheet.Sheet, lot string) (*table.Table, finding.List, error) {
	return fromSheet(s, lot, nil)
}

func fromSheet(s *sheet.Sheet, lot string, traits []string) (*table.Table, finding.List, error) {
	fl := s.Findings()
	names, keep := usable(s)
	if len(keep) == 0 {
		return nil, fl, &EmptyError{s.File}
	}
	as := map[int]bool{} // columns that are read as a trait, in its unit
	for _, id := range traits {
		k := s.Column(id)
		if _, known := s.Header(k); !known || !slices.Contains(keep, k) || slices.Contains(names, id) {
			continue
		}
		fl.Add(finding.Finding{Code: "header-read-as-trait", Severity: finding.Note, At: finding.Place{File: s.File, Column: names[k]}, Found: "read as " + id})
		names[k], as[k] = id, true
	}
	key, err := lotColumn(names, keep, lot)
	if err != nil {
		return nil, fl, err
	}
	var rows []sheet.Row
	for row, bad := range s.Rows() {
		if bad != nil {
			fl.Add(*bad)
			continue
		}
		if textOf(row, key) == "" {
			fl.Add(finding.Finding{Code: "lot-missing", Severity: finding.Refused, At: s.Place(row, key), Found: "no lot",
				Want: "a lot in every row", Do: "fill the lot in, or name the column that tells the lot"})
			continue
		}
		rows = append(rows, row)
	}
	if len(rows) == 0 {
		return nil, fl, &EmptyError{s.File}
	}
	var columns []column.Column
	for _, k := range keep {
		columns = append(columns, readColumn(s, rows, k, names[k], k == key, as[k], &fl))
	}
	t, err := table.New(names[key], columns...)
	return t, fl, err
}

// usable gives every column of the sheet its name, and the columns whose name
// stands once: of others the sheet has said that they are not used.
func usable(s *sheet.Sheet) (names []string, keep []int) {
	count := map[string]int{}
	for k, c := range s.Columns {
		name := column.Clean(c.Name)
		if name == "" {
			name = fmt.Sprintf("column_%d", k+1)
		}
		names = append(names, name)
		count[strings.ToLower(name)]++
	}
	for k, name := range names {
		if count[strings.ToLower(name)] == 1 {
			keep = append(keep, k)
		}
	}
	return names, keep
}

func lotColumn(names []string, keep []int, lot string) (int, error) {
	want := column.Clean(lot)
	for _, k := range keep {
		if names[k] == want || want == "" && names[k] == "lot" {
			return k, nil
		}
	}
	if want != "" {
		return 0, &table.ColumnError{Column: want, Found: "no such column", Want: "the column that tells the lot", Near: trait.Near(want, names)}
	}
	return keep[0], nil
}

// readColumn reads column k of the rows. The lot column is text; declared
// columns take their type; others are numbers if every cell that is not empty is. Cells
// of a column that is read as a trait are brought to the trait's unit.
func readColumn(s *sheet.Sheet, rows []sheet.Row, k int, name string, isLot, asTrait bool, fl *finding.List) column.Column {
	cells := make([]string, len(rows))
	for i, row := range rows {
		cells[i] = textOf(row, k)
	}
	number, known := column.Declared(name)
	if isLot || known && !number {
		return column.Text(name, cells)
	}
	values, present := make([]float64, len(rows)), make([]bool, len(rows))
	var bads finding.List
	good := 0
	read := s.Number
	if asTrait {
		read = s.Value
	}
	for i, row := range rows {
		if cells[i] == "" {
			continue
		}
		v, ok, bad := read(row, k)
		switch {
		case bad != nil:
			bads.Add(*bad)
		case ok && (known || !column.IsCode(cells[i])):
			values[i], present[i] = v, true
			good++
		case ok: // a code such as 0012 makes an unknown column text
			return column.Text(name, cells)
		}
	}
	if known {
		for _, bad := range bads {
			bad.Severity, bad.Do = finding.Doubt, "the cell counts as empty: write a number or leave it empty"
			fl.Add(bad)
		}
		return column.Numbers(name, values, present)
	}
	if h, err := trait.ParseHeader(name, s.Columns[k].Unit); err == nil && h.Trait.ID != name && good > 0 {
		fl.Add(finding.Finding{Code: "header-reads-as-trait", Severity: finding.Note, At: finding.Place{File: s.File, Column: name},
			Found: "a column kept as written", Do: "rename it " + h.Trait.ID + " (in its unit) so that its direction and unit are known"})
	}
	if good == 0 || len(bads) > 0 {
		if good > len(bads) {
			first := bads[0]
			fl.Add(finding.Finding{Code: "column-mixed", Severity: finding.Doubt, At: first.At, Found: fmt.Sprintf("%d numbers and %d texts; the column is text", good, len(bads)),
				Want: "numbers only", Do: "clean the texts or leave those cells empty, if the column is meant as numbers"})
		}
		return column.Text(name, cells)
	}
	return column.Numbers(name, values, present)
}

func textOf(row sheet.Row, k int) string {
	if k >= len(row.Cells) {
		return ""
	}
	return column.Clean(row.Cells[k])
}
