package control

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Batch is one batch of control flour: the lot that its runs name. Assigned are its
// assigned figures by trait id; ExpiresOn is empty if it has no date. Method is empty
// if the figures hold for any.
type Batch struct {
	Lot, Method, ExpiresOn string
	Assigned               map[string]float64
	At                     finding.Place
}

// Event is what was done to an instrument on a day. An empty Instrument means all.
type Event struct {
	TestedAt   string `json:"date"`
	Instrument string `json:"instrument"`
	Kind       string `json:"kind"`
	Note       string `json:"note"`

	At finding.Place `json:"-"`
}

// kinds of Event.
var kinds = []string{"service", "calibration", "paddle", "canister"}

// ReadBatches reads files of control batches, a row for each batch and method. A row
// without a lot, or for a batch and method that an earlier row has, is refused. The
// error is of a file that is not there.
func ReadBatches(paths []string, m *sheet.Map) (out []Batch, c record.Counts, fl finding.List, err error) {
	seen := map[[2]string]finding.Place{}
	c, fl, err = eachRow(paths, m, func(s *sheet.Sheet, row sheet.Row, fl *finding.List) *finding.Finding {
		b := Batch{Lot: text(s, row, "lot"), Method: text(s, row, "method"), Assigned: map[string]float64{}, At: s.Place(row, -1)}
		if b.Lot == "" {
			return refuse("control-batch-missing", b.At, "no lot", "the control flour as the runs file names it in its column lot", "fill it in")
		}
		key := [2]string{b.Lot, b.Method}
		if first, twice := seen[key]; twice {
			return refuse("control-batch-twice", b.At, fmt.Sprintf("control batch %s again, first at %s", b.Lot, first), "each batch and method once", "take one of the two out")
		}
		seen[key] = b.At
		var bad *finding.Finding
		if b.ExpiresOn, bad = date(s, row, "expires_on"); bad != nil {
			bad.Severity, bad.Do = finding.Doubt, "the expiry is left out; "+bad.Do
			fl.Add(*bad)
		}
		for k := range s.Columns {
			h, ok := s.Header(k)
			if !ok || h.Trait.Role != trait.RoleFeature {
				continue
			}
			v, ok, bad := s.Value(row, k)
			if bad != nil {
				bad.Severity, bad.Do = finding.Doubt, "the assigned figure is left out; "+bad.Do
				fl.Add(*bad)
			} else if ok {
				b.Assigned[h.Trait.ID] = v
			}
		}
		out = append(out, b)
		return nil
	})
	return out, c, fl, err
}

// ReadEvents reads files of events, a row each. A row without a date that can be
// read, or of another kind, is refused. The error is of a file that is not there.
func ReadEvents(paths []string, m *sheet.Map) (out []Event, c record.Counts, fl finding.List, err error) {
	c, fl, err = eachRow(paths, m, func(s *sheet.Sheet, row sheet.Row, _ *finding.List) *finding.Finding {
		e := Event{Instrument: text(s, row, "instrument"), Kind: strings.ToLower(text(s, row, "kind")), Note: text(s, row, "remarks"), At: s.Place(row, -1)}
		day, bad := date(s, row, "tested_at")
		if bad != nil {
			return bad
		}
		if day == "" {
			return refuse("event-undated", e.At, "no date", "the day of the event, in a column date", "fill it in")
		}
		if !slices.Contains(kinds, e.Kind) {
			return refuse("event-kind-unknown", s.Place(row, s.Column("kind")), fmt.Sprintf("%q", e.Kind), "one of "+strings.Join(kinds, ", "), "name what was done by one of them and say the rest in the note")
		}
		e.TestedAt = day
		out = append(out, e)
		return nil
	})
	slices.SortStableFunc(out, func(a, b Event) int { return strings.Compare(a.TestedAt, b.TestedAt) })
	return out, c, fl, err
}

// eachRow reads files row by row and keeps the books: take returns a refused
// finding for a row that it does not take.
func eachRow(paths []string, m *sheet.Map, take func(*sheet.Sheet, sheet.Row, *finding.List) *finding.Finding) (c record.Counts, fl finding.List, err error) {
	for _, path := range paths {
		s, ok, err := record.Open(path, m, &fl)
		if err != nil {
			return record.Counts{}, nil, err
		}
		if !ok {
			continue
		}
		for row, bad := range s.Rows() {
			if bad == nil {
				bad = take(s, row, &fl)
			}
			if bad != nil {
				fl.Add(*bad)
				c = c.Plus(record.Counts{Read: 1, Refused: 1})
				continue
			}
			c = c.Plus(record.Counts{Read: 1, Accepted: 1})
		}
	}
	return c, fl, nil
}

func text(s *sheet.Sheet, row sheet.Row, id string) string {
	t, _ := s.Text(row, s.Column(id))
	return strings.Clone(t)
}

// date is a cell as 2006-01-02, with the time of day if it has one; "" if it is empty.
func date(s *sheet.Sheet, row sheet.Row, id string) (string, *finding.Finding) {
	t, ok, bad := s.Date(row, s.Column(id))
	if bad != nil || !ok {
		return "", bad
	}
	if t.Hour()+t.Minute()+t.Second() == 0 {
		return t.Format("2006-01-02"), nil
	}
	return t.Format("2006-01-02 15:04:05"), nil
}

func refuse(code string, at finding.Place, found, want, do string) *finding.Finding {
	return &finding.Finding{Code: code, Severity: finding.Refused, At: at, Found: found, Want: want, Do: do}
}
