package model

import (
	"math"

	"flourcast/model/design"
	"flourcast/model/moment"
)

// Standard is the centred and scaled copy of a matrix that one fit on rows
// works on: Z is n×p row-major with Z[i,j] = (x[i,j] − XMean[j]) / Scale[j], and
// Y[i] = y[i] − YMean. Scale is the sample standard deviation (n − 1) or 1.
type Standard struct {
	N, P         int
	Z, Y         []float64
	XMean, Scale []float64
	YMean        float64
	// XRest and YRest are what the means lose to rounding: the true mean of
	// column j is XMean[j] + XRest[j].
	XRest []float64
	YRest float64
}

// MeanAt is the height of the fit b (original units) at XMean. It is YMean but
// for the means' rounding, which a steep fit on far-away figures would show.
func (s *Standard) MeanAt(b []float64) float64 {
	rest := s.YRest
	for j, v := range b {
		rest -= v * s.XRest[j]
	}
	return s.YMean + rest
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
	s := &Standard{N: n, P: p, Z: make([]float64, n*p), Y: make([]float64, n),
		XMean: make([]float64, p), XRest: make([]float64, p), Scale: make([]float64, p)}
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
	for i, y := range s.Y {
		s.YRest += y / float64(n)
		for j, z := range s.Z[i*p : (i+1)*p] {
			s.XRest[j] += z / float64(n)
		}
	}
	if scaling == ScaleNone {
		for j := range s.Scale {
			s.Scale[j] = 1
		}
		return s, nil
	}
	for i := range n {
		for j, z := range s.Z[i*p : (i+1)*p] {
			s.Scale[j] += z * z
		}
	}
	for j, ss := range s.Scale {
		s.Scale[j] = math.Sqrt(ss / float64(n-1))
	}
	for i := range n {
		row := s.Z[i*p : (i+1)*p]
		for j, scale := range s.Scale {
			row[j] /= scale
		}
	}
	return s, nil
}

// centre writes x − mean into u (n×p) and the means, each corrected once by the
// mean of its deviations, and says which columns do not vary; those become
// exactly zero.
func centre(m *design.Matrix, mean, u []float64) (flat []bool, err error) {
	n, p := m.N(), m.P()
	top, spread := make([]float64, p), make([]float64, p)
	for i := range n {
		for j, v := range m.Row(i) {
			top[j] = max(top[j], math.Abs(v))
			mean[j] += v / float64(n) // cannot overflow
		}
	}
	deviate := func() {
		for i := range n {
			row := u[i*p : (i+1)*p]
			for j, v := range m.Row(i) {
				row[j] = v - mean[j]
			}
		}
	}
	deviate()
	for i := range n {
		for j, v := range u[i*p : (i+1)*p] {
			mean[j] += v / float64(n)
		}
	}
	deviate()
	for i := range n {
		for j, v := range u[i*p : (i+1)*p] {
			spread[j] = max(spread[j], math.Abs(v))
		}
	}
	flat = make([]bool, p)
	some := false
	for j, name := range m.Features() {
		if err := moment.CheckRange(name, spread[j], top[j]); err != nil {
			return nil, err
		}
		flat[j] = spread[j] <= moment.Rounding*top[j]
		some = some || flat[j]
	}
	for i := 0; some && i < n; i++ {
		for j, f := range flat {
			if f {
				u[i*p+j] = 0
			}
		}
	}
	return flat, nil
}

// centreResponse is centre for one response.
func centreResponse(name string, y, v []float64) (mean float64, flat bool, err error) {
	mean, spread, top := moment.Mean(y)
	if err := moment.CheckRange(name, spread, top); err != nil {
		return 0, false, err
	}
	if flat = spread <= moment.Rounding*top; flat {
		return mean, true, nil
	}
	for i := range y {
		v[i] = y[i] - mean
	}
	return mean, false, nil
}

// MeanOf is the mean of a response, corrected once for rounding. It returns a
// *RangeError when the figures cannot be squared.
func MeanOf(name string, y []float64) (float64, error) {
	mean, spread, top := moment.Mean(y)
	return mean, moment.CheckRange(name, spread, top)
}

// Centre sees m as deviations from its means. kind names the method in errors:
// *RangeError, *NoVarianceError for the features, or else the response, that do
// not vary.
func Centre(kind string, m *design.Matrix) (*moment.Rows, *moment.Target, error) {
	rows, err := moment.NewRows(m)
	if err != nil {
		return nil, nil, err
	}
	if flat := rows.Flat(); flat != nil {
		e := &NoVarianceError{Kind: kind}
		for _, j := range flat {
			e.Features = append(e.Features, m.Features()[j])
		}
		return nil, nil, e
	}
	y, err := rows.Target(m.Response(), m.Y())
	if err != nil {
		return nil, nil, err
	}
	if y.Flat {
		return nil, nil, &NoVarianceError{Kind: kind, Response: m.Response()}
	}
	rows.Keep()
	return rows, y, nil
}

// Scales are what each feature is divided by: its sample standard deviation
// (n − 1), or 1.
func Scales(rows *moment.Rows, scaling Scaling) []float64 {
	out := make([]float64, rows.P)
	for j, ss := range rows.SS {
		out[j] = 1
		if scaling == ScaleUnit {
			out[j] = math.Sqrt(ss / float64(rows.N-1))
		}
	}
	return out
}
