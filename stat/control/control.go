// Package control says whether a measurement that is repeated over time stays as
// it was: control charts, with their signals as data.
//
//  1. Estimate takes the usual spread of single figures from their moving ranges,
//     sets figures aside that lie outside the limits so found, and says which.
//  2. Limits.Shewhart compares each figure with limits around the centre: it sees
//     one figure that is far off.
//  3. EWMA and CUSUM gather what came before: they see a small change that stays.
//  4. Ranges charts means and ranges of small groups.
//
// It refuses to give limits where figures are too few or do not vary: the answer
// then is an error. It decides nothing and knows nothing of flour.
package control

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Signal says on which side of the limits a figure lies.
type Signal string

// The signals.
const (
	None  Signal = ""
	Above Signal = "above"
	Below Signal = "below"
)

func signal(v, low, high float64) Signal {
	switch {
	case v > high:
		return Above
	case v < low:
		return Below
	}
	return None
}

// Point is one figure of a chart against its limits. Value is what the chart
// draws: the figure itself, or what it has gathered.
type Point struct {
	Value, Low, High float64
	Signal           Signal
}

// Error says why there are no limits.
type Error struct{ What, Found, Want string }

func (e *Error) Error() string {
	return fmt.Sprintf("control: %s: found %s, expected %s", e.What, e.Found, e.Want)
}

// Limits are what single figures vary by, K standard deviations around a centre.
type Limits struct {
	Centre, Sigma, K float64
	MeanRange        float64 // mean moving range of the figures kept
	N                int     // figures kept
	SetAside         []int   // figures outside the limits, which did not count for them
}

// Low is the lower limit of a figure.
func (l Limits) Low() float64 { return l.Centre - l.K*l.Sigma }

// High is the upper limit of a figure.
func (l Limits) High() float64 { return l.Centre + l.K*l.Sigma }

// RangeHigh is the limit of the range between one figure and the next: D4·MR̄ =
// 3.267·MR̄ at K = 3.
func (l Limits) RangeHigh() float64 { return (1 + l.K*d3[2]/d2[2]) * l.MeanRange }

// Individuals takes centre and spread of all figures, in the order in which they
// were measured:
//
//	centre = x̄,  σ = MR̄/d2,  MR the |difference| of each figure and the one before,  d2 = 2/√π ≈ 1.128
//
// so that at k = 3 the limits are x̄ ± 2.66·MR̄ (ISO 7870-2; from memory). It returns
// an *Error for fewer than two figures, one that is not finite, or figures that are
// all equal.
func Individuals(x []float64, k float64) (Limits, error) {
	if !(k > 0) || math.IsInf(k, 0) {
		panic(fmt.Sprintf("control: limits at %v standard deviations", k))
	}
	if len(x) < 2 {
		return Limits{}, &Error{"figures", fmt.Sprint(len(x)), "two or more"}
	}
	l := Limits{K: k, N: len(x)}
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Limits{}, &Error{fmt.Sprint("figure ", i+1), fmt.Sprint(v), "a finite figure"}
		}
		l.Centre += v / float64(len(x))
		if i > 0 {
			l.MeanRange += math.Abs(v-x[i-1]) / float64(len(x)-1)
		}
	}
	if l.MeanRange == 0 {
		return Limits{}, &Error{"figures", "all equal", "figures that vary: none repeats without any spread"}
	}
	l.Sigma = l.MeanRange / d2[2]
	return l, nil
}

// Estimate is Individuals of the figures that lie within the limits: figures outside
// are set aside and the limits taken anew, until none lies outside (the first stage
// of charting, in which what is known to be bad must not widen the limits; from
// memory). SetAside names them; a user decides what they were. It returns the *Error
// of Individuals, also where what is left does not make limits.
func Estimate(x []float64, k float64) (Limits, error) {
	aside := make([]bool, len(x))
	for {
		var kept []float64
		for i, v := range x {
			if !aside[i] {
				kept = append(kept, v)
			}
		}
		l, err := Individuals(kept, k)
		if err != nil {
			return Limits{}, err
		}
		before := slices.Clone(aside)
		for i, v := range x {
			aside[i] = aside[i] || signal(v, l.Low(), l.High()) != None
		}
		if slices.Equal(aside, before) {
			for i := range x {
				if aside[i] {
					l.SetAside = append(l.SetAside, i)
				}
			}
			return l, nil
		}
	}
}

// Shewhart compares every figure with the limits.
func (l Limits) Shewhart(x []float64) []Point {
	out := make([]Point, len(x))
	for i, v := range x {
		out[i] = Point{v, l.Low(), l.High(), signal(v, l.Low(), l.High())}
	}
	return out
}

// SDs is how many standard deviations limits must be wide for a set of charts
// to call out as seldom as one chart of 3 does (0.27 %), at most:
//
//	K = −Φ⁻¹(0.00135/charts)
//
// (Bonferroni). It panics for fewer than one chart.
func SDs(charts int) float64 {
	if charts < 1 {
		panic(fmt.Sprintf("control: SDs of %d charts", charts))
	}
	if charts == 1 {
		return 3
	}
	return -distuv.UnitNormal.Quantile(distuv.UnitNormal.CDF(-3) / float64(charts))
}
