// Package baseline has what every other model must beat: the mean, and each
// feature alone.
//
//  1. Mean predicts the training mean.
//  2. Screen fits each feature alone with an independent library.
//
// It refuses figures that cannot be squared; a feature or response without
// variance gives no line, with the reason.
package baseline

import (
	"encoding/json"

	"flourcast/model"
	"flourcast/model/design"
)

// Mean is the model without features.
type Mean struct{}

// MeanModel predicts the training mean of N rows.
type MeanModel struct {
	n, p int
	mean float64
}

// Kind is "mean".
func (Mean) Kind() string { return "mean" }

// Fit takes any rows; only a *model.RangeError is possible.
func (f Mean) Fit(m *design.Matrix) (model.Path, error) {
	mean, err := model.MeanOf(m.Response(), m.Y())
	if err != nil {
		return nil, err
	}
	return model.OneStep(&MeanModel{m.N(), m.P(), mean}, "mean"), nil
}

// FitMoments is Fit from cross-products.
func (Mean) FitMoments(mo model.Moments) (model.Path, error) {
	return model.OneStep(&MeanModel{mo.Y.N, mo.X.P, mo.Y.Mean}, "mean"), nil
}

// Steps is 1 for at least one row.
func (Mean) Steps(rows, _ int) int { return min(rows, 1) }

// Prepare has nothing to do.
func (Mean) Prepare(x model.XMoments, _ model.Solver) (model.Solver, error) {
	return meanSolver(x.P), nil
}

type meanSolver int

func (p meanSolver) Solve(_ model.YMoments, b []float64) (int, bool) {
	clear(b[:p])
	return 1, true
}

// Kind is "mean".
func (f *MeanModel) Kind() string { return "mean" }

// Predict returns the mean for any row of p figures.
func (f *MeanModel) Predict(x []float64) float64 {
	if len(x) != f.p {
		panic("baseline: Predict needs as many figures as the model has features")
	}
	return f.mean
}

// Linear has coefficients of zero.
func (f *MeanModel) Linear() model.Linear {
	return model.Linear{Intercept: f.mean, Coefficients: make([]float64, f.p)}
}

// DF is 0.
func (f *MeanModel) DF() float64 { return 0 }

// Complexity is empty: there is no choice.
func (f *MeanModel) Complexity() model.Complexity { return model.Complexity{} }

type meanPayload struct {
	Rows     int     `json:"rows"`
	Features int     `json:"features"`
	Mean     float64 `json:"mean"`
}

// MarshalJSON writes what UnmarshalMean reads.
func (f *MeanModel) MarshalJSON() ([]byte, error) {
	return json.Marshal(meanPayload{f.n, f.p, f.mean})
}

// UnmarshalMean reads a saved mean. Errors are *model.PayloadError.
func UnmarshalMean(data []byte) (*MeanModel, error) {
	var s meanPayload
	if err := model.DecodePayload("mean", data, &s); err != nil {
		return nil, err
	}
	if s.Rows < 1 || s.Features < 0 {
		return nil, &model.PayloadError{Kind: "mean", Found: "no rows", Want: "at least one"}
	}
	return &MeanModel{s.Rows, s.Features, s.Mean}, nil
}
