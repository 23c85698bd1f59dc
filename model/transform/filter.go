package transform

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"flourcast/model"
)

// Filter is a Savitzky–Golay filter on evenly spaced columns: a polynomial of
// Degree is fitted by least squares to Window columns (odd), and its derivative of
// Order at the middle one is taken, per step of the grid. Order 0 leaves the curve
// as it is. The zero Window and Degree mean 7 and 2.
type Filter struct {
	Order  int `json:"order"`
	Window int `json:"window"`
	Degree int `json:"degree"`
}

// widest window, columns.
const widest = 201

// check fills in the zero values; a filter that cannot be is a *model.SettingError.
func (f Filter) check() (Filter, error) {
	if f.Window == 0 {
		f.Window = 7
	}
	if f.Degree == 0 {
		f.Degree = 2
	}
	bad := func(setting string, found any, want string) (Filter, error) {
		return f, &model.SettingError{Kind: "derivative", Setting: setting, Found: fmt.Sprint(found), Want: want}
	}
	switch {
	case f.Order < 0 || f.Order > 2:
		return bad("order", f.Order, "0, 1 or 2")
	case f.Degree < 1 || f.Degree > 5 || f.Degree < f.Order:
		return bad("degree", f.Degree, "1 to 5, and at least the order of the derivative")
	case f.Window%2 == 0 || f.Window <= f.Degree || f.Window > widest:
		return bad("window", f.Window, fmt.Sprintf("an odd number of columns above the degree of %d, at most %d", f.Degree, widest))
	}
	return f, nil
}

// half is how many columns are lost at either end.
func (f Filter) half() int {
	if f.Order == 0 {
		return 0
	}
	return f.Window / 2
}

// weights are what each column of a window counts: row Order of (JᵀJ)⁻¹Jᵀ times
// Order!, J having the powers 0…Degree of the distance from the middle (Savitzky &
// Golay 1964, Anal Chem 36:1627). It panics on a filter that check refuses.
func (f Filter) weights() []float64 {
	if f.Order == 0 {
		return []float64{1}
	}
	h := f.Window / 2
	j := mat.NewDense(f.Window, f.Degree+1, nil)
	for i := range f.Window {
		power := 1.0
		for k := range f.Degree + 1 {
			j.Set(i, k, power)
			power *= float64(i-h) / float64(h) // within −1 and 1, for digits
		}
	}
	var qr mat.QR
	qr.Factorize(j)
	one := mat.NewDense(f.Window, f.Window, nil)
	for i := range f.Window {
		one.Set(i, i, 1)
	}
	var inverse mat.Dense
	if err := qr.SolveTo(&inverse, false, one); err != nil {
		panic("transform: a polynomial that check let through cannot be fitted: " + err.Error())
	}
	scale := 1.0
	for k := 1; k <= f.Order; k++ {
		scale *= float64(k) / float64(h)
	}
	w, odd := make([]float64, f.Window), float64(1-2*(f.Order%2)) // −1 for order 1
	for i := range w {
		w[i] = scale * (inverse.At(f.Order, i) + odd*inverse.At(f.Order, f.Window-1-i)) / 2 // true weights are the same, or opposite, on both sides
	}
	return w
}

// filter writes the filtered curve of x into out, len(x) − 2·half figures. Pairs
// around the middle are taken together: where a curve does not move its derivative
// is exactly 0.
func (f Filter) filter(w, x, out []float64) {
	h := f.half()
	for k := range out {
		sum := 0.0
		for i := 1; i <= h; i++ {
			left, right := x[k+h-i], x[k+h+i]
			if f.Order == 1 {
				sum += w[h+i] * (right - left)
			} else {
				sum += w[h+i] * ((right - x[k+h]) + (left - x[k+h]))
			}
		}
		if f.Order == 0 {
			sum = x[k]
		}
		out[k] = sum
	}
}

// still is the spread, in units of the largest figure that a window of weights w
// lies over, below which a derivative's differences between rows are rounding.
func still(w []float64) float64 {
	sum := 0.0
	for _, v := range w {
		sum += math.Abs(v)
	}
	return 16 * 0x1p-52 * sum
}

// back turns coefficients b on the filtered curve into ones on the curve of p
// columns: ŷ = b0 + Σ b·(F·x) = b0 + Σ (Fᵀ·b)·x.
func back(w, b []float64, p int) []float64 {
	out := make([]float64, p)
	for k, v := range b {
		for i, c := range w {
			out[k+i] += c * v
		}
	}
	return out
}
