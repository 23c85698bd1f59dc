package conformity

// effect is what a fault of the record is likely to do: to which features, and
// in words, with a verb for the size where it says how much. Without affects it
// touches the features of its stage. Common practice, no source.
type effect struct {
	affects []string
	text    string
}

var viscosities = []string{"initial_mPas", "peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "setback_peak_mPas"}

// effects of the faults that package trace finds.
var effects = map[string]effect{
	"time-repeated":      {[]string{}, "hardly any effect"},
	"viscosity-negative": {viscosities, "viscosities may read some %.3g mPa·s low"},
	"viscosity-high":     {viscosities, "all viscosities are off by the unit's factor if the unit is wrong"},
	"sampling-slow":      {[]string{"pasting_temp_C", "pasting_temp_tangent_C", "rise_rate_mPas_per_s", "onset_to_peak_s", "peak_time_s"}, "onset and rise rate are coarse: either may be off by a step of %.3g s"},
	"gap":                {nil, "a feature within the gap is not seen, and a window across it is read from its edges"},
	"record-short":       {[]string{"final_mPas", "setback_trough_mPas", "setback_peak_mPas", "relative_setback"}, "final viscosity is read %.0f s before the method's end, or not at all"},
	"record-long":        {[]string{"final_mPas", "setback_trough_mPas", "setback_peak_mPas", "relative_setback"}, "final viscosity is read %.0f s after the method's end"},
	"saturated":          {[]string{"peak_mPas", "peak_time_s", "breakdown_mPas", "relative_breakdown", "final_mPas"}, "whatever was clipped read higher: peak and breakdown, or the final viscosity"},
	"spike":              {[]string{}, "none, as the readings were left out; many of them tell of an unsteady paddle"},
	"boil-over":          {[]string{"peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "setback_peak_mPas"}, "less paste is stirred from then on: all later viscosities read low, breakdown reads high"},
	"viscosity-step":     {[]string{"peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "setback_peak_mPas"}, "all later viscosities may read low"},
	"two-heatings":       {[]string{"trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "setback_peak_mPas"}, "trough and final viscosity are not those of the method"},
}

// touched are the features that what happens in a stage touches.
var touched = map[string][]string{
	start:   {"initial_mPas", "pasting_temp_tangent_C"},
	heating: {"pasting_temp_C", "pasting_temp_tangent_C", "rise_rate_mPas_per_s", "rise_rate_mPas_per_C", "onset_to_peak_s", "area_heating_mPas_s"},
	hot:     {"peak_mPas", "peak_time_s", "peak_temp_C", "trough_mPas", "breakdown_mPas", "area_hot_mPas_s"},
	cooling: {"trough_mPas", "breakdown_mPas", "area_cooling_mPas_s"},
	final:   {"final_mPas", "setback_trough_mPas", "setback_peak_mPas", "relative_setback"},
}

// SolidsOff is the code of a run whose solids as weighed, or their share of the
// slurry, are beyond the method's tolerance. Whoever knows what was weighed in
// finds it (packages run and weighing); the policy is the same.
const SolidsOff = "solids-off"

// own are the codes that this package finds itself, and SolidsOff.
var own = []string{"clock-shift", "temperature-offset", "temperature-lag", "temperature-overshoot", "temperature-unsteady", "heating-rate", "cooling-rate", "hold-length",
	"programme-differs", "speed-off", "speed-differs", "settling", "paddle-noise", SolidsOff}
