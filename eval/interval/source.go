package interval

// Source is what a forecast takes its interval from: Cross where it is there,
// else the normal-theory interval with the leverage of the lot.
type Source struct {
	Normal   Interval
	Cross    *Cross
	Leverage func(x []float64) float64 // for Normal only
}

// Kind names the kind of interval that Around gives.
func (s Source) Kind() string {
	if s.Cross != nil {
		return s.Cross.Kind
	}
	return KindParametric
}

// Guarantee is the coverage that is guaranteed whatever the distribution; ok is
// false for the parametric interval, which rests on normal errors instead.
func (s Source) Guarantee(level float64) (share float64, ok bool) {
	if s.Cross == nil {
		return 0, false
	}
	return s.Cross.Guarantee(level), true
}

// Around is the interval at level of a lot with features x that the model
// forecasts at value. See Cross.Around and Interval.Around for the errors.
func (s Source) Around(x []float64, value, level float64) (Range, error) {
	if s.Cross != nil {
		return s.Cross.Around(x, level)
	}
	low, high, err := s.Normal.Around(value, s.Leverage(x), level)
	if err != nil {
		return Range{}, err
	}
	return Range{Low: &low, High: &high, Level: level}, nil
}

// Conformance is the probability of meeting low…high by the same distribution as
// Around, so that a probability and an interval never contradict each other.
func (s Source) Conformance(x []float64, value float64, low, high *float64) (float64, error) {
	if s.Cross != nil {
		return s.Cross.Conformance(x, low, high)
	}
	leverage := s.Leverage(x)
	if _, err := s.Normal.SE(leverage); err != nil {
		return 0, err
	}
	if !finite(value) {
		return 0, &ValueError{"value", "no finite number", "a finite number"}
	}
	return s.Normal.Conformance(value, leverage, low, high), nil
}
