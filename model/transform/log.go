// Package transform fits any method to another form of its data and answers in the
// form that was given.
//
//  1. Log fits ln y and predicts the mean of y: exponentials of what the method
//     says, times the smearing factor of its residuals.
//  2. Derivative fits the Savitzky–Golay derivative of whole curves, and gives its
//     coefficients on the curves themselves. Of several orders it makes one path,
//     so that the order is chosen where the number of components is.
//  3. Both are model.Fitters: whoever cross-validates them repeats the transform in
//     every training part, and measures errors in the units of y.
//
// It refuses responses that are not above zero, windows that do not fit, and
// curves of fewer columns than a window. It knows no method by name.
package transform

import (
	"encoding/json"
	"fmt"
	"math"

	"flourcast/model"
	"flourcast/model/design"
)

// PositiveError says which response has no logarithm.
type PositiveError struct {
	Row           int // from 0
	Lot, Response string
	Value         float64
}

func (e *PositiveError) Error() string {
	return fmt.Sprintf("log: row %d (lot %s): found %s of %v, expected above 0; leave the row out, or fit without the logarithm", e.Row+1, e.Lot, e.Response, e.Value)
}

// Log fits Inner to ln y, for responses whose error grows with their size.
//
//	ŷ(x) = exp(μ(x))·S,  S = (1/n)·Σ exp(e_i),  e_i = ln y_i − μ(x_i)
//
// exp(μ) alone would be the median of y, below its mean. S is the smearing factor
// of Duan 1983 (J Am Stat Assoc 78:605): it needs no normal errors. Residuals of
// the training rows are a little small, and so is S: by about σ²·(DF + 1)/2n.
type Log struct{ Inner model.Stepped }

// Kind is that of the method inside.
func (l Log) Kind() string { return l.Inner.Kind() }

// Settled is that of the method inside.
func (l Log) Settled() bool { return settled(l.Inner) }

func settled(f model.Fitter) bool {
	s, ok := f.(model.Settled)
	return ok && s.Settled()
}

// Steps is that of the method inside.
func (l Log) Steps(rows, p int) int { return l.Inner.Steps(rows, p) }

// Fit fits ln y. Errors: *PositiveError, those of the method inside.
func (l Log) Fit(m *design.Matrix) (model.Path, error) {
	logs := make([]float64, m.N())
	for i, y := range m.Y() {
		if y <= 0 {
			return nil, &PositiveError{i, m.Lots()[i], m.Response(), y}
		}
		logs[i] = math.Log(y)
	}
	on, err := m.WithResponse(m.Response(), logs)
	if err != nil {
		return nil, err
	}
	path, err := l.Inner.Fit(on)
	if err != nil {
		return nil, err
	}
	return logPath{path, on}, nil
}

type logPath struct {
	model.Path
	m *design.Matrix // with ln y
}

// At gives step i its smearing factor.
func (p logPath) At(i int) model.Fitted {
	f := p.Path.At(i)
	sum := 0.0
	for k, y := range p.m.Y() {
		sum += math.Exp(min(y-f.Predict(p.m.Row(k)), highest))
	}
	return &Logged{f, sum / float64(p.m.N())}
}

// Logged is a fit of ln y. Its equation (Linear) and everything else that the
// method inside says of itself is of ln y; Predict answers in the units of y.
type Logged struct {
	model.Fitted
	smearing float64
}

// highest is the logarithm of the largest figure that a response may have.
const highest = 230 // e^230 ≈ 1e100

// Predict is the mean of y at x, at most about 1e100·S. It panics when len(x) is
// not p.
func (f *Logged) Predict(x []float64) float64 {
	return math.Exp(min(f.Fitted.Predict(x), highest)) * f.smearing
}

// Smearing is S, by which the median is multiplied.
func (f *Logged) Smearing() float64 { return f.smearing }

// OnLog says that Linear is of ln y.
func (f *Logged) OnLog() bool { return true }

// Inner is the fit of ln y itself.
func (f *Logged) Inner() model.Fitted { return f.Fitted }

// Row is x: features go through as they are.
func (f *Logged) Row(x []float64) []float64 { return x }

// Matrix is m as the method inside saw it: with ln y.
func (f *Logged) Matrix(m *design.Matrix) (*design.Matrix, error) {
	logs := make([]float64, m.N())
	for i, y := range m.Y() {
		logs[i] = math.Log(y)
	}
	return m.WithResponse(m.Response(), logs)
}

type logPayload struct {
	Smearing float64         `json:"smearing"`
	Inner    json.RawMessage `json:"inner"`
}

// Encode writes what DecodeLog reads; inner writes the method inside.
func (f *Logged) Encode(inner func(model.Fitted) (json.RawMessage, error)) (json.RawMessage, error) {
	data, err := inner(f.Fitted)
	if err != nil {
		return nil, err
	}
	return json.Marshal(logPayload{f.smearing, data})
}

// DecodeLog reads a saved fit of ln y. Errors: *model.PayloadError, those of inner.
func DecodeLog(data []byte, inner func(json.RawMessage) (model.Fitted, error)) (*Logged, error) {
	var s logPayload
	if err := model.DecodePayload("log", data, &s); err != nil {
		return nil, err
	}
	if !(s.Smearing > 0) {
		return nil, &model.PayloadError{Kind: "log", Found: fmt.Sprint("a smearing factor of ", s.Smearing), Want: "one above 0"}
	}
	f, err := inner(s.Inner)
	if err != nil {
		return nil, err
	}
	return &Logged{f, s.Smearing}, nil
}
