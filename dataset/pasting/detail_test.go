package pasting

import (
	"math"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/trace"
	"flourcast/finding"
)

// tangentAt is where the tangent halfway up a raised cosine meets its base:
// tOnset + L·(1/2 − 1/π).
func (s shape) tangentAt() float64 {
	return s.tOnset + (s.tPeak-s.tOnset)*(0.5-1/math.Pi)
}

// area is the integral of the shape from a to b, by its closed form piece by
// piece: a raised cosine has the primitive (v0+v1)/2·t − (v1−v0)·L/(2π)·sin(π(t−t0)/L).
func (s shape) area(a, b float64) float64 {
	flat := func(v float64) func(float64) float64 { return func(t float64) float64 { return v * t } }
	wave := func(t0, t1, v0, v1 float64) func(float64) float64 {
		return func(t float64) float64 {
			return (v0+v1)/2*t - (v1-v0)*(t1-t0)/(2*math.Pi)*math.Sin(math.Pi*(t-t0)/(t1-t0))
		}
	}
	sum := 0.0
	for _, p := range []struct {
		from, to float64
		f        func(float64) float64
	}{
		{-1e9, s.tOnset, flat(s.base)}, {s.tOnset, s.tPeak, wave(s.tOnset, s.tPeak, s.base, s.peak)}, {s.tPeak, s.tTrough, wave(s.tPeak, s.tTrough, s.peak, s.trough)},
		{s.tTrough, s.tEnd, wave(s.tTrough, s.tEnd, s.trough, s.final)}, {s.tEnd, 1e9, flat(s.final)},
	} {
		if from, to := max(a, p.from), min(b, p.to); from < to {
			sum += p.f(to) - p.f(from)
		}
	}
	return sum
}

// TestDetailsClosedForm reads details whose values follow from the formula of
// the curve. The tangent is laid on a parabola over 20 s, which reads the
// steepest slope up to 1.5 % low: 0.2 °C here. Areas by straight lines between
// points 4 s apart miss by less than 0.2 %.
func TestDetailsClosedForm(t *testing.T) {
	m := general()
	m.ViscosityAtC = []float64{60, 80, 90}
	s := wheat
	for _, step := range []float64{1, 2, 4} {
		f, fl := Extract(sample(s.at, m, step, 780), m)
		if len(fl) > 0 {
			t.Fatal(fl)
		}
		near(t, f, Initial, s.base, 1e-9)
		near(t, f, PastingTangent, m.TemperatureAt(s.tangentAt()), 0.25)
		near(t, f, RiseRatePerC, s.riseRate()/(45./222), 0.015*s.riseRate()/(45./222))
		at := func(celsius float64) float64 { return s.at(60 + (celsius-50)*222/45) }
		near(t, f, ViscosityAt(60), s.base, 1e-6)
		near(t, f, ViscosityAt(80), at(80), 0.01*at(80))
		near(t, f, ViscosityAt(90), at(90), 0.01*at(90))
		absent(t, f, ViscosityAt(65), ViscosityAt(95), SecondPeak, SecondPeakTime)
		onset := s.onsetEnd(24, 6)
		near(t, f, OnsetToPeak, s.tPeak-onset, step+2.5)
		near(t, f, RelativeBreakdown, 1-s.trough/s.peak, 1e-3)
		near(t, f, Stability, s.trough/s.peak, 1e-3)
		near(t, f, RelativeSetback, s.final/s.trough-1, 2e-3)
		st, _ := f.Stages()
		for id, ends := range map[string][2]float64{AreaHeating: {st.Heating, st.Hot}, AreaHot: {st.Hot, st.Cooling}, AreaCooling: {st.Cooling, st.Final}} {
			want := s.area(ends[0], ends[1])
			near(t, f, id, want, 2e-3*want)
		}
	}
}

