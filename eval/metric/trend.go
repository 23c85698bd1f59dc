package metric

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Trend is a term in a least-squares line through errors: its coefficient, the
// standard error, t, degrees of freedom and two-sided p. Low and High are the
// 95 % interval of the coefficient.
type Trend struct {
	Value float64 `json:"value"`
	SE    float64 `json:"se"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	T     float64 `json:"t"`
	DF    float64 `json:"df"`
	P     float64 `json:"p"`
	N     int     `json:"n"`
}

// Drift is the slope of errors over time t: e = a + Value·t, in response units
// for each unit of t. It needs three rows, times that differ, and a residual
// above 0.
func Drift(e, t []float64) (Trend, bool) { return last(e, [][]float64{t}) }

// Curvature is the square term of errors over x, standardised to z (mean 0, SD 1):
// e = a + b·z + Value·z², in response units. It needs four rows, three different
// x, and a residual above 0. A p below 0.05 says that a straight line through x
// leaves something (Tukey's test of one degree of freedom, where x is the
// prediction; Tukey 1949, Biometrics 5:232, from memory).
func Curvature(e, x []float64) (Trend, bool) {
	if len(e) != len(x) || len(e) == 0 {
		panic("metric: errors and x need the same number of rows, at least one")
	}
	m, sd := mean(x), SD(x)
	if len(x) < 2 || sd == 0 {
		return Trend{}, false
	}
	z, square := make([]float64, len(x)), make([]float64, len(x))
	for i, v := range x {
		z[i] = (v - m) / sd
		square[i] = z[i] * z[i]
	}
	return last(e, [][]float64{z, square})
}

// last fits e on the columns and tells of the last one, by taking off what the
// columns before it explain (Gram–Schmidt, twice for the digits).
func last(e []float64, columns [][]float64) (Trend, bool) {
	n := len(e)
	if len(columns[0]) != n || n == 0 {
		panic("metric: errors and times need the same number of rows, at least one")
	}
	basis := [][]float64{slices.Repeat([]float64{1}, n)}
	df := float64(n - 1 - len(columns))
	if df < 1 {
		return Trend{}, false
	}
	var size float64
	for _, c := range columns {
		v := slices.Clone(c)
		before := norm(v)
		for range 2 {
			for _, b := range basis {
				take(v, b)
			}
		}
		if size = norm(v); size <= 1e-10*before {
			return Trend{}, false
		}
		basis = append(basis, v)
	}
	rest := slices.Clone(e)
	for range 2 {
		for _, b := range basis[:len(basis)-1] {
			take(rest, b)
		}
	}
	v := basis[len(basis)-1]
	slope := dot(rest, v) / (size * size)
	take(rest, v)
	rss := dot(rest, rest)
	if !(rss > 0) {
		return Trend{}, false
	}
	t := Trend{Value: slope, SE: math.Sqrt(rss/df) / size, DF: df, N: n}
	t.T = slope / t.SE
	dist := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	t.P = 2 * dist.CDF(-math.Abs(t.T))
	half := dist.Quantile(0.975) * t.SE
	t.Low, t.High = slope-half, slope+half
	return t, true
}

// take subtracts from v its part along b.
func take(v, b []float64) {
	f := dot(v, b) / dot(b, b)
	for i := range v {
		v[i] -= f * b[i]
	}
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

func norm(v []float64) float64 { return math.Sqrt(dot(v, v)) }
