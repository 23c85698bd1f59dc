// Package sheet reads CSV and XLSX files as laboratories have them and hands
// out rows of text with their place.
//
//  1. Read finds out what the file is: workbook or text, encoding, delimiter,
//     decimal mark, header, a row of units. An import map, written by the
//     laboratory, overrides each of these.
//  2. Every column header is looked up in the glossary (package trait); what
//     could not be understood is a finding, not a guess.
//  3. Rows yields each non-empty row once, with its number in the file, or with
//     a finding that says why it cannot be used. Nothing is dropped.
//  4. Text, Number, Value and Date read one cell, or say what is wrong with it.
//
// It refuses files that are no table (PDF, old binary workbooks, web pages),
// workbooks that unpack to more than a stated size, quotes that do not close,
// rows with more or fewer cells than the header, and two columns of one name.
// What the columns are for is not its business.
//
// A text file is held in memory once and its rows are cut out of it lazily, so
// reading costs little more than the file's own size. Cells are parts of that
// memory: clone a cell to keep it longer than the sheet.
package sheet

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"os"
	"slices"
	"strings"

	"flourcast/dataset/cell"
	"flourcast/dataset/grid"
	"flourcast/dataset/layout"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Sheet is one text file, or one worksheet of a workbook, opened for reading.
// It does not change after Read, so several goroutines may use it.
type Sheet struct {
	File      string // path or name as given
	SHA256    string // of the file's bytes, in hexadecimal
	Name      string // the worksheet; empty for a text file
	Encoding  string // "UTF-8", "UTF-16LE", "UTF-16BE" or "windows-1252"; empty for a workbook
	Delimiter byte   // ',', ';' or '\t'; 0 for a workbook
	Decimal   byte   // '.' or ','
	Columns   []Column

	marks    cell.Marks
	date1904 bool   // the workbook counts days from 1904
	dates    string // "d/m/y" or "m/d/y" as declared by the map
	rows     func(inPlace bool) grid.Source
	width    int   // cells of a row in the file, by its header
	pick     []int // file column of each sheet column; nil: the same, −1: added by the map
	added    []string
	aliases  []map[string]string // by column: what is written → what it is called
	usable   []bool              // by column: named once
	headers  []trait.Header
	known    []bool // by column: headers[i] holds
	same     []bool // by column: written in its trait's own unit and sign
	plain    []bool // by column: same, and a plain number in it is the figure
	findings finding.List
	doubts   finding.List // about headers
}

// Column is one column of a sheet.
type Column struct {
	Written string  // header as in the file; empty for a column that the import map adds
	Unit    string  // from the row of units or the import map; else ""
	Name    string  // what the import map calls it, else Written
	Factor  float64 // declared by the import map: figures are multiplied by it; 0 is none

	declared bool // named by the import map
}

// Row is one row of the file. Number is its line (a workbook's row), counted
// from 1 with everything above it. Cells has one entry per Sheet.Columns,
// without outer blanks.
type Row struct {
	Number int
	Cells  []string
}

// Map is an import map, as package layout describes it.
type Map = layout.Map

// maxFile is the most that is read of one file, in bytes.
const maxFile = 1 << 30

// Open reads the file at path as Read does, from the map's Source if it has one. m
// may be nil.
func Open(path string, m *Map) (*Sheet, error) {
	if m != nil && m.Source != nil {
		data, err := m.Source(path)
		if err != nil {
			return nil, err
		}
		return Read(path, data, m)
	}
	info, err := os.Stat(path)
	if err == nil && info.Size() > maxFile {
		return nil, tooLarge(path)
	}
	var data []byte
	if err == nil {
		data, err = os.ReadFile(path)
	}
	if err != nil {
		return nil, &Error{File: path, Code: "file-not-opened", Found: err.Error(), Want: "a file that can be read", Do: "check path and permissions", Err: err}
	}
	return Read(path, data, m)
}

func tooLarge(name string) error {
	return &Error{File: name, Code: "file-too-large", Found: fmt.Sprintf("more than %d MB", maxFile>>20), Want: "less", Do: "split the file"}
}