// TestTangentWorkedExample: baseline 60 mPa·s to 168 s, then +5 mPa·s per s; the
// tangent meets the baseline at 168 s, at 71.89 °C (worked out by hand from
// T = 50 + 45/222·(t − 60)). A straight rise has 5/(45/222) mPa·s per °C.
func TestTangentWorkedExample(t *testing.T) {
	m := general()
	ramp := func(t float64) float64 { return 60 + 5*max(0, min(t, 400)-168) - 4*max(0, min(t, 470)-400) }
	f, _ := Extract(sample(ramp, m, 2, 780), m)
	near(t, f, PastingTangent, 71.89, 0.005)
	near(t, f, RiseRatePerC, 5/(45./222), 1e-6)
}

// TestTwoPeaks adds an early hump to the curve of wheat: the maxima of the sum
// were found on a grid of 0.01 s. Where the early one is the higher, they change
// places, and the tangent stays on the first rise.
func TestTwoPeaks(t *testing.T) {
	m := general()
	for name, height := range map[string]float64{"later is higher": 900, "earlier is higher": 2400} {
		v := func(t float64) float64 { return wheat.at(t) + bump(t, 250, 30, height) }
		var times [2]float64
		for k, span := range [2][2]float64{{220, 280}, {300, 430}} {
			best := span[0]
			for x := span[0]; x <= span[1]; x += 0.01 {
				if v(x) > v(best) {
					best = x
				}
			}
			times[k] = best
		}
		first, second := times[1], times[0]
		if v(second) > v(first) {
			first, second = second, first
		}
		f, fl := Extract(sample(v, m, 1, 780), m)
		if !fl.Has("two-peaks") {
			t.Errorf("%s: %v", name, fl)
		}
		near(t, f, PeakTime, first, 2.5)
		near(t, f, Peak, v(first), 0.01*v(first))
		near(t, f, SecondPeakTime, second, 2.5)
		near(t, f, SecondPeak, v(second), 0.01*v(second))
		if got, _ := f.Get(PastingTangent); got > m.TemperatureAt(times[0]) {
			t.Errorf("%s: tangent onset at %.1f °C, after the first peak", name, got)
		}
	}
}

// TestMaxima: what stands out, and what does not.
func TestMaxima(t *testing.T) {
	for _, c := range []struct {
		v    []float64
		want []int
	}{
		{[]float64{0, 1, 5, 1, 0}, []int{2}},
		{[]float64{5, 4, 3, 2, 1}, nil},                  // a fall from the start is no maximum
		{[]float64{1, 2, 3, 4, 5}, nil},                  // nor is the end
		{[]float64{0, 5, 2, 6, 0}, []int{1, 3}},          // two
		{[]float64{0, 5, 4, 6, 0}, []int{3}},             // a dent of 1 does not part them
		{[]float64{9, 0, 5, 5, 0, 1, 0, 7}, []int{2}},    // a flat top counts at its start; a rise of 1 is none
		{[]float64{3, 3, 3, 3}, nil},                     //
		{[]float64{0, 4, 0, 4, 0, 4, 0}, []int{1, 3, 5}}, //
	} {
		if got := maxima(c.v, 3); len(got) != len(c.want) || (len(got) > 0 && !equal(got, c.want)) {
			t.Errorf("maxima of %v at %v, want %v", c.v, got, c.want)
		}
	}
}

func equal(a, b []int) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// TestSucrose: a rise that begins in the hot hold and goes on to its end. The
// onset's temperature is the hold's, the steepest rise has no slope over
// temperature, there is no trough, and nothing is invented.
func TestSucrose(t *testing.T) {
	m, ok := method.Lookup("cake-sucrose50")
	if !ok {
		t.Fatal("no cake-sucrose50")
	}
	v := func(t float64) float64 { return cosine(clamp(t, 820, 1400), 820, 1400, 90, 3500) }
	f, fl := Extract(sample(v, m, 4, 1620), m)
	if !fl.Has("late-onset") || !fl.Has("peak-at-hold-end") || !fl.Has("no-trough") || !fl.Has("rise-in-hold") {
		t.Errorf("findings %v", fl)
	}
	near(t, f, PastingTemp, 98, 1e-9)
	near(t, f, Peak, v(1016), 8) // the last point of the hold
	near(t, f, Final, 3500, 1e-6)
	absent(t, f, Trough, BreakdownDrop, Stability, SetbackFromTrough, RelativeSetback, RiseRatePerC)
	near(t, f, SetbackFromPeak, 3500-v(1020), 35)
}

