package pasting

import (
	"fmt"
	"slices"

	"flourcast/dataset/reading"
	"flourcast/dataset/trait"
)

// Ids of the features. They are the columns of a table and the traits of the
// glossary.
const (
	Initial           = "initial_mPas"
	PastingTemp       = "pasting_temp_C"
	PastingTangent    = "pasting_temp_tangent_C"
	RiseRate          = "rise_rate_mPas_per_s"
	RiseRatePerC      = "rise_rate_mPas_per_C"
	AreaHeating       = "area_heating_mPas_s"
	OnsetToPeak       = "onset_to_peak_s"
	PeakTime          = "peak_time_s"
	PeakTemp          = "peak_temp_C"
	Peak              = "peak_mPas"
	SecondPeakTime    = "second_peak_time_s"
	SecondPeak        = "second_peak_mPas"
	AreaHot           = "area_hot_mPas_s"
	StirringNumber    = "stirring_number_mPas"
	Trough            = "trough_mPas"
	BreakdownDrop     = "breakdown_mPas"
	RelativeBreakdown = "relative_breakdown"
	Stability         = "paste_stability"
	AreaCooling       = "area_cooling_mPas_s"
	Final             = "final_mPas"
	SetbackFromTrough = "setback_trough_mPas"
	RelativeSetback   = "relative_setback"
	SetbackFromPeak   = "setback_peak_mPas"
)

// ViscosityAt is the id of the viscosity at a temperature on heating, °C: one of
// 60, 65 … 95.
func ViscosityAt(celsius float64) string { return fmt.Sprintf("viscosity_at_%.0fC_mPas", celsius) }

// ids in curve order: those of the glossary.
var ids, main = func() (ids, main []string) {
	for t := range trait.Each() {
		if t.Role == trait.RoleFeature {
			ids = append(ids, t.ID)
			if t.Family == "pasting" {
				main = append(main, t.ID)
			}
		}
	}
	return ids, main
}()

// IDs lists all features in curve order.
func IDs() []string { return slices.Clone(ids) }

// Main lists the ten features that everyone reports, and that a model takes
// when none are named, in curve order.
func Main() []string { return slices.Clone(main) }

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
// follows from it. times and stages are nil for values without a curve.
func newFeatures(values, times map[string]float64, stages *Stages) Features {
	fillIn(values)
	fillInRatios(values)
	return Features{figures: reading.New(values), times: times, stages: stages}
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
