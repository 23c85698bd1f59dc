package sheet

import "flourcast/finding"

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
