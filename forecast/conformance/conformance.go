// Package conformance is the arithmetic of deciding by a specification: how
// probable it is that a value known with some uncertainty lies within limits.
//
//  1. Spread says how a value is known: a standard uncertainty, with degrees of
//     freedom where it was estimated from few figures.
//  2. Limits.Probability is the probability of lying within the limits, and Rule
//     turns it into accept, hold or reject.
//  3. Limits.Acceptance turns the rule round: which values are accepted, the
//     tolerance interval less its guard bands.
//  4. Shares splits the whole line at several cuts: named classes.
//
// It follows JCGM 106:2012 and ILAC-G8:09/2019. It refuses limits upside down and
// figures that are not finite, and knows no flour and no model.
package conformance

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// ValueError says which figure cannot be used, what it was, and what was expected.
type ValueError struct{ Part, Found, Want string }

func (e *ValueError) Error() string {
	return fmt.Sprintf("conformance: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}

// Spread is a standard uncertainty U in the unit of the value, with DF degrees of
// freedom of Student's t; DF 0 means that U is known, and the normal distribution.
type Spread struct {
	U  float64
	DF float64
}

// Check returns a *ValueError for an uncertainty that is negative or not finite,
// and for degrees of freedom between 0 and 1, negative or not a number.
func (s Spread) Check() error {
	if !(s.U >= 0) || math.IsInf(s.U, 0) {
		return &ValueError{"standard uncertainty", fmt.Sprint(s.U), "a finite number, 0 or more"}
	}
	if s.DF != 0 && !(s.DF >= 1) {
		return &ValueError{"degrees of freedom", fmt.Sprint(s.DF), "1 or more, or 0 where the uncertainty is known"}
	}
	return nil
}

// below is the probability of a standardised error of at most z. Near the middle
// Student's t is taken as I(z²/(ν+z²); 1/2, ν/2): the complement, 1 less a number
// next to 1, would keep only half of the digits of a small z.
func (s Spread) below(z float64) float64 {
	if s.DF == 0 || math.IsInf(s.DF, 1) {
		return 0.5 * math.Erfc(-z/math.Sqrt2)
	}
	if z*z < s.DF {
		return 0.5 + math.Copysign(0.5, z)*mathext.RegIncBeta(0.5, s.DF/2, z*z/(s.DF+z*z))
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: s.DF}.CDF(z)
}

// quantile is the standardised error that is not exceeded with probability p.
func (s Spread) quantile(p float64) float64 {
	if s.DF == 0 || math.IsInf(s.DF, 1) {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: s.DF}.Quantile(p)
}

// beyond is the probability that the true value lies on the far side of a limit
// that is room away (negative: already passed).
func (s Spread) beyond(room float64) float64 {
	if s.U == 0 {
		if room < 0 {
			return 1
		}
		return 0
	}
	return s.below(-room / s.U)
}

// Limits are a tolerance interval, its ends included; nil on a side without limit.
type Limits struct{ Low, High *float64 }

// Check returns a *ValueError for a limit that is not finite, and for a lower
// limit that is not below the upper one.
func (l Limits) Check() error {
	for _, v := range []*float64{l.Low, l.High} {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
			return &ValueError{"limit", fmt.Sprint(*v), "a finite number"}
		}
	}
	if l.Low != nil && l.High != nil && !(*l.Low < *l.High) {
		return &ValueError{"limits", fmt.Sprintf("%v to %v", *l.Low, *l.High), "the lower below the upper"}
	}
	return nil
}

// Probability is the conformance probability of a value (JCGM 106:2012, 7.2 to
// 7.4), with T the normal or Student's t distribution:
//
//	p = T((high − value)/u) − T((low − value)/u)
//
// Either tail is taken on its own side, so that a p near 0 is no difference of
// two numbers near 1. Without limits it is 1; with u = 0 it is 0 or 1. Errors are
// those of Check, and a *ValueError for a value that is not finite.
func (l Limits) Probability(value float64, s Spread) (float64, error) {
	if err := l.Check(); err != nil {
		return 0, err
	}
	if err := s.Check(); err != nil {
		return 0, err
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, &ValueError{"value", fmt.Sprint(value), "a finite number"}
	}
	return l.probability(value, s), nil
}

func (l Limits) probability(value float64, s Spread) float64 {
	under, over := 0.0, 0.0 // probability of lying below low, above high
	if l.Low != nil {
		under = s.beyond(value - *l.Low)
	}
	if l.High != nil {
		over = s.beyond(*l.High - value)
	}
	if s.U > 0 && l.Low != nil && l.High != nil {
		// Beyond a limit the small difference is that of two tails.
		if value > *l.High {
			return max(0, s.below((*l.High-value)/s.U)-s.below((*l.Low-value)/s.U))
		}
		if value < *l.Low {
			return max(0, s.below((value-*l.Low)/s.U)-s.below((value-*l.High)/s.U))
		}
	}
	return max(0, 1-under-over)
}

// Acceptance are the values that are accepted when a probability of at least p is
// asked for: the tolerance interval less its guard bands (JCGM 106:2012, 8.3;
// with one limit the guard band is u times the p quantile, and U = 2u at
// p = 0.977, as in ILAC-G8:09/2019). ok is false where no value reaches p. Errors
// are those of Probability, and a *ValueError for p outside (0, 1).
func (l Limits) Acceptance(s Spread, p float64) (accept Limits, ok bool, err error) {
	if err := l.Check(); err != nil {
		return Limits{}, false, err
	}
	if err := s.Check(); err != nil {
		return Limits{}, false, err
	}
	if !(p > 0 && p < 1) {
		return Limits{}, false, &ValueError{"probability", fmt.Sprint(p), "between 0 and 1, such as 0.95"}
	}
	guard := s.U * s.quantile(p)
	switch {
	case l.Low == nil && l.High == nil:
		return Limits{}, true, nil
	case l.High == nil:
		v := *l.Low + guard
		return Limits{Low: &v}, true, nil
	case l.Low == nil:
		v := *l.High - guard
		return Limits{High: &v}, true, nil
	}
	// p rises up to the middle and falls beyond it: one bisection gives the guard
	// band of either side.
	middle := *l.Low + (*l.High-*l.Low)/2
	if l.probability(middle, s) < p {
		return Limits{}, false, nil
	}
	out := *l.Low - 40*s.U - (middle - *l.Low) // far enough for p near 0, or as far as is looked
	in := middle
	for range 200 {
		half := out + (in-out)/2
		if half <= out || half >= in {
			break
		}
		if l.probability(half, s) >= p {
			in = half
		} else {
			out = half
		}
	}
	high := *l.High - (in - *l.Low)
	return Limits{Low: &in, High: &high}, true, nil
}

// Shares are the probabilities of the len(cuts)+1 classes that rising cuts make of
// the line, lowest first; they add up to 1. It returns a *ValueError for cuts
// that do not rise or are not finite, and as Probability does.
func Shares(value float64, s Spread, cuts []float64) ([]float64, error) {
	if len(cuts) == 0 {
		return nil, &ValueError{"cuts", "none", "one or more"}
	}
	var out []float64
	for k := range cuts {
		l := Limits{High: &cuts[k]}
		if k > 0 {
			l.Low = &cuts[k-1]
		}
		p, err := l.Probability(value, s)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	p, err := Limits{Low: &cuts[len(cuts)-1]}.Probability(value, s)
	if err != nil {
		return nil, err
	}
	return append(out, p), nil
}
