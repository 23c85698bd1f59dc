// Package linear fits the mean and ordinary least squares, and screens features
// one at a time.
//
//  1. Mean predicts the training mean: what every other method must beat.
//  2. OLS solves least squares by QR with column pivoting on centred, scaled
//     columns, and names exact dependences instead of guessing.
//  3. Screen fits each feature alone with an independent library.
//
// It refuses features or responses without variance, too few rows, and figures
// that cannot be squared, by typed errors of package model.
package linear

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

// single is a path of one step.
type single struct {
	model.Fitted
	label string
}

func (s single) Len() int { return 1 }

func (s single) At(i int) model.Fitted {
	if i != 0 {
		panic("linear: the path has one step")
	}
	return s.Fitted
}

func (s single) Label(int) string { return s.label }

// Kind is "mean".
func (Mean) Kind() string { return "mean" }

// Fit takes any rows; only a *model.RangeError is possible.
func (f Mean) Fit(m *design.Matrix) (model.Path, error) {
	mean, err := model.MeanOf(m.Response(), m.Y())
	if err != nil {
		return nil, err
	}
	return single{&MeanModel{m.N(), m.P(), mean}, "mean"}, nil
}

// FitMoments is Fit from cross-products.
func (Mean) FitMoments(mo model.Moments) (model.Path, error) {
	return single{&MeanModel{mo.Y.N, mo.X.P, mo.Y.Mean}, "mean"}, nil
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
		panic("linear: Predict needs as many figures as the model has features")
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
