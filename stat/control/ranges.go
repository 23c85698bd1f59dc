package control

import (
	"fmt"
	"math"
	"slices"
)

// d2 and d3 are mean and standard deviation of the range of n standard normal
// figures, n from 2 to 10 (Harter 1960, Ann Math Stat 31:1122-1131; from memory, and
// the test integrates them).
var (
	d2 = []float64{0, 0, 1.128379, 1.692569, 2.058751, 2.325929, 2.534413, 2.704357, 2.847201, 2.970026, 3.077505}
	d3 = []float64{0, 0, 0.852502, 0.888368, 0.879808, 0.864082, 0.848040, 0.833205, 0.819831, 0.807834, 0.797051}
)

// Factors are those of charts of means and ranges of n figures: means lie within
// x̿ ± A2·R̄, ranges within D3·R̄ … D4·R̄, and σ = R̄/D2.
type Factors struct{ A2, D2, D3, D4 float64 }

// FactorsOf returns the factors for limits at three standard deviations:
//
//	A2 = 3/(d2·√n),  D3 = max(0, 1 − 3·d3/d2),  D4 = 1 + 3·d3/d2
//
// (ISO 7870-2; from memory). It returns an *Error for n outside 2 … 10: the range of
// more figures tells too little.
func FactorsOf(n int) (Factors, error) {
	if n < 2 || n >= len(d2) {
		return Factors{}, &Error{"figures of a group", fmt.Sprint(n), "2 to 10"}
	}
	return Factors{A2: 3 / (d2[n] * math.Sqrt(float64(n))), D2: d2[n], D3: max(0, 1-3*d3[n]/d2[n]), D4: 1 + 3*d3[n]/d2[n]}, nil
}

// RangeChart is a chart of the means and one of the ranges of groups.
type RangeChart struct {
	Centre, MeanRange, Sigma float64
	Means, Ranges            []Point
}

// Ranges charts groups of one size, 2 to 10 figures each, such as the duplicates
// of a day. The limits come from the groups themselves. It returns an *Error for
// fewer than two groups, groups of unequal size, a figure that is not finite, or
// groups none of which has a spread.
func Ranges(groups [][]float64) (RangeChart, error) {
	if len(groups) < 2 {
		return RangeChart{}, &Error{"groups", fmt.Sprint(len(groups)), "two or more"}
	}
	n := len(groups[0])
	f, err := FactorsOf(n)
	if err != nil {
		return RangeChart{}, err
	}
	c := RangeChart{Means: make([]Point, len(groups)), Ranges: make([]Point, len(groups))}
	for i, g := range groups {
		if len(g) != n {
			return RangeChart{}, &Error{fmt.Sprintf("group %d", i+1), fmt.Sprint(len(g), " figures"), fmt.Sprint(n, " as in group 1")}
		}
		mean := 0.0
		for _, v := range g {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return RangeChart{}, &Error{fmt.Sprintf("group %d", i+1), fmt.Sprint(v), "finite figures"}
			}
			mean += v / float64(n)
		}
		c.Means[i].Value, c.Ranges[i].Value = mean, slices.Max(g)-slices.Min(g)
		c.Centre += mean / float64(len(groups))
		c.MeanRange += c.Ranges[i].Value / float64(len(groups))
	}
	if c.MeanRange == 0 {
		return RangeChart{}, &Error{"ranges", "all 0", "figures that vary"}
	}
	c.Sigma = c.MeanRange / f.D2
	for i := range groups {
		m, r := &c.Means[i], &c.Ranges[i]
		m.Low, m.High = c.Centre-f.A2*c.MeanRange, c.Centre+f.A2*c.MeanRange
		r.Low, r.High = f.D3*c.MeanRange, f.D4*c.MeanRange
		m.Signal, r.Signal = signal(m.Value, m.Low, m.High), signal(r.Value, r.Low, r.High)
	}
	return c, nil
}
