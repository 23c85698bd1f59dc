// Package finding says what is wrong or doubtful in data, where it stands, and
// what to do about it.
//
// A finding is a value, never a log line. It travels inside results, and every
// face (terminal, JSON, page) prints the same words:
//
//  1. a reader or a computation makes a Finding at a Place,
//  2. results carry a List,
//  3. renderers show it; nothing below them knows how.
//
// The package refuses nothing and decides nothing: whether a doubt stops the
// work is the caller's policy.
package finding

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// Severity tells what became of the row, run or figure that a finding names.
type Severity string

// Severities, from the heaviest to the lightest.
const (
	// Refused: the row or file is not used. It is counted and named.
	Refused Severity = "refused"
	// Doubt: it is used, and a person should look before trusting it.
	Doubt Severity = "doubt"
	// Note: it is used, and this is how it was read.
	Note Severity = "note"
)

// Place is a cell, a row or a whole file. Row counts the file's own lines or
// sheet rows from 1, the header included; 0 means the whole file. Column is
// the header as written; empty means the whole row.
type Place struct {
	File   string
	Row    int
	Column string
}

// String writes the place as a person would say it: "june.csv, row 14, column Hardness".
func (p Place) String() string {
	var parts []string
	if p.File != "" {
		parts = append(parts, p.File)
	}
	if p.Row > 0 {
		parts = append(parts, fmt.Sprintf("row %d", p.Row))
	}
	if p.Column != "" {
		parts = append(parts, "column "+p.Column)
	}
	return strings.Join(parts, ", ")
}

// Finding is one thing wrong or doubtful. Code is a stable kebab-case name for
// scripts ("unit-unknown"); Found is what stood there, Want what was expected,
// Do what the user can do about it. Want and Do may be empty for a Note.
type Finding struct {
	Code     string
	Severity Severity
	At       Place
	Found    string
	Want     string
	Do       string
}

// String is the finding in one line: place, found, expected, cure, code.
func (f Finding) String() string {
	var b strings.Builder
	if at := f.At.String(); at != "" {
		b.WriteString(at)
		b.WriteString(": ")
	}
	b.WriteString(f.Found)
	if f.Want != "" {
		b.WriteString("; expected ")
		b.WriteString(f.Want)
	}
	if f.Do != "" {
		b.WriteString("; ")
		b.WriteString(f.Do)
	}
	fmt.Fprintf(&b, " [%s]", f.Code)
	return b.String()
}

// flat is the one JSON shape of a finding: code, severity, file, row, column, found, want, do.
type flat struct {
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	File     string   `json:"file"`
	Row      int      `json:"row"`
	Column   string   `json:"column"`
	Found    string   `json:"found"`
	Want     string   `json:"want"`
	Do       string   `json:"do"`
}

// MarshalJSON writes the finding as one flat object.
func (f Finding) MarshalJSON() ([]byte, error) {
	return json.Marshal(flat{f.Code, f.Severity, f.At.File, f.At.Row, f.At.Column, f.Found, f.Want, f.Do})
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (f *Finding) UnmarshalJSON(data []byte) error {
	var s flat
	if err := json.Unmarshal(data, &s); err != nil {
		return err
	}
	*f = Finding{s.Code, s.Severity, Place{s.File, s.Row, s.Column}, s.Found, s.Want, s.Do}
	return nil
}

// List is findings in the order in which they were met.
type List []Finding

// MarshalJSON writes a nil list as [], so that scripts can always index it.
func (l List) MarshalJSON() ([]byte, error) {
	if l == nil {
		return []byte("[]"), nil
	}
	return json.Marshal([]Finding(l))
}

// Add appends one finding.
func (l *List) Add(f Finding) { *l = append(*l, f) }

// Count returns how many findings have the severity.
func (l List) Count(s Severity) int {
	n := 0
	for _, f := range l {
		if f.Severity == s {
			n++
		}
	}
	return n
}

// Has reports whether a finding with the code is in the list.
func (l List) Has(code string) bool {
	return slices.ContainsFunc(l, func(f Finding) bool { return f.Code == code })
}

// With returns the findings of one severity, in order.
func (l List) With(s Severity) List {
	var out List
	for _, f := range l {
		if f.Severity == s {
			out = append(out, f)
		}
	}
	return out
}
