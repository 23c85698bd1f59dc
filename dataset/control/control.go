// Package control says, from runs of a control flour, on which days an instrument
// was as it usually is.
//
//  1. ReadBatches and ReadEvents read what a laboratory notes of its control flours
//     (assigned figures, expiry) and of its instruments (service, calibration, paddle,
//     canister).
//  2. Judge charts the control runs of each instrument, batch and method, feature by
//     feature, and gives every day a standing.
//  3. Judgement.Vouch tells whether a day's control vouches for a run of that day.
//  4. Judgement.Overlaps compares one batch with the next on days when both were run.
//
// It refuses to judge a day where a batch has too few runs for limits, or figures
// that do not vary, and says so. It corrects nothing and knows no lots.
package control

import (
	"strings"
	"time"

	"flourcast/finding"
)

// Check is one run of a control flour: Batch is the flour, Values its features by
// trait id.
type Check struct {
	Batch, Method, Instrument, Run string
	TestedAt                       string // 2006-01-02, with the time of day behind it if it is known
	Values                         map[string]float64
	At                             finding.Place
}

// Options say how checks are judged. Features decide a day; others are charted
// beside them. Base, when above 0, takes the limits from the first so many runs of
// a batch, else from all.
type Options struct {
	Features []string
	Base     int
}

// Deciding are the features that decide a day unless others are named: what a
// curve is measured by, not differences of it.
var Deciding = []string{"peak_mPas", "trough_mPas", "final_mPas"}

// What charts are made with.
const (
	lambda = 0.2 // of the EWMA
	// ewmaSDs are the EWMA's limits where those of a figure are 3: it calls out once
	// in 500 runs in order then.
	ewmaSDs   = 2.962
	leastRuns = 8  // fewer give no limits
	goodRuns  = 20 // fewer give rough ones (common practice, no source)
)

// Day and Clock part a date into day and time of day; Clock is "" without one, Day
// is "" where the date cannot be read.
func split(testedAt string) (day, clock string) {
	day, clock, _ = strings.Cut(testedAt, " ")
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return "", ""
	}
	return day, clock
}

// Standing is what the control says of a day.
type Standing string

// The standings.
const (
	InControl  Standing = "in control"
	Repeated   Standing = "in control when repeated" // out first, in order at the last run of the day
	OutControl Standing = "out of control"
	NotJudged  Standing = "not judged"
	NoControl  Standing = "no control"
)

// Chart is one feature of one batch on one instrument by one method, run by run.
// Without limits Points carry the figures only and Reason says why.
type Chart struct {
	Instrument string   `json:"instrument"`
	Batch      string   `json:"batch"`
	Method     string   `json:"method"`
	Feature    string   `json:"feature"`
	Decides    bool     `json:"decides"`
	Limits     *Limits  `json:"limits"` // null: none
	Reason     string   `json:"reason"` // why there are none
	Assigned   *float64 `json:"assigned"`
	Mean       float64  `json:"mean"` // of the runs that the limits are taken from, or of all
	Points     []Point  `json:"points"`
}

// Limits are those of a Chart: Centre is the assigned figure, or the mean of Runs
// runs. SDs is how many standard deviations wide they are, EWMASDs those of the EWMA.
type Limits struct {
	Centre  float64 `json:"centre"`
	SD      float64 `json:"sd"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	SDs     float64 `json:"sds"`
	EWMASDs float64 `json:"ewma_sds"`
	Runs    int     `json:"runs"`
}

// Point is one run on a Chart. Single and Gathered are "above", "below" or "": the
// figure itself, and the EWMA, against their limits. SetAside: the limits were taken
// without it.
type Point struct {
	Run      string   `json:"run"`
	TestedAt string   `json:"tested_at"`
	Value    float64  `json:"value"`
	EWMA     *float64 `json:"ewma"`
	EWMALow  *float64 `json:"ewma_low"`
	EWMAHigh *float64 `json:"ewma_high"`
	Single   string   `json:"single"`
	Gathered string   `json:"gathered"`
	SetAside bool     `json:"set_aside"`
}

// Day is one day of one instrument. Signals are those of deciding features.
type Day struct {
	Instrument string   `json:"instrument"`
	Day        string   `json:"day"`
	Standing   Standing `json:"standing"`
	Controls   int      `json:"controls"`
	Signals    []Signal `json:"signals"`

	checks []verdict // in order of time
}

// verdict is what one control run says.
type verdict struct {
	of       *series
	clock    string
	standing Standing // InControl, OutControl or NotJudged
}

// Signal is one chart's signal on one run. SDs is how far the figure (or the EWMA)
// lies from the centre, in its own standard deviations.
type Signal struct {
	Run     string  `json:"run"`
	Batch   string  `json:"batch"`
	Method  string  `json:"method"`
	Feature string  `json:"feature"`
	Chart   string  `json:"chart"` // "single" or "gathered"
	Side    string  `json:"side"`
	Value   float64 `json:"value"`
	SDs     float64 `json:"sds"`
}

// Judgement is what the checks come to. Charts are by instrument, batch and method
// in order of appearance, features in the glossary's order; Days by instrument and
// day.
type Judgement struct {
	Charts   []Chart      `json:"charts"`
	Days     []Day        `json:"days"`
	Overlaps []Overlap    `json:"overlaps"`
	Findings finding.List `json:"findings"`
}

// Vouch tells what the control says of a run of an instrument: of each batch and
// method the last control run of its day up to its time decides or, where there is
// none before it, the first one after it. Without a time of day, the last of the day
// decides. So a day that ends in order after it was out does not vouch for what was
// run before the repeat. Without a control run of that day the standing is NoControl.
func (j Judgement) Vouch(instrument, testedAt string) Standing {
	day, clock := split(testedAt)
	for _, d := range j.Days {
		if day != "" && d.Instrument == instrument && d.Day == day {
			return d.at(clock)
		}
	}
	return NoControl
}

// at is the gravest of what each batch and method says at a time of day; clock ""
// is the end of the day.
func (d Day) at(clock string) Standing {
	decides := map[*series]Standing{}
	out := NotJudged
	for _, c := range d.checks {
		if _, begun := decides[c.of]; !begun || clock == "" || c.clock == "" || c.clock <= clock {
			decides[c.of] = c.standing
		}
	}
	for _, s := range decides { // the gravest, whatever the order
		if s == OutControl || s == InControl && out == NotJudged {
			out = s
		}
	}
	return out
}
