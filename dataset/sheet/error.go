package sheet

import (
	"bytes"

	"flourcast/finding"
)

// Error says that no row of a file can be read, and what to do about it.
type Error struct {
	File  string
	Row   int    // 0: the whole file
	Code  string // stable, as a finding's: "file-empty"
	Found string
	Want  string
	Do    string
	Err   error // the cause when another package found it
}

func (e *Error) Error() string { return e.Finding().String() }

// Unwrap returns the cause, if any.
func (e *Error) Unwrap() error { return e.Err }

// Finding is the error as a refused finding.
func (e *Error) Finding() finding.Finding {
	return finding.Finding{Code: e.Code, Severity: finding.Refused, At: finding.Place{File: e.File, Row: e.Row}, Found: e.Found, Want: e.Want, Do: e.Do}
}

// notATable refuses by their first bytes kinds of file that people mistake for
// a table, with the way to turn each into one.
func notATable(name string, data []byte) error {
	refuse := func(code, found, do string) error {
		return &Error{File: name, Code: code, Found: found, Want: "a CSV or XLSX file", Do: do}
	}
	head := bytes.ToLower(bytes.TrimSpace(bytes.TrimPrefix(data[:min(len(data), 512)], []byte("\xef\xbb\xbf"))))
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return &Error{File: name, Code: "file-empty", Found: "an empty file", Want: "a header and rows", Do: "export it again"}
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return refuse("file-kind", "a binary workbook (.xls) or one with a password", "save it as .xlsx without a password, or as CSV")
	case bytes.HasPrefix(head, []byte("%pdf")):
		return refuse("file-kind", "a PDF", "export the figures as CSV or XLSX")
	case bytes.HasPrefix(head, []byte("<")):
		return refuse("file-kind", "a web page or XML document", "open it in a spreadsheet program and save it as .xlsx or CSV")
	}
	return nil
}
