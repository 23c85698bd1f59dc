// Package grid gets rows of cells out of files: delimited text and workbooks, as
// laboratories have them.
//
//  1. Open tells what a file is by its bytes and refuses what is no table.
//  2. For text it finds the encoding (UTF-8, UTF-16, Windows-1252, with a byte
//     order mark or without) and the delimiter (comma, semicolon, tab).
//  3. Of a workbook it reads one worksheet by what is stored in the cells, not
//     by how they are shown.
//  4. Rows hands out one row after another, with its number in the file.
//
// Every line of a text that is not empty is in exactly one row. A quote that does
// not close spoils its own line and no other. A text is held in memory once and
// its rows are cut out of it when asked for.
package grid

import (
	"bytes"
	"fmt"
)

// Options say what is known about a file beforehand. The zero value: nothing.
type Options struct {
	Skip      int    // lines or sheet rows above the first row
	Encoding  string // one of the names of encodings, or empty
	Delimiter byte   // ',', ';', '\t' or 0
	Sheet     string // the worksheet; empty is the first
}

// Grid is one text or worksheet. Several goroutines may read it.
type Grid struct {
	Workbook  bool
	Date1904  bool   // a workbook that counts its days from 1904
	Name      string // the worksheet
	Encoding  string // of a text: "UTF-8", "UTF-16LE", "UTF-16BE" or "windows-1252"
	Delimiter byte   // of a text
	Remarks   []Remark

	open func(inPlace bool) Source
}

// Remark tells how a file was read. Doubt: a person should look.
type Remark struct {
	Code            string // stable, kebab-case
	Doubt           bool
	Found, Want, Do string
}

func (g *Grid) remark(r Remark) { g.Remarks = append(g.Remarks, r) }

// Row is one row. Number is its line, or sheet row, counted from 1. Cells have no
// outer blanks and quotes; those of a text are parts of it. Fault says what is
// wrong with the row's quotes, empty if nothing; the line is then one cell.
type Row struct {
	Number int
	Cells  []string
	Fault  string
}

// Blank reports a row without anything in it.
func (r Row) Blank() bool {
	for _, c := range r.Cells {
		if c != "" {
			return false
		}
	}
	return r.Fault == ""
}

// Source hands out one row after another, blank ones included; ok is false
// after the last.
type Source func() (row Row, ok bool)

// Rows begins a reading at the first row. inPlace is for whoever is done with a
// row before asking for the next: its cells are then overwritten. That makes no
// garbage, which for files of many short rows is a fifth of the work.
func (g *Grid) Rows(inPlace bool) Source { return g.open(inPlace) }

// Error says why no row of a file can be had, and what to do about it.
type Error struct {
	Code            string
	Row             int // 0: the whole file
	Found, Want, Do string
	Err             error // the cause when another package found it
}

func (e *Error) Error() string {
	return fmt.Sprintf("found %s; expected %s; %s", e.Found, e.Want, e.Do)
}

// Unwrap returns the cause, if any.
func (e *Error) Unwrap() error { return e.Err }

// Open reads a file's bytes: a workbook if they are one, else text. The error is
// an *Error.
func Open(data []byte, o Options) (*Grid, error) {
	refuse := func(code, found, want, do string) (*Grid, error) {
		return nil, &Error{Code: code, Found: found, Want: want, Do: do}
	}
	const table = "a CSV or XLSX file"
	head := bytes.ToLower(bytes.TrimSpace(bytes.TrimPrefix(data[:min(len(data), 512)], []byte("\xef\xbb\xbf"))))
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return refuse("file-empty", "an empty file", "a header and rows", "export it again")
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return refuse("file-kind", "a binary workbook (.xls) or one with a password", table, "save it as .xlsx without a password, or as CSV")
	case bytes.HasPrefix(head, []byte("%pdf")):
		return refuse("file-kind", "a PDF", table, "export the figures as CSV or XLSX")
	case bytes.HasPrefix(head, []byte("<")):
		return refuse("file-kind", "a web page or XML document", table, "open it in a spreadsheet program and save it as .xlsx or CSV")
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return openWorkbook(data, o)
	}
	return openText(data, o)
}