// Read reads a file's bytes: a workbook if they are one, else text. name is used
// in places and matched by the import map, which may be nil. The error is an
// *Error and means that no row at all can be had; everything else is a finding.
func Read(name string, data []byte, m *Map) (*Sheet, error) {
	if len(data) > maxFile {
		return nil, tooLarge(name)
	}
	lay := m.For(name)
	g, err := grid.Open(data, grid.Options{Skip: lay.SkipRows, Encoding: lay.Encoding, Delimiter: delimiter(lay.Delimiter), Sheet: lay.Sheet})
	var fault *grid.Error
	if errors.As(err, &fault) {
		return nil, &Error{name, fault.Row, fault.Code, fault.Found, fault.Want, fault.Do, fault.Err}
	}
	sum := sha256.Sum256(data)
	s := &Sheet{File: name, SHA256: hex.EncodeToString(sum[:]), Name: g.Name, Encoding: g.Encoding, Delimiter: g.Delimiter,
		rows: g.Rows, marks: cell.Marks{Stored: g.Workbook}, date1904: g.Date1904, dates: lay.Dates}
	for _, r := range g.Remarks {
		if r.Doubt {
			s.doubt(r.Code, r.Found, r.Want, r.Do)
		} else {
			s.note(r.Code, r.Found, r.Do)
		}
	}
	if err := s.readHead(lay, m); err != nil {
		return nil, err
	}
	s.marks = s.findMarks(lay.Decimal)
	s.Decimal = s.marks.Decimal
	return s, nil
}

// delimiter is the one that an import map names, or 0.
func delimiter(name string) byte {
	switch name {
	case "":
		return 0
	case "tab":
		return '\t'
	}
	return name[0]
}

// findMarks settles the decimal mark from the file's own numbers, in columns
// that may hold any. Where all of them could be thousands, the delimiter decides
// and a doubt is raised.
func (s *Sheet) findMarks(declared string) cell.Marks {
	m := cell.Marks{Decimal: '.', Stored: s.marks.Stored}
	switch {
	case declared != "":
		m.Decimal = declared[0]
		return m
	case m.Stored:
		return m
	}
	var t cell.Tally
	for row, bad := range s.RowsInPlace() {
		if bad != nil {
			continue
		}
		for i, text := range row.Cells {
			if text == "" || s.known[i] && !s.headers[i].Trait.Numeric() || s.pick != nil && s.pick[i] < 0 {
				continue
			}
			v := cell.Judge(text)
			if v == cell.Either && s.Delimiter == ',' && strings.IndexByte(text, '.') >= 0 {
				v = cell.Point // where commas part the cells, points part the decimals
			}
			t.Add(v, func() string { return fmt.Sprintf("%q in row %d, column %s", text, row.Number, s.Columns[i].shown()) })
		}
		if t.Settled() {
			break
		}
	}
	points, commas := t.Count[cell.Point], t.Count[cell.Comma]
	if commas > points || points+commas == 0 && s.Delimiter == ';' && t.Count[cell.Either] > 0 {
		m.Decimal = ','
	}
	do := "declare decimal in an import map; read with a decimal " + cell.MarkName(m.Decimal)
	switch {
	case points > 0 && commas > 0:
		m.Mixed = true
		s.doubt("decimal-mixed", "decimal point as in "+t.First[cell.Point]+" and decimal comma as in "+t.First[cell.Comma], "one decimal mark", do+", other cells are refused")
	case commas > 0:
		s.note("decimal-comma", "decimal comma, as in "+t.First[cell.Comma], "")
	case points == 0 && t.Count[cell.Either] > 0:
		s.doubt("decimal-unclear", t.First[cell.Either]+" can be a thousandfold of what it seems", "a number that shows the decimal mark", do)
	}
	return m
}

// Rows yields every non-empty row below the header in file order. A row that
// cannot be used comes with a refused finding, and its cells are what could be
// made out of it. Rows may be called again, and yields the same.
func (s *Sheet) Rows() iter.Seq2[Row, *finding.Finding] { return s.each(false) }

