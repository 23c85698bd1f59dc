// Package record reads files of tests and results, row by row, into plain
// records.
//
//  1. Open opens a file, or says why not; Counts keeps the books.
//  2. ReadTests reads runs files: which test of which lot, of which kind, valid
//     or void; Test.Solids is the flour weighed in as dry matter.
//  3. ReadCurves groups the rows of curves files into runs; ReadValues reads
//     runs of which only feature values are left.
//  4. ReadReadings reads texture and bakes files, ReadNotes production files.
//
// It refuses a row without a lot, a text in a figure of a curve, and a replicate
// that stands twice. It keeps figures in the glossary's units and judges none of
// them; it does not know which lots there are.
package record

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

// Plus is the sum of two counts.
func (c Counts) Plus(o Counts) Counts {
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

// Figures are the figures of one row by trait id, in the glossary's units, and
// what was written for them.
type Figures struct {
	Values map[string]float64
	place  func(id string) (at finding.Place, written string)
}

// Placed puts a finding that names a figure by its trait on its row and column,
// and says what was written where that is in another unit.
func (f Figures) Placed(x finding.Finding) finding.Finding {
	at, written := f.place(x.At.Column)
	x.At = at
	if written != "" {
		x.Found += " (written " + written + ")"
	}
	return x
}

// figure reads a cell in its trait's unit. A text in it is a doubt: the row is
// used, the figure is left out.
func figure(s *sheet.Sheet, row sheet.Row, col int, fl *finding.List) (float64, bool) {
	v, ok, bad := s.Value(row, col)
	if bad != nil {
		bad.Severity, bad.Do = finding.Doubt, "the figure is left out; "+bad.Do
		fl.Add(*bad)
	}
	return v, ok
}

// figures reads the figures of a row from the given columns.
func figures(s *sheet.Sheet, row sheet.Row, columns []int, fl *finding.List) Figures {
	f := Figures{Values: map[string]float64{}}
	for _, k := range columns {
		if v, ok := figure(s, row, k, fl); ok {
			h, _ := s.Header(k)
			f.Values[h.Trait.ID] = v
		}
	}
	f.place = func(id string) (finding.Place, string) {
		k := s.Column(id)
		text, _ := s.Text(row, k)
		h, ok := s.Header(k)
		if !ok {
			at := s.Place(row, -1)
			at.Column = id
			return at, ""
		}
		if h.Unit.Symbol == h.Trait.Unit || text == "" {
			return s.Place(row, k), ""
		}
		return s.Place(row, k), strings.TrimSpace(text + " " + h.Unit.Symbol)
	}
	return f
}

func noLot(at finding.Place) *finding.Finding {
	return &finding.Finding{Code: "lot-missing", Severity: finding.Refused, At: at, Found: "no lot", Want: "a lot in every row", Do: "fill the lot in"}
}
