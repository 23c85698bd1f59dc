// Package moment forms sums and products of the rows of a matrix once, and those
// of any part of the rows from them.
//
//  1. NewRows sees a matrix as deviations from its column means, and says which
//     columns do not vary or cannot be squared.
//  2. NewBase forms cross-products of a narrow matrix; a Part is a Base less some
//     rows, by subtraction, and says when that would cost too many digits.
//  3. NewWide keeps the rows of a matrix with more columns than rows, of which
//     parts are fitted from the rows themselves or from their n×n products.
//
// It knows plain figures only: no methods, no folds. It refuses figures that
// cannot be squared, by name.
package moment

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// Matrix is n rows of p finite figures under the columns' names. Answers are not
// written to.
type Matrix interface {
	N() int
	P() int
	Row(i int) []float64
	Features() []string
}

// X is the features' part of a data set's cross-products: N rows, P features,
// means, and XX[j,k] = Σ (x[j] − Mean[j])(x[k] − Mean[k]), p×p row-major, both
// halves. A feature without variance has a row and column of exact zeros.
type X struct {
	N, P     int
	Mean, XX []float64
}

// Y is one response's part: XY[j] = Σ (x[j] − mean)(y − Mean) and
// YY = Σ (y − Mean)².
type Y struct {
	N    int
	Mean float64
	XY   []float64
	YY   float64
}

// RangeError names a column whose figures cannot be squared safely: larger than
// 1e100 or varying by less than 1e-100.
type RangeError struct {
	Column string
	Value  float64
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("model: column %s: found a figure or spread of %.3g, expected between 1e-100 and 1e100; give the column in another unit", e.Column, e.Value)
}

// Figures are squared and multiplied, so they must stay within these.
const largest, smallest = 1e100, 1e-100

// Rounding is how far, relative to its largest figure, a column of equal figures
// can lie from its computed mean.
const Rounding = 4 * 0x1p-52

// CheckRange returns a *RangeError for a column whose largest size or largest
// deviation from its mean is out of range.
func CheckRange(column string, spread, top float64) error {
	if top > largest {
		return &RangeError{column, top}
	}
	if spread > 0 && spread < smallest && spread > Rounding*top {
		return &RangeError{column, spread}
	}
	return nil
}

// Mean is the mean, corrected once by the mean of the deviations, the largest
// deviation from it and the largest size.
func Mean(v []float64) (mean, spread, top float64) {
	n := float64(len(v))
	for _, x := range v {
		top = max(top, math.Abs(x))
		mean += x / n // cannot overflow
	}
	left := 0.0
	for _, x := range v {
		left += (x - mean) / n
	}
	mean += left
	for _, x := range v {
		spread = max(spread, math.Abs(x-mean))
	}
	return mean, spread, top
}

// short is the length up to which a plain loop beats a library call.
const short = 16

// Dot is Σ a·b.
func Dot(a, b []float64) float64 {
	if len(a) > short {
		return floats.Dot(a, b)
	}
	b = b[:len(a)]
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// Add adds f·b to a.
func Add(a []float64, f float64, b []float64) {
	if len(a) > short {
		floats.AddScaled(a, f, b)
		return
	}
	b = b[:len(a)]
	for i := range a {
		a[i] += f * b[i]
	}
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}
