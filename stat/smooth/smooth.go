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
	"sync"
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
	value := make([]float64, len(t))
	each(t, y, window, func(i int, p Parabola) { value[i] = p.Value })
	return value
}

// Slope is the first derivative of the same fit, in units of y per unit of t,
// length n. On an even grid with a symmetric window it equals the Savitzky–Golay
// derivative of order 2 (and of order 1). Where all times of a window coincide
// the slope is 0.
func Slope(t, y []float64, window float64) []float64 {
	slope := make([]float64, len(t))
	each(t, y, window, func(i int, p Parabola) { slope[i] = p.Slope })
	return slope
}

// each fits a parabola around every point.
func each(t, y []float64, window float64, take func(i int, p Parabola)) {
	if len(t) != len(y) {
		panic("smooth: t and y differ in length")
	}
	if !(window >= 0) {
		panic("smooth: negative window")
	}
	low, high := 0, 0
	for i := range t {
		low, high = reach(t, i, window/2, low, high)
		take(i, fit(t[low:high], y[low:high], t[i]))
	}
}

// Window is the half-open range of points that Values and Slope use at point i.
// It panics when i is not a point of t.
func Window(t []float64, i int, window float64) (low, high int) {
	if i < 0 || i >= len(t) {
		panic("smooth: Window around a point that is not there")
	}
	return reach(t, i, window/2, i, i+1)
}

// reach returns the half-open range of points within half of t[i], widened to
// the MinPoints nearest. It looks from the range low…high of a point nearby.
func reach(t []float64, i int, half float64, low, high int) (int, int) {
	half *= 1 + 1e-9 // a point on the window's edge counts in spite of rounding
	low, high = min(low, i), max(high, i+1)
	for low < i && t[i]-t[low] > half {
		low++
	}
	for low > 0 && t[i]-t[low-1] <= half {
		low--
	}
	for high > i+1 && t[high-1]-t[i] > half {
		high--
	}
	for high < len(t) && t[high]-t[i] <= half {
		high++
	}
	for want := min(MinPoints, len(t)); high-low < want; {
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

// Parabola is y ≈ Value + Slope·d + Curvature·d², d being the distance from the
// point it was fitted around.
type Parabola struct{ Value, Slope, Curvature float64 }

// Fit lays one parabola through all of t, y by least squares, around the time
// at. Through two distinct times it is a line, through one the mean. It panics
// when t is empty or lengths differ.
func Fit(t, y []float64, at float64) Parabola {
	if len(t) == 0 || len(t) != len(y) {
		panic("smooth: Fit needs as many times as values, and at least one")
	}
	return fit(t, y, at)
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

// fit is least squares with the basis 1, d, d² made orthogonal over the window,
// which keeps it well conditioned on any grid. d is the distance from the middle
// of the window, so that sums of d and of y − level are zero; the second basis
// function is q(d) = d² − skew·d − s2/n.
func fit(t, y []float64, at float64) Parabola {
	n := float64(len(t))
	y = y[:len(t)]
	var centre, level float64
	for k := range t {
		centre += t[k] - at
		level += y[k]
	}
	centre, level = centre/n, level/n // centre of the window, seen from at
	var s2, s3, s4, sy, s2y float64
	for k := range t {
		d, e := t[k]-at-centre, y[k]-level
		dd := d * d
		s2 += dd
		s3 += dd * d
		s4 += dd * dd
		sy += d * e
		s2y += dd * e
	}
	if !(s2 > 0) {
		return Parabola{Value: level}
	}
	line := sy / s2
	p := Parabola{Value: level - line*centre, Slope: line}
	skew := s3 / s2
	if qq := s4 - skew*s3 - s2*s2/n; qq > 1e-12*s4 { // fewer than three distinct times leave the line
		p.Curvature = (s2y - skew*sy) / qq
		p.Value += p.Curvature * (centre*centre + skew*centre - s2/n)
		p.Slope -= p.Curvature * (2*centre + skew)
	}
	return p
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
	hold := scratch.Get().(*[]float64)
	defer scratch.Put(hold)
	r := (*hold)[:0]
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
	*hold = r
	if len(r) == 0 {
		return 0
	}
	return 1.4826 * median(r)
}

// scratch is memory for what is put out of order to find a median: there are a
// dozen medians to a curve, and nothing of it is kept.
var scratch = sync.Pool{New: func() any { return new([]float64) }}

// Median is the middle value of x, or the mean of the two middle ones; x is not
// changed. It panics when x is empty.
func Median(x []float64) float64 {
	if len(x) == 0 {
		panic("smooth: Median of nothing")
	}
	hold := scratch.Get().(*[]float64)
	defer scratch.Put(hold)
	*hold = append((*hold)[:0], x...)
	return median(*hold)
}

// median is Median; it changes the order of s.
func median(s []float64) float64 {
	k, odd := len(s)/2, len(s)%2 == 1
	if slices.ContainsFunc(s, math.IsNaN) {
		slices.Sort(s) // which puts them first
		if odd {
			return s[k]
		}
		return s[k-1] + (s[k]-s[k-1])/2
	}
	selectAt(s, k)
	if odd {
		return s[k]
	}
	below := slices.Max(s[:k])
	return below + (s[k]-below)/2
}

// selectAt puts the k-th smallest of s, which has no NaN, at place k, what is not
// larger before it and what is not smaller behind (Hoare's selection). Stretches
// that are left after many rounds are sorted.
func selectAt(s []float64, k int) {
	low, high := 0, len(s)-1
	for round := 0; low < high; round++ {
		if round == 64 {
			slices.Sort(s[low : high+1])
			return
		}
		a, b, c := s[low], s[low+(high-low)/2], s[high]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := low, high
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return
		}
	}
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
