package agreement

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Median is a Passing–Bablok line, y = Intercept + Slope·x, with intervals; the
// estimates' SE is 0: the method has none.
type Median struct {
	N, Slopes, Shift int // pairs, slopes counted, and K, by which the median is shifted
	Intercept, Slope Estimate
}

// Advised is the number of pairs below which Passing–Bablok is unsure (30; common
// practice, from memory).
const Advised = 30

// PassingBablok takes the slopes of all pairs of pairs (Passing & Bablok 1983,
// J Clin Chem Clin Biochem 21:709, from memory): 0/0 and slopes of −1 are dropped;
// K is the number below −1, and the median shifted by K is the slope.
//
//	C = z·√(n(n − 1)(2n + 5)/18)   M₁ = round((N − C)/2)   M₂ = N − M₁ + 1
//
// are the ranks, each plus K, of the interval's ends; the intercept is the median
// of y − b·x. It holds for ways that measure the same thing, slope near 1. It
// needs five pairs, and so many slopes that the interval exists: else an *Error.
func PassingBablok(x, y []float64, level float64) (Median, error) {
	checkLevel(level)
	if _, _, _, _, _, err := pairs(x, y, 5); err != nil {
		return Median{}, err
	}
	var slopes []float64
	m := Median{N: len(x)}
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			dx, dy := x[j]-x[i], y[j]-y[i]
			if dx == 0 && dy == 0 {
				continue
			}
			s := dy / dx
			if dx == 0 {
				s = math.Inf(1)
				if dy < 0 {
					s = math.Inf(-1)
				}
			}
			if s == -1 {
				continue
			}
			if s < -1 {
				m.Shift++
			}
			slopes = append(slopes, s)
		}
	}
	m.Slopes = len(slopes)
	slices.Sort(slopes)
	n, total, k := float64(len(x)), len(slopes), m.Shift
	c := distuv.UnitNormal.Quantile(0.5+level/2) * math.Sqrt(n*(n-1)*(2*n+5)/18)
	m1 := int(math.Round((float64(total) - c) / 2))
	m2 := total - m1 + 1
	if m1 < 1 || m2+k > total || total%2 == 1 && (total+1)/2+k > total || total%2 == 0 && total/2+1+k > total {
		return Median{}, &Error{"slopes", fmt.Sprintf("%d, of which %d below −1", total, k), "enough for an interval: more pairs, of two ways that measure the same"}
	}
	b := slopes[(total-1)/2+k]
	if total%2 == 0 {
		b = (b + slopes[total/2+k]) / 2
	}
	m.Slope = Estimate{Value: b, Low: slopes[m1-1+k], High: slopes[m2-1+k]}
	if !finite(m.Slope.Value) || !finite(m.Slope.Low) || !finite(m.Slope.High) {
		return Median{}, &Error{"slopes", "many without bounds", "pairs that differ in both ways"}
	}
	m.Intercept = Estimate{Value: offset(x, y, b), Low: offset(x, y, m.Slope.High), High: offset(x, y, m.Slope.Low)}
	if m.Intercept.Low > m.Intercept.High { // figures below zero turn the ends about
		m.Intercept.Low, m.Intercept.High = m.Intercept.High, m.Intercept.Low
	}
	return m, nil
}

// offset is the median of y − b·x.
func offset(x, y []float64, b float64) float64 {
	d := make([]float64, len(x))
	for i := range x {
		d[i] = y[i] - b*x[i]
	}
	slices.Sort(d)
	if n := len(d); n%2 == 0 {
		return (d[n/2-1] + d[n/2]) / 2
	}
	return d[len(d)/2]
}
