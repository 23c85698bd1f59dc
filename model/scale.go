package model

import (
	"math"

	"flourcast/model/design"
)

// Standard is the centred and scaled copy of a matrix that one fit on rows
// works on: Z is n×p row-major with Z[i,j] = (x[i,j] − XMean[j]) / Scale[j], and
// Y[i] = y[i] − YMean. Scale is the sample standard deviation (n − 1) or 1.
type Standard struct {
	N, P         int
	Z, Y         []float64
	XMean, Scale []float64
	YMean        float64
}

// Standardise makes a Standard of m's rows. kind names the method in errors:
// *SettingError for an unknown scaling, *RangeError, *NoVarianceError for the
// features, or else the response, that do not vary.
func Standardise(kind string, m *design.Matrix, scaling Scaling) (*Standard, error) {
	scaling, err := scaling.Check(kind)
	if err != nil {
		return nil, err
	}
	n, p := m.N(), m.P()
	s := &Standard{N: n, P: p, Z: make([]float64, n*p), Y: make([]float64, n), XMean: make([]float64, p), Scale: make([]float64, p)}
	flat, err := centre(m, s.XMean, s.Z)
	if err != nil {
		return nil, err
	}
	var names []string
	for j, f := range flat {
		if f {
			names = append(names, m.Features()[j])
		}
	}
	if names != nil {
		return nil, &NoVarianceError{Kind: kind, Features: names}
	}
	mean, flatY, err := centreResponse(m.Response(), m.Y(), s.Y)
	if err != nil {
		return nil, err
	}
	if flatY {
		return nil, &NoVarianceError{Kind: kind, Response: m.Response()}
	}
	s.YMean = mean
	for j := range p {
		s.Scale[j] = 1
		if scaling == ScaleUnit {
			ss := 0.0
			for i := range n {
				ss += s.Z[i*p+j] * s.Z[i*p+j]
			}
			s.Scale[j] = math.Sqrt(ss / float64(n-1))
			for i := range n {
				s.Z[i*p+j] /= s.Scale[j]
			}
		}
	}
	return s, nil
}

// Figures are squared and multiplied, so they must stay within these.
const largest, smallest = 1e100, 1e-100

// rounding is how far, relative to its largest figure, a column of equal
// figures can lie from its computed mean.
const rounding = 4 * 0x1p-52

// centre writes x − mean into u (n×p) and the means into mean, and says which
// columns do not vary; those become exactly zero.
func centre(m *design.Matrix, mean, u []float64) (flat []bool, err error) {
	n, p := m.N(), m.P()
	x := m.X()
	flat = make([]bool, p)
	for j := range p {
		at := func(i int) float64 { return x[i*p+j] }
		mu, spread, top := meanOf(n, at)
		if err := inRange(m.Features()[j], spread, top); err != nil {
			return nil, err
		}
		mean[j] = mu
		if flat[j] = spread <= rounding*top; flat[j] {
			continue
		}
		for i := range n {
			u[i*p+j] = x[i*p+j] - mu
		}
	}
	return flat, nil
}

// centreResponse is centre for one response.
func centreResponse(name string, y, v []float64) (mean float64, flat bool, err error) {
	mean, spread, top := meanOf(len(y), func(i int) float64 { return y[i] })
	if err := inRange(name, spread, top); err != nil {
		return 0, false, err
	}
	if flat = spread <= rounding*top; flat {
		return mean, true, nil
	}
	for i := range y {
		v[i] = y[i] - mean
	}
	return mean, false, nil
}

// meanOf is the mean (corrected once by the mean of the deviations), the largest
// deviation from it and the largest size.
func meanOf(n int, at func(int) float64) (mean, spread, top float64) {
	for i := range n {
		top = max(top, math.Abs(at(i)))
	}
	if top > largest {
		return 0, 0, top
	}
	sum := 0.0
	for i := range n {
		sum += at(i)
	}
	mean = sum / float64(n)
	sum = 0
	for i := range n {
		sum += at(i) - mean
	}
	mean += sum / float64(n)
	for i := range n {
		spread = max(spread, math.Abs(at(i)-mean))
	}
	return mean, spread, top
}

func inRange(column string, spread, top float64) error {
	if top > largest {
		return &RangeError{column, top}
	}
	if spread > 0 && spread < smallest && spread > rounding*top {
		return &RangeError{column, spread}
	}
	return nil
}

// MeanOf is the mean of a response, corrected once for rounding. It returns a
// *RangeError when the figures cannot be squared.
func MeanOf(name string, y []float64) (float64, error) {
	mean, spread, top := meanOf(len(y), func(i int) float64 { return y[i] })
	return mean, inRange(name, spread, top)
}
