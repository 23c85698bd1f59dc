// Package smooth fits a straight line or a parabola through the neighbours of
// each point of a series: the Savitzky–Golay idea on grids that need not be
// even.
//
//  1. Around each point a window is laid, and widened where it holds too few.
//  2. A parabola (order 2) is fitted by least squares; its value and its slope
//     at the point are what Values and Slopes return.
//  3. Noise estimates the scatter that such a fit is meant to remove.
//
// A parabola follows a peak without flattening it and does not overshoot a
// corner as a cubic does. It refuses nothing: shapes that cannot be fitted are
// the caller's fault and panic; figures that are not finite stay so around
// where they stand.
package smooth

import (
	"math"
	"slices"
	"sort"
)

// MinPoints is how many neighbours, the point itself included, every fit has at
// least (when the series is that long): a parabola through three points would
// smooth nothing.
const MinPoints = 5

// Values smooths y, observed at the non-decreasing times t, both length n, by a
// parabola fitted to the points within window/2 of each point (inclusive), or
// to the MinPoints nearest where that is more. At the ends the window is cut,
// not mirrored. It returns n values.
//
// Source: Savitzky & Golay 1964, Anal Chem 36:1627 (even grid, from memory); on
// an uneven grid the same least squares is done point by point, cost n times
// the points in a window. It panics when lengths differ or window is negative.
func Values(t, y []float64, window float64) []float64 {
	value, _ := both(t, y, window)
	return value
}

// Slope is the first derivative of the same fit, in units of y per unit of t,
// length n. On an even grid with a symmetric window it equals the Savitzky–Golay
// derivative of order 2 (and of order 1). Where all times of a window coincide
// the slope is 0.
func Slope(t, y []float64, window float64) []float64 {
	_, slope := both(t, y, window)
	return slope
}

func both(t, y []float64, window float64) (value, slope []float64) {
	if len(t) != len(y) {
		panic("smooth: t and y differ in length")
	}
	if !(window >= 0) {
		panic("smooth: negative window")
	}
	n := len(t)
	value, slope = make([]float64, n), make([]float64, n)
	low, high := 0, 0
	for i := range n {
		low, high = reach(t, i, window/2, low, high)
		value[i], slope[i] = parabola(t[low:high], y[low:high], t[i])
	}
	return value, slope
}

// reach returns the half-open range of points within half of t[i], widened to
// the MinPoints nearest. low and high are the range of the point before.
func reach(t []float64, i int, half float64, low, high int) (int, int) {
	const slack = 1e-9 // a window edge that falls on a point takes it in spite of rounding
	for low < i && t[i]-t[low] > half*(1+slack) {
		low++
	}
	for low > 0 && t[i]-t[low-1] <= half*(1+slack) {
		low--
	}
	high = max(high, i+1)
	for high < len(t) && t[high]-t[i] <= half*(1+slack) {
		high++
	}
	for high > i+1 && t[high-1]-t[i] > half*(1+slack) {
		high--
	}
	want := min(MinPoints, len(t))
	for high-low < want {
		switch {
		case low == 0:
			high++
		case high == len(t):
			low--
		case t[i]-t[low-1] <= t[high]-t[i]:
			low--
		default:
			high++
		}
	}
	return low, high
}

// At fits one parabola to all of t, y and returns its value and slope at the
// time at. With two distinct times it fits a line, with one the mean. It panics
// when t is empty or lengths differ.
func At(t, y []float64, at float64) (value, slope float64) {
	if len(t) == 0 || len(t) != len(y) {
		panic("smooth: At needs as many times as values, and at least one")
	}
	return parabola(t, y, at)
}

