package pasting

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Limits of the details: ours.
const (
	InitialWindowS = 30.0 // initial viscosity: median of the last stretch before heating
	plateauS       = 60.0 // s within 1 % of the rise about the peak make a plateau
	plateauShare   = 0.01
	secondShare    = 0.03 // a second peak stands out by this share of the rise on both sides
	leastHeating   = 0.2  // rise per °C is read where the block heats at least this share of its mean rate
	leastRise      = 0.8  // … and rises at least at this share of the rise rate somewhere there
	hair           = 1e-6 // s, so that rounding moves no point out of a window
)

// initial is the viscosity before anything pastes: the median of the points in
// the last InitialWindowS seconds before heating begins and after the fast stir;
// absent with fewer than three.
func (r *reader) initial() {
	from, to := r.From(max(r.Stages.Stir, r.Stages.Heating-InitialWindowS)), r.After(r.Stages.Heating)
	if to-from >= 3 {
		r.set(Initial, smooth.Median(r.V[from:to]), (r.T[from]+r.T[to-1])/2)
	}
}

// checkLate tells of a pasting that begins only in the hot hold: its temperature
// is then that of the hold, whatever the flour.
func (r *reader) checkLate(onset float64) {
	if onset <= r.Stages.Hot+ValueWindowS/2 {
		return
	}
	severity := finding.Doubt
	if r.Method.Solvent == trait.Sucrose { // the rule there, not the exception
		severity = finding.Note
	}
	r.add("late-onset", severity, "viscosity_mPas", r.From(onset), fmt.Sprintf("pasting begins at %.0f s, in the hot hold (from %.0f s)", onset, r.Stages.Hot),
		"pasting while the block heats", "the pasting temperature is that of the hold: compare peak time less onset_to_peak_s instead")
}

// secondPeak looks for a second maximum among the points searched, of which
// values are the smoothed viscosities and from the first. It stands out from the
// valleys beside it by the onset's rise, secondShare of the rise and four noise
// deviations. The higher one is the peak; this is the other, at its sampled
// point.
func (r *reader) secondPeak(from int, values []float64, noise, lowest float64) {
	top := trace.Highest(values)
	out := max(r.Method.Onset.RiseMPas, secondShare*(values[top]-lowest), 4*noise)
	best := -1
	for _, i := range maxima(values, out) {
		if i != top && (best < 0 || values[i] > values[best]) {
			best = i
		}
	}
	if best < 0 {
		return
	}
	timeS := r.T[from+best]
	r.set(SecondPeak, values[best], timeS)
	r.set(SecondPeakTime, timeS, timeS)
	r.add("two-peaks", finding.Doubt, "viscosity_mPas", from+best, fmt.Sprintf("a second maximum of %.4g mPa·s at %.0f s", values[best], timeS), "one peak",
		"the peak is the higher one; look whether the flour is a blend of waxy and normal wheat, and compare only lots whose same maximum is the higher")
}

// maxima are the indices of the inner maxima of v that stand out by at least out
// from the lowest value between them and a higher one (or the end) on each side.
func maxima(v []float64, out float64) []int {
	var found []int
	high, low, rising := 0, 0, false
	for i := range v {
		switch {
		case rising:
			if v[i] > v[high] {
				high = i
			} else if v[i] <= v[high]-out {
				found = append(found, high)
				rising, low = false, i
			}
		case v[i] < v[low]:
			low = i
		case v[i] >= v[low]+out:
			rising, high = true, i
		}
	}
	return found
}

// plateau tells of a peak so flat that its time means little.
func (r *reader) plateau(from int, values []float64, noise, lowest float64) {
	top := trace.Highest(values)
	level := values[top] - max(plateauShare*(values[top]-lowest), 2*noise)
	a, b := top, top
	for a > 0 && values[a-1] >= level {
		a--
	}
	for b+1 < len(values) && values[b+1] >= level {
		b++
	}
	if width := r.T[from+b] - r.T[from+a]; width >= plateauS {
		r.add("plateau", finding.Doubt, "viscosity_mPas", from+a, fmt.Sprintf("viscosity stays at its peak from %.0f to %.0f s", r.T[from+a], r.T[from+b]), fmt.Sprintf("a peak narrower than %g s", plateauS),
			"peak time and peak temperature are loose: anywhere on the plateau would do")
	}
}

