package pasting

import (
	"math"
	"slices"

	"flourcast/finding"
)

// Ids of the features, in curve order: onset first. They are the columns of a
// table and the traits of the glossary.
const (
	PastingTemp       = "pasting_temp_C"
	RiseRate          = "rise_rate_mPas_per_s"
	Peak              = "peak_mPas"
	PeakTime          = "peak_time_s"
	PeakTemp          = "peak_temp_C"
	Trough            = "trough_mPas"
	BreakdownDrop     = "breakdown_mPas"
	Final             = "final_mPas"
	SetbackFromTrough = "setback_trough_mPas"
	SetbackFromPeak   = "setback_peak_mPas"
)

var ids = []string{PastingTemp, RiseRate, Peak, PeakTime, PeakTemp, Trough, BreakdownDrop, Final, SetbackFromTrough, SetbackFromPeak}

// IDs lists the features in curve order.
func IDs() []string { return slices.Clone(ids) }

// Value is one feature.
type Value struct {
	ID    string
	Value float64
}

// Features are what one curve, or one record of feature values, shows. A
// feature that was not reached is absent. The zero value has none and is not OK.
type Features struct {
	values map[string]float64
	ok     bool
}

// newFeatures is the one constructor. It keeps finite values of known ids and
// works out what follows from them (see derive).
func newFeatures(values map[string]float64, ok bool) Features {
	kept := map[string]float64{}
	for _, id := range ids {
		if v, has := values[id]; has && !math.IsNaN(v) && !math.IsInf(v, 0) {
			kept[id] = v
		}
	}
	derive(kept)
	return Features{kept, ok && len(kept) > 0}
}

// Get is the feature with the id, in the glossary's unit, and whether it is there.
func (f Features) Get(id string) (float64, bool) {
	v, ok := f.values[id]
	return v, ok
}

// Values are the features that are there, in curve order.
func (f Features) Values() []Value {
	var out []Value
	for _, id := range ids {
		if v, ok := f.values[id]; ok {
			out = append(out, Value{id, v})
		}
	}
	return out
}

// OK reports whether the run may be used at all; the findings say why not.
func (f Features) OK() bool { return f.ok }

// Breakdown is peak − trough, mPa·s; never negative when the trough is the
// lowest point after the peak. Definition: AACC 76-21 and ICC 162, from memory.
func Breakdown(peak, trough float64) float64 { return peak - trough }

// SetbackTrough is final − trough, mPa·s, the setback counted from the trough.
// Definition: AACC 76-21 and ICC 162, from memory.
func SetbackTrough(final, trough float64) float64 { return final - trough }

// SetbackPeak is final − peak, mPa·s, the setback counted from the peak;
// negative when the cold paste stays thinner than the peak. Convention of rice
// work: Cuevas, Domingo & Sreenivasulu 2018, Rice 11:56.
func SetbackPeak(final, peak float64) float64 { return final - peak }

func derive(v map[string]float64) {
	peak, hasPeak := v[Peak]
	trough, hasTrough := v[Trough]
	final, hasFinal := v[Final]
	set := func(id string, has bool, value float64) {
		if _, given := v[id]; !given && has {
			v[id] = value
		}
	}
	set(BreakdownDrop, hasPeak && hasTrough, Breakdown(peak, trough))
	set(SetbackFromTrough, hasFinal && hasTrough, SetbackTrough(final, trough))
	set(SetbackFromPeak, hasFinal && hasPeak, SetbackPeak(final, peak))
}

// FromValues takes feature values without a curve.
func FromValues(values map[string]float64) (Features, finding.List) {
	return newFeatures(values, true), nil
}
