package table

import (
	"fmt"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// words are the columns that are text whatever their cells look like: a lot
// 0012, a crop year 2023, a replicate 1.
var words = map[string]bool{
	"lot": true, "product": true, "method": true, "crop_year": true, "supplier": true, "family": true, "parent": true,
	"sample": true, "run": true, "replicate": true, "batch": true, "date": true, "operator": true, "instrument": true,
	"protocol": true, "water": true, "kind": true, "status": true, "origin": true, "site": true, "wheat_class": true,
	"milled_on": true, "tested_at": true, "treatment": true, "enzymes": true, "whose": true, "scope": true,
}

// Declared tells whether a column name has a fixed type, and whether that is
// number: traits and their companions (peak_mPas_sd) are numbers; keys, the
// words of the trade that name things (supplier) and a basis are text.
func Declared(name string) (number, known bool) {
	if of, ok := Companion(name); ok {
		if number, known = Declared(of); known && number {
			return true, true
		}
	}
	id, _ := trait.Split(name)
	if words[id] || strings.HasSuffix(id, "_basis") {
		return false, true
	}
	if t, ok := trait.Lookup(id); ok {
		return t.Role != trait.RoleKey, true
	}
	return false, false
}

// Read reads any CSV or workbook as a table. The lot stands in the column
// named by lot; if that is empty, in the column `lot`; if there is none, in the
// first. Several rows may share a lot. Columns are typed by GuessColumn; their
// names and figures stay as written: a header that is a trait in other words
// or another unit is only pointed out in a note.
//
// A row without a lot, or that the sheet cannot read, is refused by a finding.
// A text in a column of numbers leaves that cell empty, with a doubt. The error
// is sheet's if the file cannot be read, *ColumnError if the lot column is not
// there, *EmptyError if no row is left.
func Read(path, lot string) (*Table, finding.List, error) {
	s, err := sheet.Open(path, nil)
	if err != nil {
		return nil, nil, err
	}
	return FromSheet(s, lot)
}

// Parse is Read on bytes; name stands for the file in findings.
func Parse(name string, data []byte, lot string) (*Table, finding.List, error) {
	s, err := sheet.Read(name, data, nil)
	if err != nil {
		return nil, nil, err
	}
	return FromSheet(s, lot)
}

// EmptyError says that a table has no row to work with.
type EmptyError struct{ File string }

func (e *EmptyError) Error() string {
	return fmt.Sprintf("%s: found no usable row, expected a header and at least one row with a lot", e.File)
}

// FromSheet is Read on an opened sheet.
func FromSheet(s *sheet.Sheet, lot string) (*Table, finding.List, error) {
	fl := append(finding.List(nil), s.Findings()...)
	names, keep := uniqueNames(s, &fl)
	if len(keep) == 0 {
		return nil, fl, &EmptyError{s.File}
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
		if cell(row, key) == "" {
			fl.Add(finding.Finding{Code: "lot-missing", Severity: finding.Refused, At: s.Place(row, key), Found: "no lot",
				Want: "a lot in every row", Do: "fill the lot in, or name the column that tells the lot"})
			continue
		}
		rows = append(rows, row)
	}
	if len(rows) == 0 {
		return nil, fl, &EmptyError{s.File}
	}
	var columns []Column
	for _, k := range keep {
		columns = append(columns, readColumn(s, rows, k, names[k], k == key, &fl))
	}
	t, err := New(names[key], columns...)
	return t, fl, err
}

// uniqueNames gives every column of the sheet its name, and the columns to
// keep: a second column of one name is left out with a doubt.
func uniqueNames(s *sheet.Sheet, fl *finding.List) (names []string, keep []int) {
	seen := map[string]bool{}
	for k, c := range s.Columns {
		name := clean(c.Written)
		if name == "" {
			name = fmt.Sprintf("column_%d", k+1)
		}
		names = append(names, name)
		if seen[name] {
			fl.Add(finding.Finding{Code: "column-twice", Severity: finding.Doubt, At: finding.Place{File: s.File, Column: name},
				Found: fmt.Sprintf("the name again in column %d, which is left out", k+1), Want: "each name once", Do: "rename one of them"})
			continue
		}
		seen[name] = true
		keep = append(keep, k)
	}
	return names, keep
}

func lotColumn(names []string, keep []int, lot string) (int, error) {
	want := clean(lot)
	for _, k := range keep {
		if names[k] == want || want == "" && names[k] == "lot" {
			return k, nil
		}
	}
	if want != "" {
		return 0, &ColumnError{want, "no such column", "the column that tells the lot", trait.Near(want, names)}
	}
	return keep[0], nil
}

// readColumn reads column k of the rows. The lot column is text; declared
// columns take their type; others are numbers if every cell that is not empty is.
func readColumn(s *sheet.Sheet, rows []sheet.Row, k int, name string, isLot bool, fl *finding.List) Column {
	cells := make([]string, len(rows))
	for i, row := range rows {
		cells[i] = cell(row, k)
	}
	number, known := Declared(name)
	if isLot || known && !number {
		return TextColumn(name, cells)
	}
	values, present := make([]float64, len(rows)), make([]bool, len(rows))
	var bads finding.List
	good := 0
	for i, row := range rows {
		if cells[i] == "" {
			continue
		}
		v, ok, bad := s.Number(row, k)
		switch {
		case bad != nil:
			bads.Add(*bad)
		case ok && (known || !isCode(cells[i])):
			values[i], present[i] = v, true
			good++
		case ok: // a code such as 0012 makes an unknown column text
			return TextColumn(name, cells)
		}
	}
	if known {
		for _, bad := range bads {
			bad.Severity, bad.Do = finding.Doubt, "the cell counts as empty: write a number or leave it empty"
			fl.Add(bad)
		}
		return NumberColumn(name, values, present)
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
		return TextColumn(name, cells)
	}
	return NumberColumn(name, values, present)
}

func cell(row sheet.Row, k int) string {
	if k >= len(row.Cells) {
		return ""
	}
	return clean(row.Cells[k])
}
