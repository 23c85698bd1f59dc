// Package intake takes a file of a laboratory apart into what a lab book keeps: the
// rows of one lot, test, run or reading together, under the name by which they are
// known again.
//
//  1. Recognise tells from its columns what a file is: lots, runs, curves, pasting
//     values, texture, bakes, production notes, control batches or events.
//  2. Read reads the file by the readers that the join uses. What they refuse is
//     refused; of the rest each Unit has its rows in canonical form: the glossary's
//     names and units, decimal points, dates as 2006-01-02. A cell that could not be
//     read stays as written, and is doubted again wherever the unit is read.
//  3. Files puts units together again as files that every reader of the program
//     takes, each row at the place where the original had it.
//
// It refuses a file that it does not recognise. Whether a lot or a run is known, and
// whether a unit was there before, is not its business.
package intake

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"flourcast/dataset/baking"
	"flourcast/dataset/layout"
	"flourcast/dataset/method"
	"flourcast/dataset/protocol"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// Kind is what a file holds.
type Kind string

// The kinds of file.
const (
	Lots     Kind = "lots"
	Runs     Kind = "runs"
	Curves   Kind = "curves"
	Pasting  Kind = "pasting"
	Texture  Kind = "texture"
	Bakes    Kind = "bakes"
	Notes    Kind = "production"
	Controls Kind = "controls"
	Events   Kind = "events"
)

// File is a file to be taken in. Map may be nil. Method and Lot hold for curves that
// do not tell theirs; Methods, Protocols and BakeMethods are the laboratory's own.
type File struct {
	Name        string
	Data        []byte
	Map         *sheet.Map
	Method, Lot string
	Methods     []method.Method
	Protocols   []protocol.Protocol
	BakeMethods []baking.Method
	Cores       int
}

// Unit is what a lab book keeps as one row: one row of a file, or all points of one
// run. Key is what it is known by again among units of its kind; it is Named when
// the file itself tells it from others (a run, a replicate number), else the key is
// made of its content. Figures are what was worked out of it: the features of a
// curve, the readings of a force curve.
type Unit struct {
	Key, Lot, Product string `json:"-"`
	Run               string `json:"run,omitempty"`
	Named             bool   `json:"-"`
	Test              bool   `json:"-"` // a run of a control flour, which belongs to no lot

	Kind    Kind               `json:"kind"`
	File    string             `json:"file"`
	Columns []string           `json:"columns"`
	Rows    []int              `json:"rows"`
	Cells   [][]string         `json:"cells"`
	Figures map[string]float64 `json:"figures,omitempty"`
}

// Content is the cells of the unit by their columns, whatever their order: two units
// that say the same have one Content.
func (u Unit) Content() string {
	var b strings.Builder
	order := sortedColumns(u.Columns)
	for _, row := range u.Cells {
		for _, k := range order {
			if row[k] != "" {
				fmt.Fprintf(&b, "%q=%q;", u.Columns[k], row[k])
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// Taken is what came of a file. Read is accepted and refused rows together.
type Taken struct {
	Kind          Kind
	Units         []Unit
	Read, Refused int
	Findings      finding.List
}

// Read takes a file in. The error is of ctx; a file that cannot be used is refused by
// a finding.
func Read(ctx context.Context, f File) (Taken, error) {
	m := sheet.Map{}
	if f.Map != nil {
		m = *f.Map
	}
	m.Source = func(string) ([]byte, error) { return f.Data, nil }
	s, err := sheet.Read(f.Name, f.Data, &m)
	if err != nil {
		var fault *sheet.Error
		if errors.As(err, &fault) {
			return Taken{Findings: finding.List{fault.Finding()}}, nil
		}
		return Taken{}, err
	}
	kind, ok := Recognise(s)
	if !ok {
		return unrecognised(s), nil
	}
	t := taker{f: f, m: &m, s: s, grid: canonical(s), out: Taken{Kind: kind}}
	for range s.Rows() {
		t.out.Read++
	}
	if err := t.take(ctx, kind); err != nil {
		return Taken{}, err
	}
	kept := 0
	for _, u := range t.out.Units {
		kept += len(u.Rows)
	}
	t.out.Refused = t.out.Read - kept
	return t.out, nil
}

func unrecognised(s *sheet.Sheet) Taken {
	t := Taken{Findings: append(s.Findings(), s.HeaderFindings()...)}
	for range s.Rows() {
		t.Read++
	}
	t.Refused = t.Read
	var names []string
	for _, c := range s.Columns {
		names = append(names, c.Name)
	}
	t.Findings.Add(finding.Finding{Code: "file-not-recognised", Severity: finding.Refused, At: finding.Place{File: s.File}, Found: "columns " + strings.Join(names, ", "),
		Want: "columns of lots, runs, curves, pasting values, texture, bakes, production notes, control batches or events", Do: "name the columns as docs/files.md has them, or in an import map"})
	return t
}

// Place is where the unit stood first, in words.
func (u Unit) Place() string {
	return finding.Place{File: u.File, Row: u.Rows[0]}.String()
}

// canonicalLayout is how Files are written.
func canonicalLayout() layout.Layout {
	no := false
	return layout.Layout{Delimiter: ",", Decimal: ".", Encoding: "utf-8", UnitsRow: &no}
}

// identity is the key of a run among runs.
func identity(r *record.Run) string {
	id := r.Identity()
	return strings.Join(id[:], "\x1f")
}
