package register

import (
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

// Run is one row of a runs file. Replicate is empty if the file has none;
// figures that are not given are nil.
type Run struct {
	ID, Lot, Sample, Method, Replicate, TestedAt, Instrument, Operator, Water string

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
func (r Run) Solids(lotMoisture float64, lotKnown bool) (dryG float64, ok bool) {
	if r.FlourG == nil {
		return 0, false
	}
	m, ok := lotMoisture, lotKnown
	if r.MoisturePct != nil {
		m, ok = *r.MoisturePct, true
	}
	return *r.FlourG * (1 - m/100), ok && m >= 0 && m < 100
}

// ReadRuns reads runs files. A row without a lot, with a kind or status that is
// not known, or with a run that was entered before, is refused; whether its lot
// is known is for the caller to say, so nothing waits here. The error is of a
// file that is not there.
func ReadRuns(paths []string, m *sheet.Map) (runs []Run, c Counts, fl finding.List, err error) {
	seen := map[string]finding.Place{}
	for _, path := range paths {
		s, ok, err := Open(path, m, &fl)
		if err != nil {
			return nil, Counts{}, fl, err
		}
		if !ok {
			continue
		}
		for row, bad := range s.Rows() {
			c.Read++
			var run Run
			if bad == nil {
				run, bad = readRun(s, row, &fl)
			}
			if bad == nil && run.ID != "" {
				if at, twice := seen[run.ID]; twice {
					bad = &finding.Finding{Code: "run-twice", Severity: finding.Refused, At: run.At, Found: fmt.Sprintf("run %s again, first entered at %s", run.ID, at),
						Want: "each run once", Do: "give the test its own run, or take the row out"}
				}
				seen[run.ID] = run.At
			}
			if bad != nil {
				c.Refused++
				fl.Add(*bad)
				continue
			}
			c.Accepted++
			runs = append(runs, run)
		}
	}
	return runs, c, fl, nil
}

func readRun(s *sheet.Sheet, row sheet.Row, fl *finding.List) (Run, *finding.Finding) {
	text := func(id string) string { v, _ := s.Text(row, Column(s, id)); return v }
	figure := func(id string) *float64 {
		k := Column(s, id)
		v, ok := Figure(s, row, k, fl)
		if ok && v < 0 {
			fl.Add(finding.Finding{Code: "figure-negative", Severity: finding.Doubt, At: s.Place(row, k), Found: fmt.Sprint(v), Want: "a figure from 0", Do: "the figure is left out; mend it"})
			ok = false
		}
		if !ok {
			return nil
		}
		return &v
	}
	r := Run{ID: text("run"), Lot: text("lot"), Sample: text("sample"), Method: text("method"), Replicate: text("replicate"), TestedAt: day(s, row, "tested_at", fl),
		Instrument: text("instrument"), Operator: text("operator"), Water: text("water"), Reason: text("reason"), MoistureBy: text("moisture_by"),
		FlourG: figure("flour_g"), SolventG: figure("solvent_g"), MoisturePct: figure("moisture_pct"), At: s.Place(row, -1)}
	refuse := func(column, found, want, do string) *finding.Finding {
		return &finding.Finding{Code: column + "-unknown", Severity: finding.Refused, At: s.Place(row, Column(s, column)), Found: found, Want: want, Do: do}
	}
	if r.Lot == "" {
		return r, &finding.Finding{Code: "lot-missing", Severity: finding.Refused, At: r.At, Found: "no lot", Want: "the lot that was tested", Do: "fill the lot in"}
	}
	r.Kind = orElse(strings.ToLower(text("kind")), First)
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

// day is a date cell as 2006-01-02 (with the time of day, if it has one); a
// date that cannot be read stays as written, with a doubt.
func day(s *sheet.Sheet, row sheet.Row, id string, fl *finding.List) string {
	k := Column(s, id)
	written, ok := s.Text(row, k)
	if !ok {
		return ""
	}
	t, _, bad := s.Date(row, k)
	if bad != nil {
		bad.Severity, bad.Do = finding.Doubt, "kept as written; "+orElse(bad.Do, "write dates as 2025-11-03")
		fl.Add(*bad)
		return written
	}
	if t.Hour()+t.Minute()+t.Second() == 0 {
		return t.Format("2006-01-02")
	}
	return t.Format("2006-01-02 15:04:05")
}