// tangent is the pasting temperature by tangent: where the tangent at the point
// of the rise rate meets the level before the rise. That level is the median of
// the ValueWindowS seconds before the window of the onset opens or, without an
// onset, the initial viscosity. Where the curve has two peaks the tangent is at
// the steepest point before the first. Common practice, no source.
func (r *reader) tangent(peak int) {
	end := peak
	if at, ok := r.times[SecondPeak]; ok {
		end = min(peak, r.From(at))
	}
	level, ok := r.values[Initial]
	if _, found := r.values[PastingTemp]; found {
		if from, to := r.From(r.onsetFrom-ValueWindowS), r.After(r.onsetFrom); to-from >= 3 {
			level, ok = smooth.Median(r.V[from:to]), true
		}
	}
	stir, slope := r.slopes(peak)
	if from := r.From(r.Stages.Search()); ok && from <= end {
		t, v := r.T[stir:], r.V[stir:]
		best := from - stir + trace.Highest(slope[from-stir:end+1-stir])
		low, high := smooth.Window(t, best, SlopeWindowS)
		fit := smooth.Fit(t[low:high], v[low:high], t[best])
		if at := t[best] - (fit.Value-level)/fit.Slope; fit.Slope > 0 && at >= r.Stages.Stir && at <= t[best] {
			r.set(PastingTangent, smooth.Interpolate(r.T, r.C, at), at)
			return
		}
	}
	r.add("tangent-not-reached", finding.Note, "viscosity_mPas", end, "no tangent of the rise meets the level before it", "", "the pasting temperature by tangent is left out")
}

// riseRatePerC is the steepest slope of the viscosity over that of the
// temperature, mPa·s per °C, both by fits over SlopeWindowS, among the points up
// to the peak whose window lies within heating: beside a corner of the
// temperature the quotient means nothing. Absent when the rise while heating
// is less than leastRise of the rise rate: the steepest comes later.
func (r *reader) riseRatePerC(peak int) {
	s := r.Stages
	stir, up := r.slopes(peak)
	from, to := r.From(s.Search()+SlopeWindowS/2-hair), min(peak, r.After(s.Hot-SlopeWindowS/2+hair)-1)
	rate := (s.HotC - r.C[r.From(s.Search())]) / (s.Hot - s.Search())
	heated := r.needed(max(stir, to), SlopeWindowS)
	warm := smooth.Slope(r.T[stir:heated], r.C[stir:heated], SlopeWindowS)
	best, steepest, at := 0.0, 0.0, -1
	for i := from; i <= to; i++ {
		steepest = max(steepest, up[i-stir])
		if w := warm[i-stir]; w > 0 && w >= leastHeating*rate && up[i-stir]/w > best {
			best, at = up[i-stir]/w, i
		}
	}
	if at < 0 || steepest < leastRise*r.values[RiseRate] {
		r.add("rise-in-hold", finding.Note, "viscosity_mPas", peak, fmt.Sprintf("the steepest rise comes at %.0f s, when the block no longer heats", r.times[RiseRate]), "", "the rise rate per °C is left out")
		return
	}
	r.set(RiseRatePerC, best, r.T[at])
}

// atTemperatures reads the viscosities at the method's temperatures: the value
// of the parabola around the moment when the measured temperature first reaches
// each on heating. One that is not reached before the hold ends is absent.
func (r *reader) atTemperatures() {
	end := len(r.T)
	if r.Stages.HasCooling {
		end = r.After(r.Stages.Cooling)
	}
	from := r.From(r.Stages.Stir)
	if end-from < smooth.MinPoints {
		return
	}
	t, c, v := r.T[from:end], r.C[from:end], r.V[from:end]
	var missed []string
	for _, want := range r.Method.ViscosityAtC {
		i := slices.IndexFunc(c, func(c float64) bool { return c >= want })
		if i < 1 {
			missed = append(missed, fmt.Sprintf("%g", want))
			continue
		}
		at := t[i-1] + (t[i]-t[i-1])*(want-c[i-1])/(c[i]-c[i-1])
		near := i // the point before or behind
		if at-t[i-1] < t[i]-at {
			near--
		}
		low, high := smooth.Window(t, near, ValueWindowS)
		r.set(ViscosityAt(want), smooth.Fit(t[low:high], v[low:high], at).Value, at)
	}
	if len(missed) > 0 {
		r.add("temperature-not-reached", finding.Note, "temperature_C", -1, "the run does not pass "+strings.Join(missed, ", ")+" °C on heating", "", "the viscosities there are left out")
	}
}

// areas are the viscosity summed over the time of heating, hot hold and cooling,
// mPa·s·s: straight lines between points, cut at the stages' ends. The area of a
// stage that the record does not hold to its end is absent.
func (r *reader) areas() {
	s := r.Stages
	r.area(AreaHeating, s.Heating, s.Hot)
	if s.HasCooling {
		r.area(AreaHot, s.Hot, s.Cooling)
	}
	if s.HasFinal {
		r.area(AreaCooling, s.Cooling, s.Final)
	}
}

func (r *reader) area(id string, from, to float64) {
	if !(to > from) {
		return
	}
	sum, t0, v0 := 0.0, from, smooth.Interpolate(r.T, r.V, from)
	for i := sort.SearchFloat64s(r.T, from); i < len(r.T) && r.T[i] < to; i++ {
		sum += (r.T[i] - t0) * (r.V[i] + v0) / 2
		t0, v0 = r.T[i], r.V[i]
	}
	sum += (to - t0) * (smooth.Interpolate(r.T, r.V, to) + v0) / 2
	if !math.IsInf(sum, 0) {
		r.values[id] = sum
	}
}
