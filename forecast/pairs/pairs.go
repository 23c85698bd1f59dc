// Package pairs compares tests that differ in one thing only: with and without
// an amylase inhibitor, with more and more added amylase, treated and untreated.
//
//  1. AmylaseIndex says what share of the inhibited peak amylase takes away, with
//     Fieller's interval; Index.Answer says whether amylase governs the water run.
//  2. NewSeries fits a figure over added amylase; Series.DoseFor gives the dose
//     that meets a target, Series.Equivalent the dose that a lot acts like, both
//     with the interval that the fit's band inverts to.
//  3. Separate says how far a treated flour lies from its untreated twin, in
//     repeatability standard deviations; Expect holds it against what the trade
//     expects.
//
// It refuses peaks that are no peaks, a dose outside the series, and a series whose
// figure the dose does not move. Where no repeatability is known there is no
// interval, and the answer is "cannot tell". It knows figures and names of traits,
// no files.
package pairs

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Answer is what an interval says about a question.
type Answer string

// The answers.
const (
	Confirmed    Answer = "confirmed"
	Contradicted Answer = "contradicted"
	CannotTell   Answer = "cannot tell"
)

// Level is the confidence of intervals where nothing else is asked for.
const Level = 0.95

// Figure is a mean and how sure it is: SE is its standard error, in its unit, on DF
// degrees of freedom. Without knowledge of that SE is nil.
type Figure struct {
	Mean float64  `json:"mean"`
	SE   *float64 `json:"se,omitempty"`
	DF   float64  `json:"df,omitempty"`
}

// sure reports that the figure's error is known.
func (f Figure) sure() bool { return f.SE != nil && *f.SE >= 0 && finite(*f.SE, f.DF) && f.DF > 0 }

// Error says why a comparison cannot be made, and what to do about it.
type Error struct{ Found, Want, Do string }

func (e *Error) Error() string {
	return fmt.Sprintf("found %s, expected %s; %s", e.Found, e.Want, e.Do)
}

// quantile is the two-sided point of Student's t: t with (1−level)/2 above it.
func quantile(level, df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.5 + level/2)
}

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
