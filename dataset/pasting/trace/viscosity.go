package trace

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"flourcast/stat/smooth"
)

// Limits of the checks of the viscosity's course: ours.
const (
	around    = 15   // points on either side that tell how much readings scatter there
	flatTop   = 5    // equal readings in a row at the top that make a clipped curve
	dropShare = 0.5  // loss of this share of the viscosity …
	dropS     = 6.0  // … within this time, s, is a stopped paddle
	stepShare = 0.10 // loss of this share from one reading to the next, out of line with both sides, is a step …
	stepBackS = 20.0 // … if it leads below all that was read for so long before, s
)

// checkViscosity looks at the course of the viscosity after the first stir.
func (r *Trace) checkViscosity(Curve) {
	from := r.From(r.Stages.Stir)
	r.leaveOutSpikes(from)
	if len(r.T)-from < smooth.MinPoints {
		return
	}
	t, v := r.T[from:], r.V[from:]
	top := Highest(v)
	if v[top] > thickest {
		r.doubt("viscosity-high", "viscosity_mPas", from+top, from+top, v[top], "mPa·s", fmt.Sprintf("%.6g mPa·s", v[top]), fmt.Sprintf("at most %g mPa·s", thickest), "check the unit and the decimal sign of the column")
	}
	end := top
	for end < len(v) && v[end] == v[top] {
		end++
	}
	if end-top >= flatTop && corners(v, top, end) {
		r.doubt("saturated", "viscosity_mPas", from+top, from+end-1, v[top], "mPa·s", fmt.Sprintf("%d equal readings of %.6g mPa·s from %.0f s", end-top, v[top], t[top]), "a rounded top",
			"the curve may be clipped at the end of the range: repeat with a wider range")
	}
	if r.checkDrop(from, v[top]); !r.refused() {
		r.checkStep(from, v[top])
	}
}

// leaveOutSpikes takes single readings that stand out of their neighbourhood
// off the record. A reading stands out when it lies outside the range of its two
// neighbours and of the straight lines through the two points on either side,
// by more than 12 noise deviations, of the whole curve and of the points around,
// and by 3 % of the curve's height. A sharp peak does not, because the lines of
// its own flanks reach it; nor does a reading among many that scatter.
func (r *Trace) leaveOutSpikes(from int) {
	n := len(r.T)
	if n-from < 2*smooth.MinPoints {
		return
	}
	v, t := r.V, r.T
	height := v[from+Highest(v[from:])] - v[from+Lowest(v[from:])]
	noise := sync.OnceValue(func() float64 { return smooth.Noise(t[from:], v[from:]) }) // most curves never ask
	var spikes []int
	largest := 0.0
	for i := max(from, 2); i+2 < n; i++ {
		left := v[i-1] + (v[i-1]-v[i-2])*(t[i]-t[i-1])/(t[i-1]-t[i-2])
		right := v[i+1] - (v[i+2]-v[i+1])*(t[i+1]-t[i])/(t[i+2]-t[i+1])
		low, high := min(left, right, v[i-1], v[i+1]), max(left, right, v[i-1], v[i+1])
		if out := max(v[i]-high, low-v[i]); out > 0.03*height && out > 12*noise() && out > 12*smooth.Noise(t[max(0, i-around):min(n, i+around+1)], v[max(0, i-around):min(n, i+around+1)]) {
			spikes = append(spikes, i)
			largest = max(largest, out)
		}
	}
	if len(spikes) == 0 {
		return
	}
	r.doubt("spike", "viscosity_mPas", spikes[0], spikes[len(spikes)-1], largest, "mPa·s", fmt.Sprintf("%d single readings stand out, the largest by %.4g mPa·s, the first at %.0f s", len(spikes), largest, t[spikes[0]]),
		"a curve without spikes", "they were left out of the features; look at the paddle and the paste")
	r.T, r.V, r.C, r.RPM, r.rows = without(r.T, spikes), without(r.V, spikes), without(r.C, spikes), without(r.RPM, spikes), without(r.rows, spikes)
	r.UsualS, r.LongestS, _ = r.sampling()
}

// without is a copy of s that lacks the places, which rise; nil of nil.
func without[T any](s []T, places []int) []T {
	s = slices.Clone(s)
	if s == nil {
		return nil
	}
	for k, i := range places {
		s = slices.Delete(s, i-k, i-k+1)
	}
	return s
}

// checkDrop refuses a run that loses half of a viscosity worth the name at once.
func (r *Trace) checkDrop(from int, top float64) {
	t, v := r.T, r.V
	for i := from + 2; i < len(v); i++ {
		if t[i]-t[i-1] <= dropS && v[i-1] > top/5 && v[i] < (1-dropShare)*v[i-1] && v[i-2] > top/5 {
			r.refuse("sudden-drop", "viscosity_mPas", i, fmt.Sprintf("viscosity falls from %.4g to %.4g mPa·s within %.2g s at %.0f s", v[i-1], v[i], t[i]-t[i-1], t[i]),
				"a paste that thins gradually", "the paddle stopped, slipped off or the paste boiled over: repeat the run")
			return
		}
	}
}

// checkStep doubts a run whose viscosity falls in one step out of line with the
// readings before and after: what is left in the can after boiling over, or
// under a paddle that slipped. The step is at least stepShare of the viscosity,
// 12 noise deviations, and four times the steps beside it, and leads below all
// that was read in stepBackS seconds before, so that the end of a blip is none.
func (r *Trace) checkStep(from int, top float64) {
	t, v := r.T, r.V
	noise := sync.OnceValue(func() float64 { return smooth.Noise(t[from:], v[from:]) })
	for i := from + 2; i+1 < len(v); i++ {
		fall := v[i-1] - v[i]
		beside := max(math.Abs(v[i-2]-v[i-1])/(t[i-1]-t[i-2]), math.Abs(v[i]-v[i+1])/(t[i+1]-t[i])) * (t[i] - t[i-1])
		if fall < stepShare*v[i-1] || fall < 4*beside || v[i-1] < top/5 || fall < 12*noise() {
			continue
		}
		if before := v[max(from, min(i-1, r.From(t[i]-stepBackS))):i]; v[i] > before[Lowest(before)]-fall/2 {
			continue
		}
		found := fmt.Sprintf("viscosity falls by %.4g mPa·s (%.0f %%) in one step at %.0f s and %.1f °C", fall, 100*fall/v[i-1], t[i], r.C[i])
		if r.C[i] >= boilingC {
			r.doubt("boil-over", "viscosity_mPas", i, i, fall, "mPa·s", found, "a paste that thins gradually", "look for paste outside the can; if it boiled over, repeat the run with less fill or a lower hold")
		} else {
			r.doubt("viscosity-step", "viscosity_mPas", i, i, fall, "mPa·s", found, "a paste that thins gradually", "look whether the paddle slipped or the can moved; repeat the run")
		}
		return
	}
}

// boilingC is from where a step is taken for boiling over, °C: water boils at 93
// at about 2,000 m.
const boilingC = 93.0

// corners reports whether a flat top has an edge: a step to it or from it that
// is more than 0.2 % of the top, which a rounded top sampled closely has not.
func corners(v []float64, top, end int) bool {
	edge := 0.002 * math.Abs(v[top])
	return (top > 0 && v[top]-v[top-1] > edge) || (end < len(v) && v[top]-v[end] > edge)
}
