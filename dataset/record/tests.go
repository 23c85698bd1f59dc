package record

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// Kinds of run. First and Duplicate are replicates of one session. A Retest or
// ReSample never replaces them by itself; a Control is a check of the instrument
// and belongs to no lot.
const (
	First     = "first"
	Duplicate = "duplicate"
	Retest    = "retest"
	ReSample  = "re-sample"
	Control   = "control"
)

// Test is one row of a runs file. Replicate is empty if the file has none;
// figures that are not given are nil.
type Test struct {
	Run, Lot, Sample, Method, Replicate, TestedAt, Instrument, Operator, Water string

	Kind   string // one of the kinds above
	Void   bool
	Reason string // why it is void, or why it was repeated

	FlourG, SolventG, MoisturePct *float64
	MoistureBy                    string

	At finding.Place
}

// Solids is the flour weighed in as dry matter, g: flour × (1 − moisture/100).
// The run's own moisture counts; without one the lot's, which may come later
// than the run. ok is false if the flour or both moistures are not known.
func (t Test) Solids(lotMoisture float64, lotKnown bool) (dryG float64, ok bool) {
	if t.FlourG == nil {
		return 0, false
	}
	m, ok := lotMoisture, lotKnown
	if t.MoisturePct != nil {
		m, ok = *t.MoisturePct, true
	}
	return *t.FlourG * (1 - m/100), ok && m >= 0 && m < 100
}

// ReadTests reads runs files. A row without a lot, with a kind or status that is
// not known, or with a run that was entered before, is refused; whether its lot
// is known is for the caller to say, so nothing waits here. The error is of a
// file that is not there.
func ReadTests(paths []string, m *sheet.Map) (tests []Test, c Counts, fl finding.List, err error) {
	seen := map[string]finding.Place{}
	for _, path := range paths {
		s, ok, err := Open(path, m, &fl)
		if err != nil {
			return nil, Counts{}, nil, err
		}
		if !ok {
			continue
		}
		for row, bad := range s.Rows() {
			c.Read++
			var t Test
			if bad == nil {
				t, bad = readTest(s, row, &fl)
			}
			if bad == nil && t.Run != "" {
				if at, twice := seen[t.Run]; twice {
					bad = &finding.Finding{Code: "run-twice", Severity: finding.Refused, At: t.At, Found: fmt.Sprintf("run %s again, first entered at %s", t.Run, at),
						Want: "each run once", Do: "give the test its own run, or take the row out"}
				}
				seen[t.Run] = t.At
			}
			if bad != nil {
				c.Refused++
				fl.Add(*bad)
				continue
			}
			c.Accepted++
			tests = append(tests, t)
		}
	}
	return tests, c, fl, nil
}

func readTest(s *sheet.Sheet, row sheet.Row, fl *finding.List) (Test, *finding.Finding) {
	text := func(id string) string { v, _ := s.Text(row, s.Column(id)); return v }
	number := func(id string) *float64 {
		k := s.Column(id)
		v, ok := figure(s, row, k, fl)
		if ok && v < 0 {
			fl.Add(finding.Finding{Code: "figure-negative", Severity: finding.Doubt, At: s.Place(row, k), Found: fmt.Sprint(v), Want: "a figure from 0", Do: "the figure is left out; mend it"})
			ok = false
		}
		if !ok {
			return nil
		}
		return &v
	}
	r := Test{Run: text("run"), Lot: text("lot"), Sample: text("sample"), Method: text("method"), Replicate: text("replicate"), TestedAt: day(s, row, "tested_at", fl),
		Instrument: text("instrument"), Operator: text("operator"), Water: text("water"), Reason: text("reason"), MoistureBy: text("moisture_by"),
		FlourG: number("flour_g"), SolventG: number("solvent_g"), MoisturePct: number("moisture_pct"), At: s.Place(row, -1)}
	refuse := func(column, found, want, do string) *finding.Finding {
		return &finding.Finding{Code: column + "-unknown", Severity: finding.Refused, At: s.Place(row, s.Column(column)), Found: found, Want: want, Do: do}
	}
	if r.Lot == "" {
		return r, noLot(r.At)
	}
	r.Kind = cmp.Or(strings.ToLower(text("kind")), First)
	if r.Kind == "resample" {
		r.Kind = ReSample
	}
	if kinds := []string{First, Duplicate, Retest, ReSample, Control}; !slices.Contains(kinds, r.Kind) {
		return r, refuse("kind", r.Kind, "one of "+strings.Join(kinds, ", "), "say what kind of run it is: it decides what is pooled")
	}
	switch status := strings.ToLower(text("status")); status {
	case "", "ok", "valid":
	case "void", "invalid":
		r.Void = true
		if r.Reason == "" {
			fl.Add(finding.Finding{Code: "void-without-reason", Severity: finding.Doubt, At: r.At, Found: "a void run without a reason", Want: "why it is void", Do: "write the reason down"})
		}
	default:
		return r, refuse("status", status, "ok or void", "say whether the run counts")
	}
	if r.Kind == Retest && r.Reason == "" {
		fl.Add(finding.Finding{Code: "retest-without-reason", Severity: finding.Doubt, At: r.At, Found: "a retest without a reason", Want: "why it was repeated", Do: "write the reason down: without one the first run stands"})
	}
	return r, nil
}

// Day is a date cell as 2006-01-02 (with the time of day, if it has one); a
// date that cannot be read stays as written, with a doubt.
func day(s *sheet.Sheet, row sheet.Row, id string, fl *finding.List) string {
	k := s.Column(id)
	written, ok := s.Text(row, k)
	if !ok {
		return ""
	}
	t, _, bad := s.Date(row, k)
	if bad != nil {
		bad.Severity, bad.Do = finding.Doubt, "kept as written; "+bad.Do
		fl.Add(*bad)
		return written
	}
	if t.Hour()+t.Minute()+t.Second() == 0 {
		return t.Format("2006-01-02")
	}
	return t.Format("2006-01-02 15:04:05")
}