// TestSlowRise: a rise of 1.5 mPa·s per s never meets 24 mPa·s within 6 s; the
// tangent does not need it, and starts from the initial viscosity.
func TestSlowRise(t *testing.T) {
	m := general()
	v := func(t float64) float64 { return 60 + 1.5*max(0, min(t, 400)-180) - 2*max(0, min(t, 500)-400) }
	f, fl := Extract(sample(v, m, 2, 780), m)
	if !fl.Has("onset-not-reached") {
		t.Errorf("findings %v", fl)
	}
	absent(t, f, PastingTemp, OnsetToPeak)
	near(t, f, PastingTangent, m.TemperatureAt(180), 0.01)
}

// TestRatiosOfValues: ratios given in a file are compared with the viscosities,
// and filled in where they are absent.
func TestRatiosOfValues(t *testing.T) {
	f, fl := FromValues(map[string]float64{Peak: 2000, Trough: 1200, Final: 2400})
	if len(fl) > 0 {
		t.Fatal(fl)
	}
	near(t, f, Stability, 0.6, 1e-12)
	near(t, f, RelativeBreakdown, 0.4, 1e-12)
	near(t, f, RelativeSetback, 1, 1e-12)
	_, fl = FromValues(map[string]float64{Peak: 2000, Trough: 1200, Stability: 0.7})
	if len(fl) != 1 || fl[0].Code != "features-contradict" || fl[0].At.Column != Stability || fl[0].Severity != finding.Doubt {
		t.Errorf("stability 0.7 of 1200/2000: %v", fl)
	}
	_, fl = FromValues(map[string]float64{Peak: 2000, Stability: 60})
	if !fl.Has("value-range") {
		t.Errorf("stability 60: %v", fl)
	}
	f, _ = FromValues(map[string]float64{Final: 2400, Trough: 0})
	absent(t, f, RelativeSetback)
}

// TestTraceOfRefused: a refused record has no trace, and a trace has no refusal.
func TestTraceOfRefused(t *testing.T) {
	tr, faults := trace.Read(Curve{}, general())
	if tr != nil || trace.Findings(faults).Count(finding.Refused) != 1 {
		t.Errorf("%v %v", tr, faults)
	}
	c := sample(wheat.at, general(), 2, 780)
	c.ViscosityMPas[250] = 9000
	tr, faults = trace.Read(c, general())
	if tr == nil || len(faults) != 1 || faults[0].FromS != 500 || faults[0].Unit != "mPa·s" || math.Abs(faults[0].Size-(9000-1500)) > 50 {
		t.Errorf("%v", faults)
	}
}

// TestStirringNumber: by a method that stays hot the viscosity at the end is the stirring
// number, known exactly of a straight line; there is no final viscosity and no doubt for
// want of cooling. A record that ends early has none.
func TestStirringNumber(t *testing.T) {
	m, ok := method.Lookup("stirring-number")
	if !ok || !m.StaysHot() {
		t.Fatal("stirring-number stays hot")
	}
	if other, _ := method.Lookup("noodle-water"); other.StaysHot() {
		t.Error("noodle-water cools")
	}
	for _, last := range []int{180, 120} {
		var c Curve
		for s := 0; s <= last; s += 2 {
			v := 40.0
			if s > 20 {
				v = min(1200, 40+25*float64(s-20)) // up to 66 s
			}
			if s > 80 {
				v = 1200 - 4*float64(s-80) // 800 mPa·s at 180 s
			}
			c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, float64(s)), append(c.TemperatureC, 95), append(c.ViscosityMPas, v)
		}
		f, fl := Extract(c, m)
		v, ok := f.Get(StirringNumber)
		if full := last == 180; ok != full || full && math.Abs(v-800) > 1 {
			t.Errorf("record of %d s: %v, %v; want 800 of a full one\n%v", last, v, ok, fl)
		}
		if _, ok := f.Get(Final); ok || fl.Has("no-cooling") {
			t.Errorf("record of %d s: a final viscosity, or a doubt: %v", last, fl)
		}
	}
}
