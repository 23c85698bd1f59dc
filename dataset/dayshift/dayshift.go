// Package dayshift takes the day out of texture and bake results by a control flour
// that is cooked or baked on every day.
//
//  1. The readings of the control lot are averaged by protocol, response and day, and
//     those day means over the days.
//  2. Correct moves every reading of a day by how far the control lay off on it:
//     by the difference, or by the ratio.
//  3. Every shift is told, and whether the control says more of the days than of its
//     own scatter.
//
// A day without a control reading is left as it is, with a doubt. Preference scores
// are left alone, and readings around zero (symmetry, shrinkage) are never shifted by
// a ratio. It corrects nothing unless it is asked to, and knows no lots but the control.
package dayshift

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/stat/components"
)

// How is the way a reading is moved.
type How string

// Ways to move a reading y on a day whose control mean is c, the control's mean over
// days being m: Difference takes y − (c − m), Ratio y·m/c.
const (
	Difference How = "difference"
	Ratio      How = "ratio"
)

// Row is one reading: figures by trait id. Day is 2006-01-02, with anything behind it.
type Row struct {
	Lot, Protocol, Day string
	Values             map[string]float64
	At                 finding.Place
}

// Shift is what was done to one response on one day. Mean is the control's mean on
// the day, Usual its mean over days, in the response's unit; By is what was added to
// each reading, or what it was multiplied by.
type Shift struct {
	Protocol string  `json:"protocol"`
	Response string  `json:"response"`
	Day      string  `json:"day"`
	How      How     `json:"how"`
	Controls int     `json:"controls"` // readings of the control
	Mean     float64 `json:"mean"`
	Usual    float64 `json:"usual"`
	By       float64 `json:"by"`
	Readings int     `json:"readings"` // moved, the control's own among them
}

// aroundZero are responses that may be zero or below: a ratio says nothing of them.
var aroundZero = []string{"symmetry_index_mm", "uniformity_index_mm", "shrinkage_mm", "edge_shrinkage_mm", "adhesiveness_Ns", "adhesive_force_N"}

// moves reports whether a response is shifted. Unevenness is not: the size of a
// difference has no day of its own.
func moves(t trait.Trait, how How) bool {
	return t.Role == trait.RoleResponse && t.Kind != "preference" && t.ID != "unevenness_mm" && (how == Difference || !slices.Contains(aroundZero, t.ID))
}

// set is the readings of one response by one protocol, by day.
type set struct {
	protocol, response string
	days               []string // of the control, in order
	control            map[string][]float64
}

// Correct moves the values of rows in place. control names the control lot. The
// shifts come by protocol in order of appearance, response in the glossary's order,
// and day. It panics on an unknown way.
func Correct(rows []Row, control string, how How) (shifts []Shift, fl finding.List) {
	if how != Difference && how != Ratio {
		panic("dayshift: unknown way " + string(how))
	}
	var protocols []string
	for _, r := range rows {
		if !slices.Contains(protocols, r.Protocol) {
			protocols = append(protocols, r.Protocol)
		}
	}
	for _, p := range protocols {
		for t := range trait.Each() {
			if !moves(t, how) {
				continue
			}
			s := gather(rows, p, t.ID, control)
			if len(s.days) == 0 {
				continue
			}
			if len(s.days) < 2 {
				fl.Add(finding.Finding{Code: "day-control-few", Severity: finding.Doubt, At: finding.Place{Column: t.ID}, Found: fmt.Sprintf("control %s on one day only (%s)", control, s.days[0]),
					Want: "the control on two days or more", Do: "cook the control with every day's lots; nothing was shifted"})
				continue
			}
			fl = append(fl, s.noise(control)...)
			shifts = append(shifts, s.move(rows, how, &fl)...)
		}
	}
	if len(shifts) > 0 {
		fl = append(fl, tell(shifts)...)
		fl = append(fl, uncovered(rows, shifts)...)
	}
	return shifts, fl
}

func day(tested string) string { return tested[:min(len(tested), len("2006-01-02"))] }

func gather(rows []Row, protocol, response, control string) set {
	s := set{protocol, response, nil, map[string][]float64{}}
	for _, r := range rows {
		v, ok := r.Values[response]
		if d := day(r.Day); ok && d != "" && r.Lot == control && r.Protocol == protocol {
			if s.control[d] == nil {
				s.days = append(s.days, d)
			}
			s.control[d] = append(s.control[d], v)
		}
	}
	slices.Sort(s.days)
	return s
}

func mean(v []float64) float64 {
	m := 0.0
	for _, x := range v {
		m += x / float64(len(v))
	}
	return m
}

