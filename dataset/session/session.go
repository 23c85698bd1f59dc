// Package session picks the runs from which repeatability may be told: duplicates
// of one session.
//
//  1. Runs of one lot by one method on one instrument on one day are a session, if
//     they are first runs and duplicates.
//  2. Retests, re-samples, void runs, controls and runs that were not accepted are set
//     aside, with a count for each reason: a retest was made because the first run was
//     doubted, and another day brings more than repeatability.
//  3. What a runs file does not tell (kind, day) is taken as one session where the
//     replicates say so, with a note.
//
// It computes nothing and leaves no run without a word.
package session

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flourcast/dataset/record"
	"flourcast/dataset/run"
	"flourcast/finding"
)

// Session is the runs of one lot by one method on one instrument in one session.
// Day is empty if it is not known.
type Session struct {
	Lot, Method, Instrument, Day string
	Runs                         []*run.Run
}

// Aside is how many runs do not tell repeatability, and why.
type Aside struct {
	Reason string `json:"reason"`
	Runs   int    `json:"runs"`
}

// Picked is what Pick makes of runs: sessions of one run and more, in order of
// appearance.
type Picked struct {
	Sessions []Session
	Aside    []Aside
	Findings finding.List
}

// Pick groups runs into sessions.
func Pick(runs []run.Run) Picked {
	var p Picked
	at := map[[4]string]int{}
	undated := 0
	for i := range runs {
		r := &runs[i]
		if reason := Barred(r); reason != "" {
			p.aside(reason)
			continue
		}
		day := Day(r.TestedAt)
		if day == "" {
			undated++
		}
		key := [4]string{r.Lot, r.Method, r.Instrument, day}
		k, known := at[key]
		if !known {
			k = len(p.Sessions)
			at[key] = k
			p.Sessions = append(p.Sessions, Session{r.Lot, r.Method, r.Instrument, day, nil})
		}
		p.Sessions[k].Runs = append(p.Sessions[k].Runs, r)
	}
	p.alone()
	if undated > 0 {
		p.Findings.Add(finding.Finding{Code: "session-undated", Severity: finding.Doubt, Found: fmt.Sprintf("%d runs without a day; those of one lot, method and instrument are taken as one session", undated),
			Want: "the day of each run in the runs file (tested_at)", Do: "fill it in: runs of different days spread more than duplicates do"})
	}
	return p
}

// Barred says why a run does not tell repeatability; "" if it may.
func Barred(r *run.Run) string {
	switch {
	case r.Kind == record.Control:
		return "control flour"
	case r.Fate != run.Accepted:
		return string(r.Fate)
	case r.Status == "void":
		return "void"
	case r.Kind == record.Retest || r.Kind == record.ReSample:
		return r.Kind
	}
	return ""
}

func (p *Picked) aside(reason string) {
	k := slices.IndexFunc(p.Aside, func(a Aside) bool { return a.Reason == reason })
	if k < 0 {
		k = len(p.Aside)
		p.Aside = append(p.Aside, Aside{Reason: reason})
	}
	p.Aside[k].Runs++
}

// alone tells of duplicates whose first run was made on another day or
// instrument: they are no duplicates of one session.
func (p *Picked) alone() {
	const shown = 3
	var lots []string
	var at finding.Place
	for _, s := range p.Sessions {
		if len(s.Runs) == 1 && s.Runs[0].Kind == record.Duplicate {
			if len(lots) == 0 {
				at = s.Runs[0].At
			}
			lots = append(lots, s.Lot)
		}
	}
	if len(lots) == 0 {
		return
	}
	named := strings.Join(lots[:min(shown, len(lots))], ", ")
	if len(lots) > shown {
		named += ", …"
	}
	p.Findings.Add(finding.Finding{Code: "duplicate-alone", Severity: finding.Doubt, At: at, Found: fmt.Sprintf("%d duplicates without another run of the same lot, method, instrument and day (lots %s)", len(lots), named),
		Want: "duplicates of one session", Do: "they tell no repeatability; if the days are wrong, correct them"})
}

// Day is the day of a moment as the runs file tells it; "" if it cannot be read.
func Day(testedAt string) string {
	day, _, _ := strings.Cut(testedAt, " ")
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return ""
	}
	return day
}
