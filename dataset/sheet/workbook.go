package sheet

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"flourcast/dataset/trait"
)

// The most that a workbook may unpack to, and the most cells one worksheet may
// have: a small file can claim to hold gigabytes.
const (
	maxUnpacked = 256 << 20
	maxCells    = 20_000_000
)

func isWorkbook(data []byte) bool { return bytes.HasPrefix(data, []byte("PK\x03\x04")) }

// openWorkbook reads one worksheet: the import map's, else the first. Cells come
// by what is stored, not by how it is shown: 12.3456 shown as 12.3 is 12.3456,
// a date is a count of days, a formula is its last computed value.
func (s *Sheet) openWorkbook(data []byte, lay Layout) (err error) {
	fail := func(code, found, want, do string, cause error) error {
		return &Error{File: s.File, Code: code, Found: found, Want: want, Do: do, Err: cause}
	}
	defer func() { // a damaged workbook must never end the program
		if p := recover(); p != nil {
			err = fail("file-damaged", fmt.Sprint("a damaged workbook: ", p), "an XLSX workbook", "save it again", nil)
		}
	}()
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: maxUnpacked})
	if err != nil {
		if strings.Contains(err.Error(), "unzip size exceeds") {
			return fail("file-too-large", fmt.Sprintf("a workbook that unpacks to more than %d MB", maxUnpacked>>20), "less", "save the sheet as CSV", err)
		}
		return fail("file-damaged", "no readable workbook: "+err.Error(), "an XLSX workbook", "open and save it again, without a password", err)
	}
	defer f.Close()
	names := f.GetSheetList()
	if len(names) == 0 {
		return fail("file-empty", "a workbook without worksheets", "a worksheet", "save it again", nil)
	}
	s.workbook, s.Name = true, names[0]
	switch {
	case lay.Sheet != "" && !slices.Contains(names, lay.Sheet):
		want := strings.Join(names, ", ")
		if near := trait.Near(lay.Sheet, names); len(near) > 0 {
			want = strings.Join(near, " or ")
		}
		return fail("sheet-not-there", "no worksheet "+lay.Sheet, want, "correct sheet in the import map", nil)
	case lay.Sheet != "":
		s.Name = lay.Sheet
	case len(names) > 1:
		s.note("sheet-first", fmt.Sprintf("worksheet %s, the first of %d", s.Name, len(names)), "another one: declare sheet in an import map")
	}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		s.date1904 = *props.Date1904
	}
	grid, err := s.readGrid(f, lay.SkipRows)
	if err != nil {
		return err
	}
	s.rows = func() source {
		i := 0
		return func() (rawRow, bool) {
			if i == len(grid) {
				return rawRow{}, false
			}
			i++
			return grid[i-1], true
		}
	}
	return nil
}

// readGrid reads the worksheet's rows that are not empty.
func (s *Sheet) readGrid(f *excelize.File, skip int) ([]rawRow, error) {
	rows, err := f.Rows(s.Name)
	if err != nil {
		return nil, &Error{File: s.File, Code: "file-damaged", Found: err.Error(), Want: "a worksheet", Do: "save the workbook again", Err: err}
	}
	defer rows.Close()
	var grid []rawRow
	cells := 0
	for number := 1; rows.Next(); number++ {
		columns, err := rows.Columns(excelize.Options{RawCellValue: true})
		if err != nil {
			return nil, &Error{File: s.File, Row: number, Code: "file-damaged", Found: err.Error(), Want: "a worksheet", Do: "save the workbook again", Err: err}
		}
		if cells += len(columns); cells > maxCells {
			return nil, &Error{File: s.File, Code: "file-too-large", Found: fmt.Sprintf("a worksheet of more than %d cells", maxCells), Want: "less", Do: "save the sheet as CSV"}
		}
		if number <= skip {
			continue
		}
		for i, c := range columns {
			columns[i] = trim(c)
		}
		if len(columns) > 0 { // a row of formulas without values has cells too
			grid = append(grid, rawRow{number: number, cells: slices.Clone(columns)})
		}
	}
	if err := rows.Error(); err != nil {
		return nil, &Error{File: s.File, Code: "file-damaged", Found: err.Error(), Want: "a worksheet", Do: "save the workbook again", Err: err}
	}
	s.findUncomputed(f, grid)
	return grid, nil
}

// findUncomputed raises a doubt for formulas without a stored value, which
// programs that write workbooks without computing them leave: such cells read
// as empty.
func (s *Sheet) findUncomputed(f *excelize.File, grid []rawRow) {
	formulas := false
	f.Pkg.Range(func(name, part any) bool {
		b, ok := part.([]byte)
		formulas = ok && strings.HasPrefix(name.(string), "xl/worksheets/") && (bytes.Contains(b, []byte("<f>")) || bytes.Contains(b, []byte("<f ")))
		return !formulas
	})
	if !formulas {
		return
	}
	count, first, width := 0, "", 0
	for _, row := range grid {
		width = max(width, len(row.cells))
	}
	for _, row := range grid {
		for i := range width {
			if i < len(row.cells) && row.cells[i] != "" {
				continue
			}
			at, err := excelize.CoordinatesToCellName(i+1, row.number)
			if err != nil {
				continue
			}
			if formula, err := f.GetCellFormula(s.Name, at); err == nil && formula != "" {
				if count++; count == 1 {
					first = at
				}
			}
		}
	}
	if count > 0 {
		s.doubt("formula-no-value", fmt.Sprintf("%d formulas without a stored value, the first in %s", count, first), "computed values",
			"open and save the workbook in a spreadsheet program, or save it as CSV; the cells read as empty")
	}
}
