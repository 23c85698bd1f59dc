package dataset

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/dayshift"
	"flourcast/dataset/result"
	"flourcast/dataset/trait"
)

// DayControl names the control lot that is cooked or baked on every day, and how
// readings are moved by it. Without a Lot nothing is moved.
type DayControl struct {
	Lot string
	How dayshift.How
}

// DayControlError says that the control lot has no reading in the texture and bakes
// files.
type DayControlError struct {
	Lot  string
	Near []string
}

func (e *DayControlError) Error() string {
	text := fmt.Sprintf("control lot %s: found no accepted reading of it in the texture and bakes files", e.Lot)
	if len(e.Near) > 0 {
		text += "; did you mean " + strings.Join(e.Near, " or ") + "?"
	}
	return text
}

// shiftDays takes the days out of texture and bake results by the control lot.
func (j *joiner) shiftDays() {
	c := j.opt.DayControl
	if c.Lot == "" {
		return
	}
	for _, results := range [][]result.Result{j.texture, j.bakes} {
		shifts, fl := result.ShiftDays(results, c.Lot, c.How)
		j.out.DayShifts = append(j.out.DayShifts, shifts...)
		j.add(fl...)
	}
}

// controlRead returns a *DayControlError when no result of the day control was read.
func (j *joiner) controlRead() error {
	c := j.opt.DayControl
	if c.Lot == "" {
		return nil
	}
	var lots []string
	for _, results := range [][]result.Result{j.texture, j.bakes} {
		for _, r := range results {
			if r.Lot == c.Lot && r.Accepted() {
				return nil
			}
			if !slices.Contains(lots, r.Lot) {
				lots = append(lots, r.Lot)
			}
		}
	}
	return &DayControlError{c.Lot, trait.Near(c.Lot, lots)}
}
