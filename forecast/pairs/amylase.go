package pairs

import (
	"fmt"
	"math"
)

// AmylaseThreshold is the index from which amylase is said to govern a water run,
// where a laboratory has no threshold of its own. Ours: a sound flour is thinned a
// little too, so zero would accuse every lot.
const AmylaseThreshold = 0.25

// LowFallingNumber is the falling number, s, below which a lot is asked for its
// pair (common practice, no source). It proves nothing: see FallingNumberCaution.
const LowFallingNumber = 250.0

// FallingNumberCaution is said where a low falling number is shown.
const FallingNumberCaution = "A low falling number is no proof of amylase: partial waxy wheat and very low protein give one too (Bettge 2018, Cereal Foods World 63(1), doi 10.1094/CFW-63-1-0012)."

// Index is the amylase activity index of a lot, (peak inhibited − peak in water) /
// peak inhibited, without unit: the share of the peak that amylase takes away. Low
// and High are its interval, nil where an error of one of the peaks is not known or
// the interval has no end.
type Index struct {
	Value float64  `json:"value"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
	Level float64  `json:"level"`
}

// AmylaseIndex works out the index of a lot from its peak in water and with the
// inhibitor, both by methods that differ in nothing else. level is the interval's
// (Level if 0).
//
// The interval is Fieller's for a ratio of independent normal means, by Student's t
// with Satterthwaite's degrees of freedom of water − (1−index)·inhibited. Source:
// Fieller 1954, J R Stat Soc B 16:175; Satterthwaite 1946, Biometrics Bull 2:110
// (from memory).
//
// An inhibited peak that is not above zero, or a figure that is not finite, is an
// *Error.
func AmylaseIndex(water, inhibited Figure, level float64) (Index, error) {
	if level == 0 {
		level = Level
	}
	if !finite(water.Mean, inhibited.Mean) || inhibited.Mean <= 0 || water.Mean < 0 {
		return Index{}, &Error{fmt.Sprintf("peaks of %g and, inhibited, %g mPa·s", water.Mean, inhibited.Mean), "peaks above 0", "look at the two runs"}
	}
	ratio := water.Mean / inhibited.Mean
	x := Index{Value: 1 - ratio, Level: level}
	if !water.sure() || !inhibited.sure() {
		return x, nil
	}
	if low, high, ok := fieller(water, inhibited, level); ok {
		low, high = 1-high, 1-low
		x.Low, x.High = &low, &high
	}
	return x, nil
}

// fieller gives the interval of a.Mean/b.Mean; ok is false where it has no end,
// because b is not told from zero.
func fieller(a, b Figure, level float64) (low, high float64, ok bool) {
	r := a.Mean / b.Mean
	va, vb := *a.SE**a.SE, *b.SE**b.SE
	t := quantile(level, satterthwaite(va, a.DF, r*r*vb, b.DF))
	g := t * t * vb / (b.Mean * b.Mean)
	if g >= 1 {
		return 0, 0, false
	}
	half := t / b.Mean * math.Sqrt(va*(1-g)+r*r*vb)
	return (r - half) / (1 - g), (r + half) / (1 - g), true
}

// satterthwaite is the degrees of freedom of a sum of two variances.
func satterthwaite(va, dfa, vb, dfb float64) float64 {
	if va+vb == 0 {
		return math.Min(dfa, dfb)
	}
	return (va + vb) * (va + vb) / (va*va/dfa + vb*vb/dfb)
}

// Answer says whether amylase governs the lot's water run: confirmed where the whole
// interval reaches the threshold, contradicted where it stays below.
func (x Index) Answer(threshold float64) Answer {
	switch {
	case x.Low == nil || x.High == nil:
		return CannotTell
	case *x.Low >= threshold:
		return Confirmed
	case *x.High < threshold:
		return Contradicted
	}
	return CannotTell
}
