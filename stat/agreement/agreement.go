// Package agreement compares two ways of measuring the same things, pair by pair.
//
//  1. Deming fits a line where both ways err: a constant ratio of their error
//     variances, with jackknife intervals; DemingEach where every figure has its
//     own standard error.
//  2. PassingBablok fits a line by the median of all slopes, whatever the errors'
//     distribution, for two ways that measure the same thing in the same unit.
//  3. BlandAltman says within what limits the two differ.
//
// It refuses figures that are not finite, slices of unequal length (a panic), too
// few pairs, and pairs without spread. It calls no two ways interchangeable: that
// depends on what the figures are for. It knows no flour.
package agreement

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Error says why there is no answer.
type Error struct{ What, Found, Want string }

func (e *Error) Error() string {
	return fmt.Sprintf("agreement: %s: found %s, expected %s", e.What, e.Found, e.Want)
}

// Estimate is a figure with its standard error and interval.
type Estimate struct{ Value, SE, Low, High float64 }

// pairs checks x and y and returns their means and sums of squares and products.
func pairs(x, y []float64, least int) (mx, my, sxx, syy, sxy float64, err error) {
	if len(x) != len(y) {
		panic(fmt.Sprintf("agreement: %d figures of x, %d of y", len(x), len(y)))
	}
	if len(x) < least {
		return 0, 0, 0, 0, 0, &Error{"pairs", fmt.Sprint(len(x)), fmt.Sprintf("%d or more", least)}
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return 0, 0, 0, 0, 0, &Error{fmt.Sprint("pair ", i+1), fmt.Sprintf("%v and %v", x[i], y[i]), "finite figures"}
		}
		mx += (x[i] - mx) / float64(i+1)
		my += (y[i] - my) / float64(i+1)
	}
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		sxx, syy, sxy = sxx+dx*dx, syy+dy*dy, sxy+dx*dy
	}
	if !finite(sxx) || !finite(syy) || !finite(sxy) {
		return 0, 0, 0, 0, 0, &Error{"figures", "sums beyond all bounds", "figures of a usual size"}
	}
	if !(sxx > 0) || !(syy > 0) {
		return 0, 0, 0, 0, 0, &Error{"figures", "one way without any spread", "pairs that differ"}
	}
	return mx, my, sxx, syy, sxy, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Correlation is Pearson's r of the pairs. Errors as of Deming.
func Correlation(x, y []float64) (float64, error) {
	_, _, sxx, syy, sxy, err := pairs(x, y, 2)
	if err != nil {
		return 0, err
	}
	return math.Max(-1, math.Min(1, sxy/math.Sqrt(sxx)/math.Sqrt(syy))), nil
}

// Difference is how two ways differ: Bias is the mean of y − x with its interval,
// SD that of the differences, Lower and Upper the limits of agreement
// Bias ± z·SD (z 1.96 at level 0.95) with theirs.
type Difference struct {
	N                  int
	SD                 float64
	Bias, Lower, Upper Estimate
}

// BlandAltman takes the differences y − x (Bland & Altman 1986, Lancet i:307):
//
//	SE(bias) = s/√n      SE(limit) ≈ √(3·s²/n)      t with n − 1 degrees of freedom
//
// The standard errors are theirs. It needs three pairs; level lies between 0 and 1.
func BlandAltman(x, y []float64, level float64) (Difference, error) {
	checkLevel(level)
	if _, _, _, _, _, err := pairs(x, y, 3); err != nil {
		return Difference{}, err
	}
	n := float64(len(x))
	d := Difference{N: len(x)}
	mean, ss := 0.0, 0.0
	for i := range x {
		mean += (y[i] - x[i]) / n
	}
	for i := range x {
		ss += (y[i] - x[i] - mean) * (y[i] - x[i] - mean)
	}
	d.SD = math.Sqrt(ss / (n - 1))
	t := student(level, n-1)
	z := distuv.UnitNormal.Quantile(0.5 + level/2)
	d.Bias = around(mean, d.SD/math.Sqrt(n), t)
	d.Lower = around(mean-z*d.SD, d.SD*math.Sqrt(3/n), t)
	d.Upper = around(mean+z*d.SD, d.SD*math.Sqrt(3/n), t)
	return d, nil
}

func around(v, se, t float64) Estimate { return Estimate{v, se, v - t*se, v + t*se} }

func student(level, df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.5 + level/2)
}

func checkLevel(level float64) {
	if !(level > 0 && level < 1) {
		panic(fmt.Sprintf("agreement: level %v", level))
	}
}
