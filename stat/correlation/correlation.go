// Package correlation measures how closely two figures go together, and how sure
// that is.
//
//  1. Pearson, Partial, Within and Curvature give one correlation each, of the
//     rows that are named or of all.
//  2. Fisher gives its 95 % interval, P and DifferenceP its p-values.
//  3. Bootstrap gives any of them an interval from resampled rows, beside Fisher's.
//  4. Percentile turns resampled figures into an interval, FalseDiscovery adjusts
//     many p-values.
//
// A correlation that is not defined (one side does not vary, too few rows) is
// absent: ok is false, never 0 and never NaN. Callers give finite figures and
// slices of one length; unequal lengths panic.
package correlation

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Pearson returns r = S_xy/√(S_xx·S_yy) over the rows at (nil: all), each row as
// often as it is named. ok is false for fewer than three rows or a side without
// variation.
func Pearson(x, y []float64, at []int) (r float64, ok bool) {
	return Within(x, y, nil, at)
}

// Within returns the correlation after the mean of each group is taken off both
// sides: Pearson's r of x − x̄_g and y − ȳ_g. Groups are numbers 0, 1, …; nil is
// one group. ok is as in Pearson.
func Within(x, y []float64, group []int, at []int) (r float64, ok bool) {
	sameLength(x, y)
	at = rows(at, len(x))
	groups := 1
	of := func(int) int { return 0 }
	if group != nil {
		groups = 1 + slices.Max(append([]int{0}, group...))
		of = func(i int) int { return group[i] }
	}
	count, meanX, meanY := make([]float64, groups), make([]float64, groups), make([]float64, groups)
	for _, i := range at {
		g := of(i)
		count[g]++
		meanX[g] += (x[i] - meanX[g]) / count[g]
		meanY[g] += (y[i] - meanY[g]) / count[g]
	}
	var xx, yy, xy, sizeX, sizeY float64
	for _, i := range at {
		g := of(i)
		dx, dy := x[i]-meanX[g], y[i]-meanY[g]
		xx, yy, xy = xx+dx*dx, yy+dy*dy, xy+dx*dy
		sizeX, sizeY = max(sizeX, math.Abs(x[i])), max(sizeY, math.Abs(y[i]))
	}
	if len(at) < 3 || !varies(xx, sizeX) || !varies(yy, sizeY) {
		return 0, false
	}
	r = xy / math.Sqrt(xx) / math.Sqrt(yy)
	return min(1, max(-1, r)), !math.IsNaN(r)
}

// varies tells variation from rounding: deviations of 1e-12 of the figures' size.
func varies(ss, size float64) bool {
	limit := 1e-12 * size
	return ss > limit*limit && !math.IsInf(ss, 0)
}

// Partial returns the correlation of x and y with z held constant:
//
//	(r_xy − r_xz·r_yz)/√[(1 − r_xz²)(1 − r_yz²)]
//
// ok is false where one of the three is not defined, or z explains x or y whole.
func Partial(x, y, z []float64, at []int) (r float64, ok bool) {
	xy, ok1 := Pearson(x, y, at)
	xz, ok2 := Pearson(x, z, at)
	yz, ok3 := Pearson(y, z, at)
	rest := (1 - xz*xz) * (1 - yz*yz)
	if !ok1 || !ok2 || !ok3 || rest < 1e-12 {
		return 0, false
	}
	return min(1, max(-1, (xy-xz*yz)/math.Sqrt(rest))), true
}

// Curvature returns the correlation of y with the square of x (about the mean of
// all rows) given x: below zero where y is highest in between.
func Curvature(x, y []float64, at []int) (r float64, ok bool) {
	return Partial(squares(x), y, x, at)
}

