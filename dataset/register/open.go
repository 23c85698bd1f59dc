// Package register reads what a laboratory knows before it measures: its lots
// and the runs made of them.
//
//  1. ReadLots reads lots files row by row. Own figures of this lot, claims of
//     others and typical figures are kept apart; protein, ash and their like are
//     brought to 14 % moisture where the basis and moisture allow it.
//  2. Lots answers by lot: words, figures, claims, products, and the family of
//     lots that share a parent.
//  3. ReadRuns reads runs files: which test of which lot, by which method, of
//     which kind, valid or void; Run.Solids is the flour weighed in as dry matter.
//
// It refuses a row without a lot, a lot or run entered twice, and a kind or
// status that it does not know. A figure that cannot be read is left out with a
// doubt; nothing is guessed. It has no curves and no results.
package register

import (
	"errors"
	"io/fs"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// Counts are file rows: Read is always Accepted + Waiting + Refused.
type Counts struct {
	Read     int `json:"read"`
	Accepted int `json:"accepted"`
	Waiting  int `json:"waiting"`
	Refused  int `json:"refused"`
}

// Add returns the sum of two counts.
func (c Counts) Add(o Counts) Counts {
	return Counts{c.Read + o.Read, c.Accepted + o.Accepted, c.Waiting + o.Waiting, c.Refused + o.Refused}
}

// Open opens a file for one of the readers. A file that is there but cannot be
// read as rows is refused by a finding (ok false); one that is not there, or may
// not be opened, is an error.
func Open(path string, m *sheet.Map, fl *finding.List) (s *sheet.Sheet, ok bool, err error) {
	s, err = sheet.Open(path, m)
	var unreadable *sheet.Error
	var system *fs.PathError
	if errors.As(err, &unreadable) && !errors.As(err, &system) {
		fl.Add(unreadable.Finding())
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	*fl = append(*fl, s.Findings()...)
	*fl = append(*fl, s.HeaderFindings()...)
	return s, true, nil
}

// Column finds a column by a trait's id or, failing that, by its plain name;
// −1 when there is none.
func Column(s *sheet.Sheet, id string) int {
	if k := s.Column(id); k >= 0 {
		return k
	}
	for k, c := range s.Columns {
		if strings.EqualFold(strings.TrimSpace(c.Name), id) {
			return k
		}
	}
	return -1
}

// Figure reads a cell in its trait's unit. A text in it is a doubt: the row is
// used, the figure is left out.
func Figure(s *sheet.Sheet, row sheet.Row, col int, fl *finding.List) (float64, bool) {
	v, ok, bad := s.Value(row, col)
	if bad != nil {
		bad.Severity = finding.Doubt
		bad.Do = "the figure is left out; " + orElse(bad.Do, "write a number or leave the cell empty")
		fl.Add(*bad)
	}
	return v, ok
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
