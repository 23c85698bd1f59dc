package pairs

import (
	"math"

	"flourcast/dataset/trait"
)

// Alike is how many repeatability standard deviations two flours may lie apart and
// still pass for one: the repeatability limit, 2.8 s_r, that two results of one
// flour keep 95 times in 100 (ISO 5725).
const Alike = 2.8

// Separation is how far a treated flour lies from its untreated twin in one figure.
// Difference is treated − untreated, in the figure's unit; Units is that over the
// repeatability standard deviation, with its interval. Units, Low and High are nil
// where no repeatability is known.
type Separation struct {
	Difference float64  `json:"difference"`
	Percent    *float64 `json:"percent"` // of the untreated flour
	Units      *float64 `json:"in_repeatability_sds"`
	Low        *float64 `json:"low"`
	High       *float64 `json:"high"`
	Level      float64  `json:"level"`
}

// Repeatability is the standard deviation of one result on DF degrees of freedom.
type Repeatability struct {
	SD float64 `json:"sd"`
	DF float64 `json:"df"`
}

// Separate compares the means of n1 untreated and n2 treated results. The interval
// is Student's for the difference, s_r·√(1/n1 + 1/n2) its standard error, in units
// of s_r; the error of s_r as a unit is not in it. r is nil, or has no spread, where
// no repeatability is known. It panics for fewer than one result.
func Separate(untreated float64, n1 int, treated float64, n2 int, r *Repeatability, level float64) Separation {
	if n1 < 1 || n2 < 1 {
		panic("pairs: Separate without results")
	}
	if level == 0 {
		level = Level
	}
	s := Separation{Difference: treated - untreated, Level: level}
	if untreated != 0 {
		pct := 100 * s.Difference / math.Abs(untreated)
		s.Percent = &pct
	}
	if r == nil || !(r.SD > 0) || !(r.DF >= 1) {
		return s
	}
	units := s.Difference / r.SD
	half := quantile(level, r.DF) * math.Sqrt(1/float64(n1)+1/float64(n2))
	low, high := units-half, units+half
	s.Units, s.Low, s.High = &units, &low, &high
	return s
}

// Together is the separation over pairs: the mean difference with Student's interval
// from the spread of the differences themselves, so that it holds for pairs to come.
// Two pairs at least, else there is no interval.
func Together(pairs []Separation, r *Repeatability, level float64) (Separation, bool) {
	if len(pairs) == 0 {
		return Separation{}, false
	}
	if level == 0 {
		level = Level
	}
	n := float64(len(pairs))
	mean, percent, known := 0.0, 0.0, 0
	for _, p := range pairs {
		mean += p.Difference / n
		if p.Percent != nil {
			percent += *p.Percent
			known++
		}
	}
	s := Separation{Difference: mean, Level: level}
	if known == len(pairs) {
		percent /= n
		s.Percent = &percent
	}
	if r == nil || !(r.SD > 0) {
		return s, true
	}
	units := mean / r.SD
	s.Units = &units
	if len(pairs) < 2 {
		return s, true
	}
	ss := 0.0
	for _, p := range pairs {
		ss += (p.Difference - mean) * (p.Difference - mean)
	}
	half := quantile(level, n-1) * math.Sqrt(ss/(n-1)/n) / r.SD
	low, high := units-half, units+half
	s.Low, s.High = &low, &high
	return s, true
}

// Expectation is what the trade expects of a treated flour beside its untreated
// twin: Sign +1 higher, −1 lower, 0 hardly any difference. Common practice, no
// source, and said of chlorinated flour.
type Expectation struct {
	Solvent trait.Solvent `json:"solvent"`
	Feature string        `json:"feature"`
	Sign    int           `json:"sign"`
	Words   string        `json:"words"`
}

// Source is where the expectations come from.
const Source = "common practice, no source; said of chlorinated flour"

// Expectations are all of them, sucrose first.
func Expectations() []Expectation {
	return []Expectation{
		{trait.Sucrose, "rise_rate_mPas_per_s", 1, "rises faster in 50 % sucrose"},
		{trait.Sucrose, "peak_mPas", 1, "peaks higher in 50 % sucrose"},
		{trait.Sucrose, "final_mPas", 1, "ends higher in 50 % sucrose"},
		{trait.Water, "rise_rate_mPas_per_s", 0, "rises hardly differently in water"},
		{trait.Water, "peak_mPas", 0, "peaks hardly differently in water"},
		{trait.Water, "final_mPas", 0, "ends hardly differently in water"},
	}
}

// Holds answers the expectation by the interval of a separation. Higher (lower) is
// confirmed where the whole interval lies above (below) zero and contradicted on the
// other side. Hardly any difference is confirmed where the whole interval lies
// within ±Alike, and contradicted where none of it does.
func (e Expectation) Holds(s Separation) Answer {
	if s.Low == nil || s.High == nil {
		return CannotTell
	}
	low, high := *s.Low, *s.High
	if e.Sign < 0 {
		low, high = -high, -low
	}
	switch {
	case e.Sign == 0 && low > -Alike && high < Alike, e.Sign != 0 && low > 0:
		return Confirmed
	case e.Sign == 0 && (low > Alike || high < -Alike), e.Sign != 0 && high < 0:
		return Contradicted
	}
	return CannotTell
}
