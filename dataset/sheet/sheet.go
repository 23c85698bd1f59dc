// Package sheet reads CSV and XLSX files as laboratories have them: rows of
// text with their place, or a finding that says what is wrong.
package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"io"
	"iter"
	"os"
	"strconv"
	"strings"
	"time"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Sheet is one file (or one worksheet) opened for reading.
type Sheet struct {
	File      string // path or name as given
	SHA256    string // of the file's bytes, hexadecimal
	Name      string // worksheet, empty for CSV
	Encoding  string // "UTF-8", "UTF-16LE" …; empty for XLSX
	Delimiter byte   // ',', ';' or '\t'; 0 for XLSX
	Decimal   byte   // '.' or ','
	Columns   []Column

	headers  []trait.Header
	known    []bool
	rows     []Row
	findings finding.List
}

// Column is one column. Name is the name the import map gives it, else Written.
type Column struct {
	Written string // header as in the file; empty for a column that the map adds
	Unit    string // from a units row or the map, else ""
	Name    string
}

// Row is one line or sheet row. Number counts from 1, header included. Cells
// has one entry a column (see Sheet.Columns), trimmed of outer blanks.
type Row struct {
	Number int
	Cells  []string
}

// Error says that a file could not be read at all, and what to do about it.
type Error struct {
	File  string
	Code  string // kebab-case, as a finding's code
	Found string
	Want  string
	Do    string
	Err   error // the cause, if another package found it
}

func (e *Error) Error() string { return e.Finding().String() }

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Finding is the error as a refused finding for the whole file.
func (e *Error) Finding() finding.Finding {
	return finding.Finding{Code: e.Code, Severity: finding.Refused, At: finding.Place{File: e.File}, Found: e.Found, Want: e.Want, Do: e.Do}
}

// Open reads a file by its content, CSV or XLSX. m may be nil.
func Open(path string, m *Map) (*Sheet, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, &Error{File: path, Code: "file-unreadable", Found: err.Error(), Err: err}
	}
	return Read(path, data, m)
}

// Read is Open for bytes in memory. data must not be changed afterwards.
func Read(name string, data []byte, m *Map) (*Sheet, error) {
	sum := sha256.Sum256(data)
	s := &Sheet{File: name, SHA256: hex.EncodeToString(sum[:]), Decimal: '.', Delimiter: ',', Encoding: "UTF-8"}
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord = -1
	header, err := r.Read()
	if err != nil {
		return nil, &Error{File: name, Code: "file-empty", Found: "no header", Err: err}
	}
	for _, h := range header {
		s.Columns = append(s.Columns, Column{Written: h, Name: h})
		t, err := trait.ParseHeader(h, "")
		s.headers = append(s.headers, t)
		s.known = append(s.known, err == nil)
	}
	for {
		rec, err := r.Read()
		if err == io.EOF {
			return s, nil
		}
		line, _ := r.FieldPos(0)
		s.rows = append(s.rows, Row{Number: line, Cells: rec})
	}
}

// Rows yields every non-empty row after the header, in file order. A row that
// cannot be used comes with a refused finding; its cells are then only what
// could be made out.
func (s *Sheet) Rows() iter.Seq2[Row, *finding.Finding] {
	return func(yield func(Row, *finding.Finding) bool) {
		for _, r := range s.rows {
			var bad *finding.Finding
			if len(r.Cells) != len(s.Columns) {
				bad = &finding.Finding{Code: "row-ragged", Severity: finding.Refused, At: s.Place(r, -1), Found: fmt.Sprint(len(r.Cells), " cells")}
			}
			if !yield(r, bad) {
				return
			}
		}
	}
}

// Place is where a cell stands; col −1 is the whole row.
func (s *Sheet) Place(row Row, col int) finding.Place {
	p := finding.Place{File: s.File, Row: row.Number}
	if col >= 0 && col < len(s.Columns) {
		p.Column = s.Columns[col].Written
	}
	return p
}

// Findings tells how the file was read: encoding, decimal mark, units row
// (notes), and what was doubtful about it.
func (s *Sheet) Findings() finding.List { return s.findings }

// Column returns the index of the column that holds a trait, by the trait's id
// ("peak_mPas", "lot"), or −1.
func (s *Sheet) Column(id string) int {
	for i, h := range s.headers {
		if s.known[i] && h.Trait.ID == id {
			return i
		}
	}
	return -1
}

// Header returns what column i was understood as; ok is false for a column
// that is not in the glossary, or whose unit cannot be used.
func (s *Sheet) Header(col int) (h trait.Header, ok bool) { return s.headers[col], s.known[col] }

// HeaderFindings tells what was wrong or doubtful about the headers: unknown
// names with proposals, units missing, unknown or arbitrary, a bare setback.
func (s *Sheet) HeaderFindings() finding.List { return nil }

// Text is a cell as text; ok is false when it is empty or col is −1.
func (s *Sheet) Text(row Row, col int) (text string, ok bool) {
	if col < 0 || col >= len(row.Cells) || row.Cells[col] == "" {
		return "", false
	}
	return row.Cells[col], true
}

// Number is a cell as a number, in the unit it is written in. Empty: ok false,
// bad nil. Text in a number: ok false, bad says so.
func (s *Sheet) Number(row Row, col int) (v float64, ok bool, bad *finding.Finding) {
	text, ok := s.Text(row, col)
	if !ok {
		return 0, false, nil
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		return 0, false, &finding.Finding{Code: "number-not-read", Severity: finding.Refused, At: s.Place(row, col), Found: text, Want: "a number"}
	}
	return v, true, nil
}

// Value is Number brought to the unit of the column's trait.
func (s *Sheet) Value(row Row, col int) (v float64, ok bool, bad *finding.Finding) {
	v, ok, bad = s.Number(row, col)
	if ok && s.known[col] {
		v = s.headers[col].Convert(v)
	}
	return v, ok, bad
}

// Date is a cell as a day or moment (UTC; the file's own clock time).
func (s *Sheet) Date(row Row, col int) (t time.Time, ok bool, bad *finding.Finding) {
	text, ok := s.Text(row, col)
	if !ok {
		return time.Time{}, false, nil
	}
	t, err := time.Parse("2006-01-02", text)
	if err != nil {
		return time.Time{}, false, &finding.Finding{Code: "date-not-read", Severity: finding.Refused, At: s.Place(row, col), Found: text, Want: "a date"}
	}
	return t, true, nil
}
