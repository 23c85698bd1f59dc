// Package pasting reads the features of a pasting test off one curve, or off
// one record of feature values.
//
//  1. Package trace makes the record fit for reading and finds its stages from
//     the measured temperature, never from a fixed clock.
//  2. Peak, trough, final viscosity, onset and rise rate are located and valued
//     on a light local smoothing (package stat/smooth), so that one noisy point
//     decides nothing. The window of each rule is a constant of this package.
//  3. Details follow: a second peak, a plateau, the pasting temperature by
//     tangent, areas of the stages, viscosities at fixed temperatures.
//  4. Breakdown, the two setbacks and the ratios are worked out of these.
//
// A feature that was not reached is absent, with a finding that says why. The
// package refuses curves whose viscosity does not rise, and feature values that
// contradict each other. It knows one run and its method: no lots, no
// replicates, no files; how well the run kept to its method is judged by package
// conformity.
//
// # In a few lines
//
// One run as recorded, the method it was run by, and what was found; absent is not zero:
//
//	m, ok := method.Lookup("noodle-water")
//	features, findings := pasting.Extract(pasting.Curve{TimeS: t, TemperatureC: c, ViscosityMPas: v}, m)
//	if peak, ok := features.Get("peak_mPas"); ok {
//		fmt.Println(peak)
//	}
//	for _, f := range findings { // what is doubtful, where, and what to do
//		fmt.Println(f)
//	}
package pasting

