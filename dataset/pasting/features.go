package pasting

import (
	"slices"

	"flourcast/dataset/reading"
)

// Ids of the features, in curve order: onset first. They are the columns of a
// table and the traits of the glossary.
const (
	PastingTemp       = "pasting_temp_C"
	RiseRate          = "rise_rate_mPas_per_s"
	PeakTime          = "peak_time_s"
	PeakTemp          = "peak_temp_C"
	Peak              = "peak_mPas"
	Trough            = "trough_mPas"
	BreakdownDrop     = "breakdown_mPas"
	Final             = "final_mPas"
	SetbackFromTrough = "setback_trough_mPas"
	SetbackFromPeak   = "setback_peak_mPas"
)

var ids = []string{PastingTemp, RiseRate, PeakTime, PeakTemp, Peak, Trough, BreakdownDrop, Final, SetbackFromTrough, SetbackFromPeak}

// IDs lists the features in curve order.
func IDs() []string { return slices.Clone(ids) }

// Value is one feature, in the glossary's unit.
type Value = reading.Value

// Features are what one curve, or one record of feature values, shows. A
// feature that was not reached is absent. The zero value has none and is not OK.
type Features struct {
	figures reading.Reading
	times   map[string]float64 // of features read at a moment of a curve
	stages  *Stages            // of a curve
}

// newFeatures is the one constructor: it takes what was found and adds what
// follows from it.
func newFeatures(f found) Features {
	fillIn(f.values)
	out := Features{figures: reading.New(f.values), times: f.times}
	if f.stages != (Stages{}) {
		out.stages = &f.stages
	}
	return out
}

// Get is the feature with the id, in the glossary's unit, and whether it is there.
func (f Features) Get(id string) (float64, bool) { return f.figures.Get(id) }

// Values are the features that are there, in curve order.
func (f Features) Values() []Value { return f.figures.Values() }

// OK reports whether the run may be used: it has features and was not refused.
// The findings that came with it say why not.
func (f Features) OK() bool { return f.figures.OK() }

// TimeOf is the moment of the curve, s, at which a feature was read, for marks
// on its picture; false for differences, and for values without a curve.
func (f Features) TimeOf(id string) (float64, bool) {
	t, ok := f.times[id]
	return t, ok
}

// Stages are the stages of the run; false for values without a curve.
func (f Features) Stages() (Stages, bool) {
	if f.stages == nil {
		return Stages{}, false
	}
	return *f.stages, true
}

// Breakdown is peak − trough, mPa·s: what the hot, sheared paste loses; never
// negative when the trough is the lowest point after the peak. Definition:
// AACC 76-21 and ICC 162, from memory.
func Breakdown(peak, trough float64) float64 { return peak - trough }

// SetbackTrough is final − trough, mPa·s, the setback counted from the trough.
// Definition: AACC 76-21 and ICC 162, from memory; wheat convention.
func SetbackTrough(final, trough float64) float64 { return final - trough }

// SetbackPeak is final − peak, mPa·s, the setback counted from the peak;
// negative when the cold paste stays thinner than the peak. Rice convention:
// Cuevas, Domingo & Sreenivasulu 2018, Rice 11:56.
func SetbackPeak(final, peak float64) float64 { return final - peak }
