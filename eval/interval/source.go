package interval

import (
	"fmt"
	"math"
	"slices"

	"flourcast/forecast/conformance"
)

// Source is what a forecast takes its interval from: Cross where it is there,
// else the normal-theory interval with the leverage of the lot.
type Source struct {
	Normal   Interval
	Cross    *Cross
	Leverage func(x []float64) float64 // for Normal only
	// Extra is variance that the calibration's errors do not hold, in squared
	// response units: replicates of the new lot that are worse than calibration's.
	Extra float64
}

// Spread is how the value of a lot with features x is known by normal theory,
// whatever kind of interval there is: s² = MSECV·(1 + h) + Extra, t with n − A − 1
// degrees of freedom. It returns a *ValueError as Interval.SE does.
func (s Source) Spread(x []float64) (conformance.Spread, error) {
	se, err := s.Normal.SE(s.Leverage(x))
	if err != nil {
		return conformance.Spread{}, err
	}
	if !finite(s.Extra) || s.Extra < 0 {
		return conformance.Spread{}, &ValueError{"variance of the replicates", fmt.Sprint(s.Extra), "a finite number, 0 or more"}
	}
	return conformance.Spread{U: math.Sqrt(se*se + s.Extra), DF: s.Normal.DF}, nil
}

// OnLog says that the interval is that of a model of ln y. Errors then grow with the
// value, and Spread, whose size is one for all values, is not theirs: ask
// Conformance.
func (s Source) OnLog() bool { return s.Cross != nil && s.Cross.Log }

// stretched is Cross with every miss multiplied by √(1 + Extra/MSECV): errors of
// the same shape that are as much larger.
func (s Source) stretched() (*Cross, error) {
	if s.Extra == 0 {
		return s.Cross, nil
	}
	factor := math.Sqrt(1 + s.Extra/s.Normal.MSECV)
	if !(factor >= 1) || math.IsInf(factor, 0) {
		return nil, &ValueError{"variance of the replicates", fmt.Sprint(s.Extra, " over an MSECV of ", s.Normal.MSECV), "a finite number, 0 or more"}
	}
	c := *s.Cross
	c.Misses = slices.Clone(c.Misses)
	for i := range c.Misses {
		c.Misses[i].Size *= factor
	}
	return &c, nil
}

// Kind names the kind of interval that Around gives.
func (s Source) Kind() string {
	if s.Cross != nil {
		return s.Cross.Kind
	}
	return KindParametric
}

// Around is the interval at level of a lot with features x that the model
// forecasts at value, Extra included: normal theory adds it to s², and the misses
// of a Cross grow in proportion. See Cross.Around and Interval.Around for the
// errors.
func (s Source) Around(x []float64, value, level float64) (Range, error) {
	if s.Cross != nil {
		c, err := s.stretched()
		if err != nil {
			return Range{}, err
		}
		return c.Around(x, level)
	}
	if _, _, err := s.Normal.Around(value, s.Leverage(x), level); err != nil {
		return Range{}, err
	}
	spread, err := s.Spread(x)
	if err != nil {
		return Range{}, err
	}
	half := s.Normal.t().Quantile(0.5+level/2) * spread.U
	low, high := value-half, value+half
	return Range{Low: &low, High: &high, Level: level}, nil
}

// Conformance is the probability of meeting low…high by the same distribution as
// Around, so that it and an interval never contradict each other; by a Cross it is
// counted from the calibration's own errors.
func (s Source) Conformance(x []float64, value float64, low, high *float64) (float64, error) {
	if s.Cross != nil {
		c, err := s.stretched()
		if err != nil {
			return 0, err
		}
		return c.Conformance(x, low, high)
	}
	spread, err := s.Spread(x)
	if err != nil {
		return 0, err
	}
	p, err := conformance.Limits{Low: low, High: high}.Probability(value, spread)
	if err != nil {
		return 0, &ValueError{"conformance", err.Error(), "a finite value and limits"}
	}
	return p, nil
}