// Line fits a straight line to all of t, y and returns its value at the time at
// and its slope. With one distinct time it returns the mean and 0. It panics
// when t is empty or lengths differ.
func Line(t, y []float64, at float64) (value, slope float64) {
	if len(t) == 0 || len(t) != len(y) {
		panic("smooth: Line needs as many times as values, and at least one")
	}
	n := float64(len(t))
	var st, sy float64
	for k := range t {
		st += t[k] - at
		sy += y[k]
	}
	mt, my := st/n, sy/n
	var sxx, sxy float64
	for k := range t {
		d := t[k] - at - mt
		sxx += d * d
		sxy += d * (y[k] - my)
	}
	if !(sxx > 0) {
		return my, 0
	}
	slope = sxy / sxx
	return my - slope*mt, slope
}

// parabola is least squares with the basis 1, d, d² made orthogonal over the
// window (d = t − centre), which keeps it well conditioned on any grid.
func parabola(t, y []float64, at float64) (value, slope float64) {
	n := float64(len(t))
	var mean, my float64
	for k := range t {
		mean += t[k] - at
		my += y[k]
	}
	mean, my = mean/n, my/n // centre of the window, seen from at
	var s2, s3, sy1 float64
	for k := range t {
		d := t[k] - at - mean
		s2 += d * d
		s3 += d * d * d
		sy1 += d * (y[k] - my)
	}
	if !(s2 > 0) {
		return my, 0
	}
	b1 := sy1 / s2
	// second basis function: q(d) = d² − (s3/s2)·d − s2/n
	skew, level := s3/s2, s2/n
	var qq, qy, size float64
	for k := range t {
		d := t[k] - at - mean
		q := d*d - skew*d - level
		qq += q * q
		qy += q * (y[k] - my)
		size += d * d * d * d
	}
	value, slope = my-b1*mean, b1
	if qq > 1e-12*size { // fewer than three distinct times leave a line
		b2 := qy / qq
		d := -mean
		value += b2 * (d*d - skew*d - level)
		slope += b2 * (2*d - skew)
	}
	return value, slope
}

// Noise estimates the standard deviation of independent noise on y, in units of
// y: each inner point is compared with the straight line between its two
// neighbours, the difference is scaled to unit variance, and the median absolute
// difference is scaled by 1.4826 (normal noise). Curvature adds little as long as it is
// small against the noise over two steps. Fewer than three points give 0.
//
// Source of the pseudo-residuals: Gasser, Sroka & Jennen-Steinmetz 1986,
// Biometrika 73:625, from memory; the median in place of the mean square is ours,
// so that a few spikes do not count.
func Noise(t, y []float64) float64 {
	if len(t) != len(y) {
		panic("smooth: t and y differ in length")
	}
	var r []float64
	for i := 1; i+1 < len(t); i++ {
		span := t[i+1] - t[i-1]
		if !(span > 0) {
			continue
		}
		w := (t[i] - t[i-1]) / span
		e := y[i] - (1-w)*y[i-1] - w*y[i+1]
		e /= math.Sqrt(1 + (1-w)*(1-w) + w*w)
		if !math.IsNaN(e) && !math.IsInf(e, 0) {
			r = append(r, math.Abs(e))
		}
	}
	if len(r) == 0 {
		return 0
	}
	return 1.4826 * Median(r)
}

// Median is the middle value of x, or the mean of the two middle ones; x is not
// changed. It panics when x is empty.
func Median(x []float64) float64 {
	if len(x) == 0 {
		panic("smooth: Median of nothing")
	}
	s := slices.Clone(x)
	slices.Sort(s)
	k := len(s) / 2
	if len(s)%2 == 1 {
		return s[k]
	}
	return s[k-1] + (s[k]-s[k-1])/2
}

// Interpolate is y at the time at, by straight lines between points; t is
// non-decreasing. Before the first and after the last point it is that point's
// y. It panics when t is empty or lengths differ.
func Interpolate(t, y []float64, at float64) float64 {
	if len(t) == 0 || len(t) != len(y) {
		panic("smooth: Interpolate needs as many times as values, and at least one")
	}
	i := sort.SearchFloat64s(t, at)
	switch {
	case i == len(t):
		return y[i-1]
	case i == 0 || t[i] == at:
		return y[i]
	}
	w := (at - t[i-1]) / (t[i] - t[i-1])
	return (1-w)*y[i-1] + w*y[i]
}
