package linear

import (
	"fmt"
	"math"

	"flourcast/model"
	"flourcast/model/design"
)

// rowWeights are the weights of a weighted fit, n figures of mean 1: the matrix's
// own, or else 1/SE² of each row's response. The mean of 1 changes no coefficient
// and no standard error; it makes σ the spread of a row of average weight.
func rowWeights(m *design.Matrix) ([]float64, error) {
	w := make([]float64, m.N())
	switch {
	case m.Weights() != nil:
		copy(w, m.Weights())
	case m.SE() != nil:
		for i, se := range m.SE() {
			if se <= 0 {
				return nil, &model.SettingError{Kind: "ols", Setting: "weights", Found: fmt.Sprintf("a standard error of 0 for lot %s", m.Lots()[i]), Want: "standard errors above 0; more replicates, or no weights"}
			}
			w[i] = 1 / (se * se)
		}
	default:
		return nil, &model.SettingError{Kind: "ols", Setting: "weights", Found: "no standard error of the response in some rows", Want: "one for every row; replicates of every lot, or no weights"}
	}
	top := 0.0
	for _, v := range w {
		top = max(top, v)
	}
	sum := 0.0
	for i := range w {
		w[i] /= top // so that the sum cannot overflow
		sum += w[i]
	}
	if !(sum > 0) || math.IsInf(top, 0) {
		return nil, &model.SettingError{Kind: "ols", Setting: "weights", Found: fmt.Sprintf("a largest weight of %v", top), Want: "weights within 1e-300 and 1e300"}
	}
	for i := range w {
		if w[i] *= float64(m.N()) / sum; w[i] < lightest {
			return nil, &model.SettingError{Kind: "ols", Setting: "weights", Found: fmt.Sprintf("lot %s with %.1g of the average weight", m.Lots()[i], w[i]), Want: "at least 1e-12; look at its standard error"}
		}
	}
	return w, nil
}

// lightest is the smallest weight beside a mean of 1; below it a row says nothing
// and its residual cannot be worked out from what it says.
const lightest = 1e-12

// standard is what Regress works on: rows centred on their (weighted) means, or
// not at all through the origin, and multiplied by root, √w of each row. What
// does not vary, or cannot be squared, is refused as in an ordinary fit.
func (f OLS) standard(m *design.Matrix) (s *model.Standard, root []float64, err error) {
	if s, err = model.Standardise("ols", m, model.ScaleNone); err != nil {
		return nil, nil, err
	}
	root = make([]float64, m.N())
	for i := range root {
		root[i] = 1
	}
	if !f.Origin && !f.Weighted {
		return s, root, nil
	}
	if f.Weighted {
		w, err := rowWeights(m)
		if err != nil {
			return nil, nil, err
		}
		for i, v := range w {
			root[i] = math.Sqrt(v)
		}
	}
	// The means move from those of Standardise to the weighted ones, or to zero.
	n := float64(m.N())
	s.YMean, s.YRest = f.moveTo(s.YMean, root, m.Y(), n)
	for j := range s.P {
		s.XMean[j], s.XRest[j] = f.moveTo(s.XMean[j], root, m.Column(j), n)
	}
	for i, r := range root {
		s.Y[i] = r * (m.Y()[i] - s.YMean)
		for j, v := range m.Row(i) {
			s.Z[i*s.P+j] = r * (v - s.XMean[j])
		}
	}
	return s, root, nil
}

// moveTo is the weighted mean of v, corrected once, and what it still loses to
// rounding; zero through the origin. Weights are root², of mean 1.
func (f OLS) moveTo(mean float64, root, v []float64, n float64) (moved, rest float64) {
	if f.Origin {
		return 0, 0
	}
	for range 2 {
		rest = 0
		for i, r := range root {
			rest += r * r * (v[i] - mean) / n
		}
		mean += rest
	}
	rest = 0
	for i, r := range root {
		rest += r * r * (v[i] - mean) / n
	}
	return mean, rest
}