import (
	"fmt"
	"math"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/trace"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Curve is one run as recorded, and Stages what its temperature tells of it.
type (
	Curve  = trace.Curve
	Stages = trace.Stages
)

// Windows of the smoothing rules, s. Each holds at least smooth.MinPoints
// points, whatever the sampling.
const (
	ValueWindowS = 12.0 // peak, trough and onset are read off parabolas this wide
	SlopeWindowS = 20.0 // rise rates: slope of a Savitzky–Golay fit of order 2 this wide
	FinalWindowS = 30.0 // final viscosity: straight line over the last stretch, at its end
)

// Extract reads the features of one curve run by method m: trace.Read, then
// FromTrace. A refused run gives Features that are not OK, and a finding with
// severity refused; nothing panics.
func Extract(c Curve, m method.Method) (Features, finding.List) {
	tr, faults := trace.Read(c, m)
	if tr == nil {
		return Features{}, trace.Findings(faults)
	}
	f, fl := FromTrace(tr)
	return f, append(trace.Findings(faults), fl...)
}

// FromTrace reads the features of a record that is fit for reading. Definitions:
//
//   - peak: highest smoothed viscosity after the fast stir and before cooling
//     begins; time and temperature likewise, the time being the top of the
//     parabola through the peak's neighbours;
//   - trough: lowest smoothed viscosity after the peak, before the final stage;
//     absent when the viscosity does not fall below the peak;
//   - final: straight line through the last FinalWindowS seconds, at the end; by a
//     method that stays hot that is the stirring number, and there is no final;
//   - breakdown: peak − trough, what the hot, sheared paste loses; setback from the
//     trough: final − trough (wheat convention); setback from the peak: final − peak,
//     negative when the cold paste stays thinner (rice convention: Cuevas, Domingo &
//     Sreenivasulu 2018, Rice 11:56);
//   - pasting temperature: measured temperature at the end of the first window of
//     Onset.WithinS seconds, begun at a sampled point, over which the smoothed
//     viscosity rises by at least Onset.RiseMPas, and above which it stays;
//   - rise rate: steepest smoothed slope from the beginning of heating to the peak;
//   - the details: see the functions of this package, and the glossary.
//
// Peak, trough, final, breakdown and setback from the trough: AACC 76-21 and ICC 162, from memory; rise rate: common
// practice, no source; windows: ours. Without a cooling stage trough, final
// and what follows from them are absent; without a rise before cooling, but one
// on cooling, all that need a peak are. The cost is points times points of a
// window. The findings are those of the features, not of the record.
func FromTrace(tr *trace.Trace) (Features, finding.List) {
	r := &reader{Trace: tr, values: map[string]float64{}, times: map[string]float64{}}
	s := tr.Stages
	r.initial()
	if s.HasCooling {
		r.final()
	} else if r.Method.StaysHot() {
		if !r.EndsEarly() {
			r.set(StirringNumber, r.atEnd(), r.Last())
		}
	} else {
		r.add("no-cooling", finding.Doubt, "temperature_C", len(r.T)-1,
			fmt.Sprintf("no cooling stage up to the end at %.0f s (%.1f °C)", r.Last(), r.C[len(r.C)-1]),
			"a run that cools after the hot hold", "trough, final viscosity, breakdown and setbacks are left out; repeat the run if they are needed")
	}
	if peak, ok := r.peak(); ok && s.Hot > s.Heating {
		r.onset(peak)
		r.riseRate(peak)
		r.riseRatePerC(peak)
		r.tangent(peak)
		if s.HasCooling {
			r.trough(peak)
		}
	}
	if r.findings.Count(finding.Refused) > 0 {
		return Features{}, r.findings
	}
	r.atTemperatures()
	r.areas()
	return newFeatures(r.values, r.times, &s), r.findings
}

// reader is what has been read of a trace so far: values by id, the time of each.
type reader struct {
	*trace.Trace
	values, times map[string]float64
	onsetFrom     float64   // where the window of the onset opens, s, when there is a pasting temperature
	rises         []float64 // slopes of the viscosity from the end of the stir on, once asked for
	findings      finding.List
}

func (r *reader) set(id string, value, timeS float64) { r.values[id], r.times[id] = value, timeS }

func (r *reader) add(code string, s finding.Severity, column string, point int, found, want, do string) {
	r.findings.Add(finding.Finding{Code: code, Severity: s, At: r.Place(column, point), Found: found, Want: want, Do: do})
}

// slopes are those of the viscosity over SlopeWindowS, from point stir on and at
// least up to the peak.
func (r *reader) slopes(peak int) (stir int, slope []float64) {
	stir = r.From(r.Stages.Stir)
	if r.rises == nil {
		to := r.needed(peak, SlopeWindowS)
		r.rises = smooth.Slope(r.T[stir:to], r.V[stir:to], SlopeWindowS)
	}
	return stir, r.rises
}

// needed is the index behind the last point that a fit over the window at point
// i, or before, makes use of.
func (r *reader) needed(i int, window float64) int {
	return min(len(r.T), r.After(r.T[i]+window/2+hair)+smooth.MinPoints)
}

// searched is the range of points where a peak is looked for: after the stir,
// not before the block heats, and before cooling begins.
func (r *reader) searched() (from, to int) {
	from, to = r.From(r.Stages.Search()), len(r.T)
	if r.Stages.HasCooling {
		to = r.After(r.Stages.Cooling)
	}
	return from, to
}

// peak locates and values the peak among the points searched. It returns the
// index of the nearest point. ok is false when there is none: a run that ends
// before its peak or never pastes is refused, one that thickens on cooling only
// is doubted.
func (r *reader) peak() (at int, ok bool) {
	from, to := r.searched()
	if to-from < smooth.MinPoints {
		r.add("curve-short", finding.Refused, "time_s", len(r.T)-1, fmt.Sprintf("%d points between the stir and the end of the hot hold", max(0, to-from)),
			fmt.Sprintf("at least %d", smooth.MinPoints), "export the whole run, or sample more often")
		return 0, false
	}
	t, v := r.T[from:to], r.V[from:to]
	values := smooth.Values(t, v, ValueWindowS)
	top := trace.Highest(values)
	lowest := values[trace.Lowest(values[:top+1])]
	noise := smooth.Noise(t, v)
	if rise := values[top] - lowest; rise < r.Method.Onset.RiseMPas || rise < 5*noise {
		r.noRise(from+top, rise, noise)
		return 0, false
	}
	if !r.Stages.HasCooling && t[len(t)-1]-t[top] < ValueWindowS {
		r.add("no-peak", finding.Refused, "viscosity_mPas", len(r.T)-1, fmt.Sprintf("still at its highest when the record ends at %.0f s", r.Last()),
			"a record that passes its peak", "the curve is too short to have a peak: export the whole run, or repeat it")
		return 0, false
	}
	timeS, value := r.vertex(from, to, from+top, values[top])
	r.set(Peak, value, timeS)
	r.set(PeakTime, timeS, timeS)
	r.set(PeakTemp, smooth.Interpolate(r.T, r.C, timeS), timeS)
	if r.Stages.HasCooling && r.Stages.Cooling-timeS < ValueWindowS/2 {
		r.add("peak-at-hold-end", finding.Doubt, "viscosity_mPas", from+top, fmt.Sprintf("peak at %.0f s, where cooling begins (%.0f s)", timeS, r.Stages.Cooling),
			"a peak before the end of the hot hold", "read the peak as the viscosity at the end of the hold")
	}
	r.secondPeak(from, values, noise, lowest)
	r.plateau(from, values, noise, lowest)
	return from + top, true
}

// noRise refuses a run that never pastes. One whose final viscosity lies above
// the initial one by what the onset asks for pasted, but only while cooling: its
// peak and onset are absent.
func (r *reader) noRise(top int, rise, noise float64) {
	found := fmt.Sprintf("viscosity rises by %.4g mPa·s before cooling (noise %.2g)", rise, noise)
	want := fmt.Sprintf("a rise of at least %g mPa·s", r.Method.Onset.RiseMPas)
	initial, ok1 := r.values[Initial]
	final, ok2 := r.values[Final]
	if gain := final - initial; ok1 && ok2 && gain >= r.Method.Onset.RiseMPas && gain >= 5*noise {
		r.add("rise-not-reached", finding.Doubt, "viscosity_mPas", top, found+fmt.Sprintf(", and by %.4g mPa·s after it", gain), want,
			"pasting temperature, peak, trough and what follows from them are left out: the method does not get hot enough for this flour and solvent, or not for long enough")
		return
	}
	r.add("no-paste", finding.Refused, "viscosity_mPas", top, found, want,
		"look whether the flour was weighed in, the paddle turned and the block heated, and whether the method is hot enough for the solvent; repeat the run")
}

// vertex refines an extreme at point i: the top (or bottom) of the parabola
// through its neighbours among points from…to-1, if that lies between the two
// points beside i; else the point itself with its smoothed value.
func (r *reader) vertex(from, to, i int, value float64) (timeS, best float64) {
	low, high := smooth.Window(r.T[from:to], i-from, ValueWindowS)
	fit := smooth.Fit(r.T[from+low:from+high], r.V[from+low:from+high], r.T[i])
	step := -fit.Slope / (2 * fit.Curvature) // no number, or infinite, where the fit is a line
	timeS = r.T[i] + step
	if !(timeS >= r.T[max(from, i-1)] && timeS <= r.T[min(to-1, i+1)]) {
		return r.T[i], value
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
func (r *reader) onset(peak int) {
	o, from := r.Method.Onset, r.From(r.Stages.Stir)
	after := min(len(r.T)-1, r.After(r.T[peak]+o.WithinS)) // windows that open before the peak end before this point
	to := r.needed(after, ValueWindowS)
	t := r.T[from:to]
	v := smooth.Values(t, r.V[from:to], ValueWindowS)
	need := o.RiseMPas * (1 - 1e-9)
	for i := 0; from+i < peak; i++ {
		end := t[i] + o.WithinS
		if end > t[len(t)-1] || smooth.Interpolate(t, v, end)-v[i] < need {
			continue
		}
		if !stays(t, v, end, min(end+2*o.WithinS, r.T[peak]), v[i]+need) {
			continue
		}
		at := end
		switch o.At {
		case "middle":
			at = t[i] + o.WithinS/2
		case "start":
			at = t[i]
		}
		r.onsetFrom = t[i]
		r.set(PastingTemp, smooth.Interpolate(r.T, r.C, at), at)
		r.values[OnsetToPeak] = r.times[PeakTime] - at
		r.checkLate(at)
		return
	}
	r.add("onset-not-reached", finding.Doubt, "viscosity_mPas", peak, "no rise that meets the onset criterion before the peak",
		fmt.Sprintf("at least %g mPa·s within %g s, kept", o.RiseMPas, o.WithinS), "the pasting temperature is left out; a slow rise needs a method with a criterion of its own")
}

// stays reports whether v is at least level at every point from…to.
func stays(t, v []float64, from, to, level float64) bool {
	for i, at := range t {
		if at >= from && at <= to && v[i] < level {
			return false
		}
	}
	return true
}

// riseRate is the steepest slope, mPa·s per s, between the beginning of heating
// and the peak.
func (r *reader) riseRate(peak int) {
	stir, slope := r.slopes(peak)
	from := r.From(r.Stages.Search())
	best := from + trace.Highest(slope[from-stir:peak+1-stir])
	if slope[best-stir] > 0 {
		r.set(RiseRate, slope[best-stir], r.T[best])
	}
}

// trough is the lowest smoothed viscosity between the peak and the final stage.
// A fall that noise alone could make (3 standard deviations, or 0.1 % of the
// peak) is none.
func (r *reader) trough(peak int) {
	to := len(r.T)
	if r.Stages.HasFinal {
		to = r.After(r.Stages.Final)
	}
	t, v := r.T[peak:to], r.V[peak:to]
	value := math.Inf(1)
	var timeS float64
	if len(t) >= smooth.MinPoints {
		values := smooth.Values(t, v, ValueWindowS)
		low := trace.Lowest(values)
		timeS, value = r.vertex(peak, to, peak+low, values[low])
	}
	top := r.values[Peak]
	if fall := top - value; fall < 3*smooth.Noise(t, v) || fall < 0.001*top {
		r.add("no-trough", finding.Note, "viscosity_mPas", peak, "the viscosity does not fall below the peak before the paste has cooled", "",
			"trough, breakdown and setback from the trough are left out")
		return
	}
	r.set(Trough, value, timeS)
}

// final is the viscosity at the end of the test: the straight line through the
// last FinalWindowS seconds (at least MinPoints points), at the last point.
func (r *reader) final() {
	m, n := r.Method, len(r.T)
	last := r.Last()
	if m.HasProgramme() {
		if want := m.Programme[len(m.Programme)-1].TemperatureC; r.C[n-1] > want+max(3, m.ToleranceC) && r.EndsEarly() {
			r.add("final-not-reached", finding.Doubt, "temperature_C", n-1, fmt.Sprintf("record ends at %.0f s and %.1f °C", last, r.C[n-1]),
				fmt.Sprintf("%g °C at %g s by the programme", want, m.DurationS()), "final viscosity and setbacks are left out; export the whole run")
			return
		}
	} else if !r.Stages.HasFinal {
		r.add("no-final-hold", finding.Doubt, "temperature_C", n-1, fmt.Sprintf("record ends at %.0f s and %.1f °C, on the way down or just arrived", last, r.C[n-1]),
			"a final stage of at least 10 s", "final viscosity is that of the last point: compare it only with runs that end alike")
	}
	r.set(Final, r.atEnd(), last)
}

// atEnd is the viscosity at the end of the record, by a line through its last stretch.
func (r *reader) atEnd() float64 {
	from := max(0, min(r.From(r.Last()-FinalWindowS), len(r.T)-smooth.MinPoints))
	value, _ := smooth.Line(r.T[from:], r.V[from:], r.Last())
	return value
}