// move shifts the readings of every day that has a control.
func (s set) move(rows []Row, how How, fl *finding.List) (out []Shift) {
	usual := 0.0
	for _, d := range s.days {
		usual += mean(s.control[d]) / float64(len(s.days))
	}
	for _, d := range s.days {
		c := mean(s.control[d])
		x := Shift{Protocol: s.protocol, Response: s.response, Day: d, How: how, Controls: len(s.control[d]), Mean: c, Usual: usual, By: usual - c}
		if how == Ratio {
			x.By = usual / c
		}
		if math.IsNaN(x.By) || math.IsInf(x.By, 0) || how == Ratio && !(x.By > 0) {
			fl.Add(finding.Finding{Code: "day-not-shifted", Severity: finding.Doubt, At: finding.Place{Column: s.response}, Found: fmt.Sprintf("control of %g on %s", c, d),
				Want: "a control above 0 to take a ratio of", Do: "look at the control reading, or shift by the difference; the day is left as it is"})
			continue
		}
		for _, r := range rows {
			y, ok := r.Values[s.response]
			if !ok || r.Protocol != s.protocol || day(r.Day) != d {
				continue
			}
			moved := y + x.By
			if how == Ratio {
				moved = y * x.By
			}
			if y > 0 && moved <= 0 && !slices.Contains(aroundZero, s.response) {
				at := r.At
				at.Column = s.response
				fl.Add(finding.Finding{Code: "day-not-shifted", Severity: finding.Doubt, At: at, Found: fmt.Sprintf("%g would become %.4g", y, moved), Want: "a reading above 0",
					Do: "shift by the ratio, or look at the control reading; this one is left as it is"})
				continue
			}
			r.Values[s.response] = moved
			x.Readings++
		}
		out = append(out, x)
	}
	return out
}

// noise doubts a control that tells less of the days than it scatters: the variance
// between days (analysis of variance) is then no larger than that of a day's control
// mean, and shifting adds as much as it takes away.
func (s set) noise(control string) (fl finding.List) {
	var y []float64
	var days []string
	repeated := false
	for _, d := range s.days {
		repeated = repeated || len(s.control[d]) > 1
		for _, v := range s.control[d] {
			y, days = append(y, v), append(days, d)
		}
	}
	at := finding.Place{Column: s.response}
	if !repeated {
		fl.Add(finding.Finding{Code: "day-control-single", Severity: finding.Note, At: at, Found: fmt.Sprintf("one reading of control %s a day", control),
			Do: "its own error goes into every reading of the day: take several, so that it is seen and grows small"})
		return fl
	}
	a, err := components.Analyse(y, []components.Factor{{Name: "day", Labels: days}}, components.Options{})
	if err != nil || len(a.Terms) < 2 {
		return fl
	}
	between, within := a.Terms[0].Raw, a.Terms[1].MS
	if own := within * float64(len(s.days)) / float64(len(y)); between <= own {
		fl.Add(finding.Finding{Code: "day-shift-noise", Severity: finding.Doubt, At: at,
			Found: fmt.Sprintf("control %s varies between days by SD %.3g, and its mean of one day is known to %.3g", control, math.Sqrt(max(0, between)), math.Sqrt(own)),
			Want:  "days that differ by more than the control's own error", Do: "leave the days uncorrected, or take more control readings a day: this shift adds as much as it takes away"})
	}
	return fl
}

// tell says for each protocol and day by how much every response was shifted.
func tell(shifts []Shift) (fl finding.List) {
	type key struct{ protocol, day string }
	var keys []key
	words := map[key][]string{}
	for _, x := range shifts {
		k := key{x.Protocol, x.Day}
		if words[k] == nil {
			keys = append(keys, k)
		}
		t, _ := trait.Lookup(x.Response)
		text := fmt.Sprintf("%s %+.3g", t.Label, x.By)
		if x.How == Ratio {
			text = fmt.Sprintf("%s × %.4g", t.Label, x.By)
		} else if t.Unit != "" {
			text += " " + t.Unit
		}
		words[k] = append(words[k], fmt.Sprintf("%s (control of %d, %d readings)", text, x.Controls, x.Readings))
	}
	slices.SortStableFunc(keys, func(a, b key) int { return strings.Compare(a.day, b.day) })
	for _, k := range keys {
		by := ""
		if k.protocol != "" {
			by = " by " + k.protocol
		}
		fl.Add(finding.Finding{Code: "day-shifted", Severity: finding.Note, Found: fmt.Sprintf("readings of %s%s were shifted: %s", k.day, by, strings.Join(words[k], ", "))})
	}
	return fl
}

// uncovered doubts days, and readings without a day, that no control covers.
func uncovered(rows []Row, shifts []Shift) (fl finding.List) {
	covered := map[[2]string]bool{}
	for _, x := range shifts {
		covered[[2]string{x.Protocol, x.Day}] = true
	}
	var days []string
	n := 0
	for _, r := range rows {
		if covered[[2]string{r.Protocol, day(r.Day)}] {
			continue
		}
		n++
		d := day(r.Day)
		if d == "" {
			d = "no day stated"
		}
		if !slices.Contains(days, d) {
			days = append(days, d)
		}
	}
	if n == 0 {
		return nil
	}
	slices.Sort(days)
	if len(days) > 6 {
		days = append(days[:6:6], fmt.Sprintf("%d more", len(days)-6))
	}
	fl.Add(finding.Finding{Code: "day-without-control", Severity: finding.Doubt, Found: fmt.Sprintf("%d readings of days without the control, left as they are: %s", n, strings.Join(days, ", ")),
		Want: "the control by the same protocol on every day", Do: "cook the control with every day's lots; do not set shifted and unshifted days against one another"})
	return fl
}
