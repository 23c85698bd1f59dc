// Package metric computes figures of merit from plain slices.
//
//  1. The error of a row is measured − predicted everywhere (the sign of ISO
//     12099:2017, from memory; many programs use the opposite).
//  2. A figure that does not exist for the data comes with ok = false.
//  3. Tests of bias, slope and error spread come with their own limits.
//
// Slices of unequal length, or without any row, are a programmer's mistake and
// panic. Formulas of the table in ISO 12099 are from memory.
package metric

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Errors is measured − predicted, row by row.
func Errors(measured, predicted []float64) []float64 {
	if len(measured) != len(predicted) || len(measured) == 0 {
		panic("metric: measured and predicted need the same number of rows, at least one")
	}
	e := make([]float64, len(measured))
	for i := range e {
		e[i] = measured[i] - predicted[i]
	}
	return e
}

// PRESS is Σ e². With predictions made without the row it is the predicted
// residual sum of squares (Allen 1974, Technometrics 16:125, from memory).
func PRESS(e []float64) float64 {
	ss := 0.0
	for _, v := range e {
		ss += v * v
	}
	return ss
}

// RMSE is √(Σ e²/n): RMSEC, RMSECV or RMSEP by what the predictions are.
func RMSE(e []float64) float64 { return math.Sqrt(PRESS(e) / float64(count(e))) }

// Bias is the mean error.
func Bias(e []float64) float64 { return mean(e) }

// SD is the sample standard deviation (n − 1); 0 for one row, and exactly 0 for
// equal figures.
func SD(v []float64) float64 {
	m, ss := mean(v), 0.0
	if slices.Max(v) == slices.Min(v) {
		return 0
	}
	for _, x := range v {
		ss += (x - m) * (x - m)
	}
	return math.Sqrt(ss / float64(len(v)-1))
}

// SEP is the standard error of prediction, √(Σ (e − bias)²/(n − 1)). It needs two
// rows. RMSE² = bias² + SEP²·(n − 1)/n.
func SEP(e []float64) (float64, bool) { return SD(e), len(e) > 1 }

// BiasLimit is t(0.975, n − 1)·SEP/√n: a bias beyond ± this is more than chance.
func BiasLimit(e []float64) (float64, bool) {
	sep, ok := SEP(e)
	if !ok {
		return 0, false
	}
	n := float64(len(e))
	return student(n-1) * sep / math.Sqrt(n), true
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(count(v))
}

func count(v []float64) int {
	if len(v) == 0 {
		panic("metric: no rows")
	}
	return len(v)
}

// ErrorLimit is the largest SEP of n validation rows that still agrees with a
// calibration error sec of nCal rows and p features or components:
// sec·√F(1 − alpha; n − 1, nCal − p − 1 degrees of freedom).
func ErrorLimit(sec float64, n, nCal, p int, alpha float64) (float64, bool) {
	d1, d2 := float64(n-1), float64(nCal-p-1)
	if d1 < 1 || d2 < 1 || !(alpha > 0 && alpha < 1) {
		return 0, false
	}
	return sec * math.Sqrt(distuv.F{D1: d1, D2: d2}.Quantile(1-alpha)), true
}

// Q2 is 1 − press/pressMean, where pressMean is that of the mean model on the
// same folds. It does not exist when pressMean is 0.
func Q2(press, pressMean float64) (float64, bool) {
	if !(pressMean > 0) {
		return 0, false
	}
	return 1 - press/pressMean, true
}

// RPD is the sample standard deviation of the measured figures over SEP (some
// divide by RMSEP). It needs an SEP above 0.
func RPD(measured, predicted []float64) (float64, bool) {
	sep, ok := SEP(Errors(measured, predicted))
	if !ok || sep == 0 {
		return 0, false
	}
	return SD(measured) / sep, true
}

// RER is the range of the measured figures over SEP.
func RER(measured, predicted []float64) (float64, bool) {
	sep, ok := SEP(Errors(measured, predicted))
	if !ok || sep == 0 {
		return 0, false
	}
	return (slices.Max(measured) - slices.Min(measured)) / sep, true
}

// Line is the regression of measured on predicted, measured = Intercept +
// Slope·predicted. Residual is its residual SD (n − 2); T = |Slope − 1|/SE(Slope)
// and Limit = t(0.975, n − 2): a T above Limit says that predictions are
// stretched or squeezed.
type Line struct{ Slope, Intercept, Residual, T, Limit float64 }

// Slope fits the line. It needs three rows, predictions that vary, and a residual
// above 0.
func Slope(measured, predicted []float64) (Line, bool) {
	n := len(Errors(measured, predicted))
	if n < 3 {
		return Line{}, false
	}
	mx, my := mean(predicted), mean(measured)
	sxx, sxy := 0.0, 0.0
	for i := range measured {
		dx := predicted[i] - mx
		sxx += dx * dx
		sxy += dx * (measured[i] - my)
	}
	if sxx == 0 {
		return Line{}, false
	}
	l := Line{Slope: sxy / sxx, Limit: student(float64(n - 2))}
	l.Intercept = my - l.Slope*mx
	rss := 0.0
	for i := range measured {
		e := measured[i] - my - l.Slope*(predicted[i]-mx)
		rss += e * e
	}
	if rss == 0 {
		return Line{}, false
	}
	l.Residual = math.Sqrt(rss / float64(n-2))
	l.T = math.Abs(l.Slope-1) * math.Sqrt(sxx) / l.Residual
	return l, true
}

func student(df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
}