// RowsInPlace is Rows for files of many rows: the next overwrites the cells of a row.
func (s *Sheet) RowsInPlace() iter.Seq2[Row, *finding.Finding] { return s.each(true) }

func (s *Sheet) each(inPlace bool) iter.Seq2[Row, *finding.Finding] {
	return func(yield func(Row, *finding.Finding) bool) {
		next, cells := s.rows(inPlace), []string(nil) // cells of the row before, when they may be overwritten
		for raw, ok := next(); ok; raw, ok = next() {
			if raw.Blank() {
				continue
			}
			row := Row{raw.Number, s.cells(raw.Cells, cells)}
			if inPlace && (s.pick != nil || s.aliases != nil) {
				cells = row.Cells
			}
			if !yield(row, s.check(row, raw)) {
				return
			}
		}
	}
}

// cells brings a raw row to the sheet's columns: picked, filled up, aliased. They
// are put into the memory of spare where it has any.
func (s *Sheet) cells(raw, spare []string) []string {
	out := raw
	if s.pick != nil || s.aliases != nil || len(raw) != len(s.Columns) {
		if out = spare; out == nil {
			out = make([]string, len(s.Columns))
		}
		for i := range out {
			at := i
			if s.pick != nil {
				at = s.pick[i]
			}
			switch {
			case at < 0:
				out[i] = s.added[i]
			case at < len(raw):
				out[i] = raw[at]
			default:
				out[i] = ""
			}
		}
	}
	for i, names := range s.aliases {
		if called, ok := names[out[i]]; ok {
			out[i] = called
		}
	}
	return out
}

// check refuses a row with faulty quotes or with more or fewer cells than the
// header. Empty cells at the end do not count as more.
func (s *Sheet) check(row Row, raw grid.Row) *finding.Finding {
	n := len(raw.Cells)
	for n > s.width && raw.Cells[n-1] == "" {
		n--
	}
	if raw.Fault == "" && (n == s.width || s.marks.Stored && n < s.width) {
		return nil
	}
	f := &finding.Finding{Severity: finding.Refused, At: s.Place(row, -1)}
	if raw.Fault != "" {
		f.Code, f.Found, f.Want = "quote-not-closed", raw.Fault, `text in pairs of "`
		f.Do = `close the quote, or write "" for a quote within quotes`
		return f
	}
	f.Code, f.Found, f.Want = "row-ragged", fmt.Sprintf("%d cells", n), fmt.Sprintf("%d as in the header", s.width)
	switch {
	case n < s.width:
		f.Do = "complete the row; the file may have been cut off"
	case s.Delimiter == ',':
		f.Do = "put text with commas and decimal commas in quotes, or export with semicolons; if the header stands further down, declare skip_rows in an import map"
	default:
		f.Do = "name every column in the header; if the header stands further down, declare skip_rows in an import map"
	}
	return f
}

// Place is where a cell stands; col −1 is the whole row.
func (s *Sheet) Place(row Row, col int) finding.Place {
	p := finding.Place{File: s.File, Row: row.Number}
	if col >= 0 && col < len(s.Columns) {
		p.Column = s.Columns[col].shown()
	}
	return p
}

func (c Column) shown() string {
	if c.Written != "" {
		return c.Written
	}
	return c.Name
}

// Findings tells how the file was read (notes: encoding, decimal comma, row of
// units) and what was doubtful or refused in that.
func (s *Sheet) Findings() finding.List { return slices.Clone(s.findings) }

func (s *Sheet) note(code, found, do string) {
	s.findings.Add(finding.Finding{Code: code, Severity: finding.Note, At: finding.Place{File: s.File}, Found: found, Do: do})
}

func (s *Sheet) doubt(code, found, want, do string) {
	s.findings.Add(finding.Finding{Code: code, Severity: finding.Doubt, At: finding.Place{File: s.File}, Found: found, Want: want, Do: do})
}
