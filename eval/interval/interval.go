// Package interval says how far a forecast of one new lot may be off, from the
// errors that the model made on lots it had not seen.
//
//  1. New takes the cross-validated mean squared error, the number of lots and
//     what the model spent: s² = MSECV·(1 + h), t with n − A − 1 degrees of
//     freedom.
//  2. Around gives the interval at a level, for a lot with leverage h.
//  3. Conformance gives the probability that the lot meets a specification.
//
// It refuses figures that are not finite, a negative error, a leverage below 0,
// and a model that left no degree of freedom. It knows no model and no flour.
//
// # In a few lines
//
// From the error on lots not seen to the limits of a new one:
//
//	errors, err := interval.New(rmsecv*rmsecv, lots, components)
//	low, high, err := errors.Around(value, leverage, 0.90)
//	p := errors.Conformance(value, leverage, nil, &limit) // at most limit
package interval

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"

	"flourcast/forecast/conformance"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is the error of forecasts: MSECV in squared response units, DF the
// degrees of freedom of Student's t (n − A − 1), N the lots that it came from.
// Make it with New or by reading JSON; both check it.
type Interval struct {
	MSECV float64 `json:"msecv"`
	DF    float64 `json:"df"`
	N     int     `json:"n"`
}

// ValueError says which figure cannot be used, what it was, and what was expected.
type ValueError struct {
	Part  string
	Found string
	Want  string
}

func (e *ValueError) Error() string {
	return fmt.Sprintf("interval: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}

// New returns the interval of a model with complexity A (its degrees of freedom
// without the intercept: components of PLS, features of OLS, trace of ridge),
// whose cross-validated mean squared error over n lots is msecv:
//
//	s² = MSECV·(1 + h)      df = n − A − 1
//
// The form is that of Faber & Kowalski 1997, J Chemometrics 11:181 (from
// memory) without their correction for the error of the reference. MSECV comes
// from models fitted on fewer lots than the final one, so 1 + h counts the
// coefficients' uncertainty once more: the interval is a little wide rather
// than a little narrow. It returns a *ValueError for a negative or non-finite
// msecv or complexity, and when n − A − 1 is below 1.
func New(msecv float64, n int, complexity float64) (Interval, error) {
	if !finite(complexity) || complexity < 0 {
		return Interval{}, &ValueError{"complexity", fmt.Sprint(complexity), "a finite number, 0 or more"}
	}
	iv := Interval{MSECV: msecv, DF: float64(n) - complexity - 1, N: n}
	return iv, iv.Check()
}

// Check returns a *ValueError when the interval cannot be used: an error that is
// not finite or is negative, fewer than 1 degree of freedom, or more degrees of
// freedom than lots less one.
func (iv Interval) Check() error {
	switch {
	case !finite(iv.MSECV) || iv.MSECV < 0:
		return &ValueError{"msecv", fmt.Sprint(iv.MSECV), "a finite number, 0 or more"}
	case !finite(iv.DF) || iv.DF < 1:
		return &ValueError{"degrees of freedom (lots − components − 1)", fmt.Sprint(iv.DF), "1 or more: add lots or use fewer components"}
	case iv.DF > float64(iv.N)-1:
		return &ValueError{"degrees of freedom", fmt.Sprint(iv.DF), fmt.Sprint("at most the number of lots less one, ", iv.N-1)}
	}
	return nil
}

// SE returns the standard error of a forecast, √(MSECV·(1 + h)), in response
// units. Leverage h includes the 1/n of the mean. It returns a *ValueError as
// Check does, and for a leverage that is negative or not finite.
func (iv Interval) SE(leverage float64) (float64, error) {
	if err := iv.Check(); err != nil {
		return 0, err
	}
	if !finite(leverage) || leverage < 0 {
		return 0, &ValueError{"leverage", fmt.Sprint(leverage), "a finite number, 0 or more"}
	}
	se := math.Sqrt(iv.MSECV) * math.Sqrt(1+leverage)
	if !finite(se) {
		return 0, &ValueError{"standard error", fmt.Sprint(se), "a finite number"}
	}
	return se, nil
}

// Around returns value ± t·√(MSECV·(1 + h)) at a two-sided level between 0 and 1
// (0.90 leaves 5 % of lots on either side), in response units. It returns a
// *ValueError for a level outside (0, 1), a value that is not finite, and as SE
// does.
func (iv Interval) Around(value, leverage, level float64) (low, high float64, err error) {
	se, err := iv.SE(leverage)
	if err != nil {
		return 0, 0, err
	}
	if !finite(value) {
		return 0, 0, &ValueError{"value", fmt.Sprint(value), "a finite number"}
	}
	if !(level > 0 && level < 1) {
		return 0, 0, &ValueError{"level", fmt.Sprint(level), "between 0 and 1, such as 0.90"}
	}
	half := iv.t().Quantile(0.5+level/2) * se
	if low, high = value-half, value+half; !finite(low) || !finite(high) {
		return 0, 0, &ValueError{"limits", fmt.Sprintf("%v and %v", low, high), "finite numbers"}
	}
	return low, high, nil
}

// Conformance returns the probability that a lot forecast at value meets the
// specification low…high (nil: no limit on that side):
//
//	p = T((high − value)/s) − T((low − value)/s),  T of Student's t with DF
//
// After JCGM 106:2012, 7.2, with t in place of the normal since s is estimated.
// A specification without limits gives 1. With MSECV 0 the answer is 0 or 1. It
// panics where SE returns an error, value is not finite or the limits are none:
// check first.
func (iv Interval) Conformance(value, leverage float64, low, high *float64) float64 {
	se, err := iv.SE(leverage)
	if err != nil || !finite(value) {
		panic(fmt.Sprintf("interval: Conformance of value %v: %v", value, err))
	}
	p, err := conformance.Limits{Low: low, High: high}.Probability(value, conformance.Spread{U: se, DF: iv.DF})
	if err != nil {
		panic(fmt.Sprintf("interval: Conformance: %v", err))
	}
	return p
}

func (iv Interval) t() distuv.StudentsT { return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: iv.DF} }

// UnmarshalJSON reads an interval and checks it: a field that is unknown or
// missing, or a figure that Check refuses, is an error.
func (iv *Interval) UnmarshalJSON(data []byte) error {
	var in struct {
		MSECV *float64 `json:"msecv"`
		DF    *float64 `json:"df"`
		N     *int     `json:"n"`
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return fmt.Errorf("interval: %w", err)
	}
	if in.MSECV == nil || in.DF == nil || in.N == nil {
		return &ValueError{"fields", "one of msecv, df, n missing", "all three"}
	}
	read := Interval{*in.MSECV, *in.DF, *in.N}
	if err := read.Check(); err != nil {
		return err
	}
	*iv = read
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
