package grid

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// The most that a workbook may unpack to, and the most cells one worksheet may
// have: a small file can claim to hold gigabytes.
const (
	maxUnpacked = 256 << 20
	maxCells    = 20_000_000
)

// openWorkbook reads one worksheet. A number, a date or a formula's last value
// comes as it is stored: 12.3456 shown as 12.3 is 12.3456.
func openWorkbook(data []byte, o Options) (g *Grid, err error) {
	defer func() { // a damaged workbook must never end the program
		if p := recover(); p != nil {
			g, err = nil, damaged(fmt.Errorf("%v", p))
		}
	}()
	if err := unpacks(data, maxUnpacked); err != nil {
		return nil, err
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: maxUnpacked})
	if err != nil {
		return nil, damaged(err)
	}
	defer f.Close()
	names := f.GetSheetList()
	if len(names) == 0 {
		return nil, damaged(fmt.Errorf("it has no worksheet"))
	}
	g = &Grid{Workbook: true, Name: names[0]}
	switch {
	case o.Sheet != "" && !slices.Contains(names, o.Sheet):
		return nil, &Error{Code: "sheet-not-there", Found: "no worksheet " + o.Sheet, Want: "one of " + strings.Join(names, ", "), Do: "correct sheet in the import map"}
	case o.Sheet != "":
		g.Name = o.Sheet
	case len(names) > 1:
		g.remark(Remark{Code: "sheet-first", Found: fmt.Sprintf("worksheet %s, the first of %d", g.Name, len(names)), Do: "for another one declare sheet in an import map"})
	}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		g.Date1904 = *props.Date1904
	}
	rows, err := readRows(f, g.Name, o.Skip)
	if err != nil {
		return nil, err
	}
	g.findUncomputed(f, rows)
	g.open = func(bool) Source {
		i := 0
		return func() (Row, bool) {
			if i == len(rows) {
				return Row{}, false
			}
			i++
			return rows[i-1], true
		}
	}
	return g, nil
}

func damaged(cause error) error {
	return &Error{Code: "file-damaged", Found: "no readable workbook: " + cause.Error(), Want: "an XLSX workbook", Do: "open it and save it again, without a password", Err: cause}
}

// readRows reads the rows that have cells.
func readRows(f *excelize.File, sheet string, skip int) ([]Row, error) {
	rows, err := f.Rows(sheet)
	if err != nil {
		return nil, damaged(err)
	}
	defer rows.Close()
	var out []Row
	cells := 0
	for number := 1; rows.Next(); number++ {
		columns, err := rows.Columns(excelize.Options{RawCellValue: true})
		if err != nil {
			return nil, damaged(err)
		}
		if cells += len(columns); cells > maxCells {
			return nil, &Error{Code: "file-too-large", Found: fmt.Sprintf("a worksheet of more than %d cells", maxCells), Want: "less", Do: "save the sheet as CSV"}
		}
		if number <= skip || len(columns) == 0 {
			continue
		}
		for i, c := range columns {
			columns[i] = trim(c)
		}
		out = append(out, Row{Number: number, Cells: slices.Clone(columns)})
	}
	if err := rows.Error(); err != nil {
		return nil, damaged(err)
	}
	return out, nil
}

// findUncomputed raises a doubt for formulas without a stored value, which
// programs that write workbooks without computing them leave: such cells read
// as empty.
func (g *Grid) findUncomputed(f *excelize.File, rows []Row) {
	formulas, width := false, 0
	f.Pkg.Range(func(name, part any) bool {
		b, ok := part.([]byte)
		formulas = ok && strings.HasPrefix(name.(string), "xl/worksheets/") && (bytes.Contains(b, []byte("<f>")) || bytes.Contains(b, []byte("<f ")))
		return !formulas
	})
	for _, row := range rows {
		width = max(width, len(row.Cells))
	}
	if !formulas {
		return
	}
	count, first := 0, ""
	for _, row := range rows {
		for i := range width {
			if i < len(row.Cells) && row.Cells[i] != "" {
				continue
			}
			at, err := excelize.CoordinatesToCellName(i+1, row.Number)
			if err != nil {
				continue
			}
			if formula, err := f.GetCellFormula(g.Name, at); err == nil && formula != "" {
				if count++; count == 1 {
					first = at
				}
			}
		}
	}
	if count > 0 {
		g.remark(Remark{Code: "formula-no-value", Doubt: true, Found: fmt.Sprintf("%d formulas without a stored value, the first in %s", count, first), Want: "computed values",
			Do: "open and save the workbook in a spreadsheet program, or save it as CSV; the cells read as empty"})
	}
}
