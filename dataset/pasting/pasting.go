// Package pasting reads the features of a pasting test off one curve, or off
// one record of feature values.
//
//  1. The record is checked: times that rise, finite figures, enough points,
//     gaps, repeats, spikes, a clipped top. What cannot be mended is refused.
//  2. Its stages (heating, hot hold, cooling, final) are taken from the measured
//     temperature, never from a fixed clock; only a run without temperatures
//     uses the programme of its method.
//  3. Peak, trough, final viscosity, onset and rise rate are located and valued
//     on a light local smoothing (package stat/smooth), so that one noisy point
//     decides nothing. The window of each rule is a constant of this package.
//  4. Breakdown and the two setbacks are differences of these.
//
// A feature that was not reached is absent, with a finding that says why. The
// package refuses curves without a rise, without a peak, with times that run
// backwards, and feature values that contradict each other. It knows one run and
// its method: no lots, no replicates, no files.
package pasting

import (
	"fmt"
	"math"

	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Curve is one run: time s, temperature °C, viscosity mPa·s, of equal length and
// in the order of the file. TemperatureC may be nil when the method's programme
// is known. At is where the run stands and Rows the file row of each point; both
// go into the findings and may be left out.
type Curve struct {
	TimeS, TemperatureC, ViscosityMPas []float64

	At   finding.Place
	Rows []int
}

// Windows of the smoothing rules, s. Each holds at least smooth.MinPoints
// points, whatever the sampling.
const (
	ValueWindowS = 12.0 // peak, trough and onset are read off parabolas this wide
	SlopeWindowS = 20.0 // rise rate: slope of a Savitzky–Golay fit of order 2 this wide
	FinalWindowS = 30.0 // final viscosity: straight line over the last stretch, at its end
)

// Extract reads the features of one curve run by method m. A method of which
// nothing but the name is known (method.Unknown) is staged by temperature alone;
// an onset criterion left empty is method.DefaultOnset. Definitions:
//
//   - peak: highest smoothed viscosity after the fast stir and before cooling
//     begins; time and temperature likewise, the time being the top of the
//     parabola through the peak's neighbours;
//   - trough: lowest smoothed viscosity after the peak, before the final stage;
//     absent when the viscosity does not fall below the peak;
//   - final: straight line through the last FinalWindowS seconds, at the end;
//   - breakdown, setbacks: see Breakdown, SetbackTrough, SetbackPeak;
//   - pasting temperature: measured temperature at the end of the first window of
//     Onset.WithinS seconds, begun at a sampled point, over which the smoothed
//     viscosity rises by at least Onset.RiseMPas, and above which it stays;
//   - rise rate: steepest smoothed slope from the beginning of heating to the peak.
//
// Peak, trough, final: AACC 76-21 and ICC 162, from memory; rise rate: common
// practice, no source; windows: ours. Without a cooling stage trough, final
// and what follows from them are absent. The cost is points times points of a
// window. A refused run gives Features that are
// not OK, and a finding with severity refused; nothing panics.
func Extract(c Curve, m method.Method) (Features, finding.List) {
	if m.Onset.RiseMPas <= 0 || m.Onset.WithinS <= 0 {
		m.Onset = method.DefaultOnset()
	}
	if m.ToleranceC <= 0 {
		m.ToleranceC = method.DefaultToleranceC
	}
	r := newRecord(c, m)
	if r.refused() {
		return Features{}, r.findings
	}
	s, ok := r.stage()
	if !ok {
		return Features{}, r.findings
	}
	r.checkProgramme(m, s)
	r.leaveOutSpikes(r.from(s.Stir))
	r.checkTrace(r.from(s.Stir))

	f := found{values: map[string]float64{}, times: map[string]float64{}, stages: s}
	peak, ok := r.peak(&f, m)
	if !ok {
		return Features{}, r.findings
	}
	r.onset(&f, m.Onset, peak)
	r.riseRate(&f, peak)
	if s.HasCooling {
		r.trough(&f, peak)
		r.final(&f, m)
	} else {
		r.add("no-cooling", finding.Doubt, "temperature_C", len(r.t)-1,
			fmt.Sprintf("no cooling stage up to the end at %.0f s (%.1f °C)", r.t[len(r.t)-1], r.temp[len(r.t)-1]),
			"a run that cools after the hot hold", "trough, final viscosity, breakdown and setbacks are left out; repeat the run if they are needed")
	}
	if r.refused() {
		return Features{}, r.findings
	}
	return newFeatures(f), r.findings
}

// found is what has been read so far: values by id, the time of each, stages.
type found struct {
	values, times map[string]float64
	stages        Stages
}

func (f *found) set(id string, value, timeS float64) {
	f.values[id], f.times[id] = value, timeS
}

// peak locates and values the peak among the points between the end of the stir
// and the beginning of cooling. It returns the index of the nearest point. ok
// is false when the run never pasted or ended before its peak.
func (r *record) peak(f *found, m method.Method) (at int, ok bool) {
	from := r.from(f.stages.Search())
	to := len(r.t)
	if f.stages.HasCooling {
		to = r.after(f.stages.Cooling)
	}
	if to-from < smooth.MinPoints {
		r.refuse("curve-short", "time_s", len(r.t)-1, fmt.Sprintf("%d points between the stir and the end of the hot hold", max(0, to-from)),
			fmt.Sprintf("at least %d", smooth.MinPoints), "export the whole run, or sample more often")
		return 0, false
	}
	t, v := r.t[from:to], r.v[from:to]
	values := smooth.Values(t, v, ValueWindowS)
	top := highest(values)
	lowest := values[0]
	for _, v := range values[:top+1] {
		lowest = min(lowest, v)
	}
	noise := smooth.Noise(t, v)
	if rise := values[top] - lowest; rise < m.Onset.RiseMPas || rise < 5*noise {
		r.refuse("no-paste", "viscosity_mPas", from+top, fmt.Sprintf("viscosity rises by %.4g mPa·s before cooling (noise %.2g)", rise, noise),
			fmt.Sprintf("a rise of at least %g mPa·s", m.Onset.RiseMPas), "look whether the flour was weighed in, the paddle turned and the block heated; repeat the run")
		return 0, false
	}
	if !f.stages.HasCooling && t[len(t)-1]-t[top] < ValueWindowS {
		r.refuse("no-peak", "viscosity_mPas", len(r.t)-1, fmt.Sprintf("still at its highest when the record ends at %.0f s", r.t[len(r.t)-1]),
			"a record that passes its peak", "the curve is too short to have a peak: export the whole run, or repeat it")
		return 0, false
	}
	timeS, value := r.vertex(from, to, from+top, values[top])
	f.set(Peak, value, timeS)
	f.set(PeakTime, timeS, timeS)
	f.set(PeakTemp, smooth.Interpolate(r.t, r.temp, timeS), timeS)
	if f.stages.HasCooling && f.stages.Cooling-timeS < ValueWindowS/2 {
		r.add("peak-at-hold-end", finding.Doubt, "viscosity_mPas", from+top, fmt.Sprintf("peak at %.0f s, where cooling begins (%.0f s)", timeS, f.stages.Cooling),
			"a peak before the end of the hot hold", "read the peak as the viscosity at the end of the hold")
	}
	return from + top, true
}

// vertex refines an extreme at point i: the top (or bottom) of the parabola
// through its neighbours among points from…to-1, if that lies between the two
// points beside i; else the point itself with its smoothed value.
func (r *record) vertex(from, to, i int, value float64) (timeS, best float64) {
	low, high := smooth.Window(r.t[from:to], i-from, ValueWindowS)
	fit := smooth.Fit(r.t[from+low:from+high], r.v[from+low:from+high], r.t[i])
	if fit.Curvature == 0 {
		return r.t[i], value
	}
	step := -fit.Slope / (2 * fit.Curvature)
	timeS = r.t[i] + step
	if timeS < r.t[max(from, i-1)] || timeS > r.t[min(to-1, i+1)] {
		return r.t[i], value
	}
	return timeS, fit.Value + fit.Slope*step + fit.Curvature*step*step
}

// onset finds the pasting temperature. On the smoothed curve from the end of
// the stir to the peak, the first point from which the viscosity rises by at
// least o.RiseMPas within o.WithinS seconds, and stays that much above the
// point for two windows more, opens the window; the measured temperature at the
// end (or middle or start, as o.At says) of this first window is the pasting
// temperature. The stay keeps a blip from passing as an onset.
// Criterion: from memory; the end of the window and the stay: ours.
func (r *record) onset(f *found, o method.Onset, peak int) {
	from := r.from(f.stages.Stir)
	t := r.t[from:]
	v := smooth.Values(t, r.v[from:], ValueWindowS)
	need := o.RiseMPas * (1 - 1e-9)
	for i := 0; from+i < peak; i++ {
		end := t[i] + o.WithinS
		if end > t[len(t)-1] || smooth.Interpolate(t, v, end)-v[i] < need {
			continue
		}
		if !stays(t, v, end, min(end+2*o.WithinS, r.t[peak]), v[i]+need) {
			continue
		}
		at := end
		switch o.At {
		case "middle":
			at = t[i] + o.WithinS/2
		case "start":
			at = t[i]
		}
		f.set(PastingTemp, smooth.Interpolate(r.t, r.temp, at), at)
		return
	}
	r.add("onset-not-reached", finding.Doubt, "viscosity_mPas", peak, "no rise that meets the onset criterion before the peak",
		fmt.Sprintf("at least %g mPa·s within %g s, kept", o.RiseMPas, o.WithinS), "the pasting temperature is left out; a slow rise needs a method with a criterion of its own")
}

// stays reports whether v is at least level at every point from…to.
func stays(t, v []float64, from, to, level float64) bool {
	for i := range t {
		if t[i] > to {
			break
		}
		if t[i] >= from && v[i] < level {
			return false
		}
	}
	return true
}

// riseRate is the steepest slope, mPa·s per s, between the beginning of heating
// and the peak.
func (r *record) riseRate(f *found, peak int) {
	stir, from := r.from(f.stages.Stir), r.from(f.stages.Search())
	slope := smooth.Slope(r.t[stir:], r.v[stir:], SlopeWindowS)
	best := from + highest(slope[from-stir:peak+1-stir])
	if slope[best-stir] > 0 {
		f.set(RiseRate, slope[best-stir], r.t[best])
	}
}

// trough is the lowest smoothed viscosity between the peak and the final stage.
// A fall that noise alone could make (3 standard deviations, or 0.1 % of the
// peak) is none.
func (r *record) trough(f *found, peak int) {
	to := len(r.t)
	if f.stages.HasFinal {
		to = r.after(f.stages.Final)
	}
	t, v := r.t[peak:to], r.v[peak:to]
	value := math.Inf(1)
	var timeS float64
	if len(t) >= smooth.MinPoints {
		values := smooth.Values(t, v, ValueWindowS)
		low := lowest(values)
		timeS, value = r.vertex(peak, to, peak+low, values[low])
	}
	top := f.values[Peak]
	if fall := top - value; fall < 3*smooth.Noise(t, v) || fall < 0.001*top {
		r.add("no-trough", finding.Note, "viscosity_mPas", peak, "the viscosity does not fall below the peak before the paste has cooled", "",
			"trough, breakdown and setback from the trough are left out")
		return
	}
	f.set(Trough, value, timeS)
}

// final is the viscosity at the end of the test: the straight line through the
// last FinalWindowS seconds (at least MinPoints points), at the last point.
func (r *record) final(f *found, m method.Method) {
	n := len(r.t)
	last := r.t[n-1]
	if m.HasProgramme() {
		if want := m.Programme[len(m.Programme)-1].TemperatureC; r.temp[n-1] > want+max(3, m.ToleranceC) && r.endsEarly(m) {
			r.add("final-not-reached", finding.Doubt, "temperature_C", n-1, fmt.Sprintf("record ends at %.0f s and %.1f °C", last, r.temp[n-1]),
				fmt.Sprintf("%g °C at %g s by the programme", want, m.DurationS()), "final viscosity and setbacks are left out; export the whole run")
			return
		}
	} else if !f.stages.HasFinal {
		r.add("no-final-hold", finding.Doubt, "temperature_C", n-1, fmt.Sprintf("record ends at %.0f s and %.1f °C, on the way down or just arrived", last, r.temp[n-1]),
			"a final stage of at least 10 s", "final viscosity is that of the last point: compare it only with runs that end alike")
	}
	from := max(0, min(r.from(last-FinalWindowS), n-smooth.MinPoints))
	value, _ := smooth.Line(r.t[from:], r.v[from:], last)
	f.set(Final, value, last)
}

func highest(v []float64) int {
	at := 0
	for i := range v {
		if v[i] > v[at] {
			at = i
		}
	}
	return at
}

func lowest(v []float64) int {
	at := 0
	for i := range v {
		if v[i] < v[at] {
			at = i
		}
	}
	return at
}