// TopInside reports whether the least-squares parabola of y over x has its top,
// and that top inside the range of x.
func TopInside(x, y []float64) bool {
	q := squares(x)
	xy, ok1 := Pearson(x, y, nil)
	qy, ok2 := Pearson(q, y, nil)
	xq, ok3 := Pearson(x, q, nil)
	if !ok1 || !ok2 || !ok3 {
		return false
	}
	// Slopes on x and q, each in SD units, times 1 − r²_xq; at the top
	// slope_x/SD_x + 2·slope_q·(x − x̄)/SD_q = 0.
	slopeX, slopeQ := xy-xq*qy, qy-xq*xy
	if slopeQ >= 0 {
		return false
	}
	top := mean(x) - slopeX*SD(q)/(2*slopeQ*SD(x))
	return top > slices.Min(x) && top < slices.Max(x)
}

func squares(x []float64) []float64 {
	m, q := mean(x), make([]float64, len(x))
	for i, v := range x {
		q[i] = (v - m) * (v - m)
	}
	return q
}

// SD is the sample standard deviation (n − 1), 0 for fewer than two figures.
func SD(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	m, ss := mean(x), 0.0
	for _, v := range x {
		ss += (v - m) * (v - m)
	}
	return math.Sqrt(ss / float64(len(x)-1))
}

func mean(x []float64) float64 {
	m := 0.0
	for i, v := range x {
		m += (v - m) / float64(i+1)
	}
	return m
}

func sameLength(x, y []float64) {
	if len(x) != len(y) {
		panic(fmt.Sprintf("correlation: %d figures against %d", len(x), len(y)))
	}
}

func rows(at []int, n int) []int {
	if at != nil {
		return at
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

// z is Fisher's atanh r, kept finite at r = ±1.
func z(r float64) float64 {
	const end = 1 - 1e-12
	return math.Atanh(min(end, max(-end, r)))
}

// Fisher returns the 95 % interval of a correlation over n rows with held
// variables held constant, tanh(atanh r ± 1.96/√(n − 3 − held)). ok is false when
// n − 3 − held is below 1.
func Fisher(r float64, n, held int) (low, high float64, ok bool) {
	if n-3-held < 1 {
		return 0, 0, false
	}
	half := distuv.UnitNormal.Quantile(0.975) / math.Sqrt(float64(n-3-held))
	return math.Tanh(z(r) - half), math.Tanh(z(r) + half), true
}

// P is the two-sided p of r over n rows (4 or more) against no correlation, by
// Fisher's z.
func P(r float64, n int) float64 { return twoSided(z(r) * math.Sqrt(float64(n-3))) }

// DifferenceP is the two-sided p that r over n rows and q over m other rows (4 or
// more each) are of one population: (atanh r − atanh q)/√[1/(n − 3) + 1/(m − 3)]
// is normal.
func DifferenceP(r float64, n int, q float64, m int) float64 {
	return twoSided((z(r) - z(q)) / math.Sqrt(1/float64(n-3)+1/float64(m-3)))
}

func twoSided(z float64) float64 { return min(1, 2*distuv.UnitNormal.CDF(-math.Abs(z))) }

// Percentile returns the 95 % percentile interval of resampled figures: of m, the
// ⌊(m + 1)/40⌋-th smallest and largest, the 50th of 1,999 (Efron & Tibshirani
// 1993, An Introduction to the Bootstrap, ch. 13, from memory). It sorts values
// in place; ok is false for fewer than 39.
func Percentile(values []float64) (low, high float64, ok bool) {
	tail := (len(values) + 1) / 40
	if tail < 1 {
		return 0, 0, false
	}
	slices.Sort(values)
	return values[tail-1], values[len(values)-tail], true
}

// FalseDiscovery returns the Benjamini–Hochberg adjusted values of p, in p's
// order: the smallest false discovery rate at which each would be called
// (Benjamini & Hochberg 1995, J R Stat Soc B 57:289).
func FalseDiscovery(p []float64) []float64 {
	order := rows(nil, len(p))
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	out, least := make([]float64, len(p)), 1.0
	for k := len(order) - 1; k >= 0; k-- {
		least = min(least, p[order[k]]*float64(len(p))/float64(k+1))
		out[order[k]] = least
	}
	return out
}
