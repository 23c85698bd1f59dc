package pasting

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/work"
)

// near fails unless the feature is there and within tol of want.
func near(t *testing.T, f Features, id string, want, tol float64) {
	t.Helper()
	got, ok := f.Get(id)
	if !ok {
		t.Errorf("%s is absent, want %g", id, want)
	} else if math.Abs(got-want) > tol {
		t.Errorf("%s = %g, want %g within %g", id, got, want, tol)
	}
}

func absent(t *testing.T, f Features, names ...string) {
	t.Helper()
	for _, id := range names {
		if v, ok := f.Get(id); ok {
			t.Errorf("%s = %g, want it absent", id, v)
		}
	}
}

// TestExtractClosedForm reads curves whose features are known from their
// formula. Tolerances: a parabola over 12 s (20 s where points come every 4 s)
// follows these extremes to 1 mPa·s, but leans by up to 2 s towards the flatter
// side of a lopsided peak (none on an even one); a line over the last 30 s
// misses a final viscosity that was reached only 20 s ago by 2 mPa·s; a slope
// over 20 s reads up to 1.5 % low; windows of the onset begin at sampled points,
// so the pasting temperature may come one sample late (and 0.1 °C early by what
// the parabola rounds off the corner).
func TestExtractClosedForm(t *testing.T) {
	shapes := map[string]shape{
		"wheat":      wheat,
		"thin":       {base: 20, peak: 420, trough: 90, final: 260, tOnset: 210, tPeak: 310, tTrough: 450, tEnd: 700},
		"late, firm": {base: 90, peak: 3600, trough: 3000, final: 5200, tOnset: 230, tPeak: 420, tTrough: 500, tEnd: 760},
		"early peak": {base: 60, peak: 3300, trough: 1100, final: 2100, tOnset: 150, tPeak: 270, tTrough: 440, tEnd: 690},
	}
	m := general()
	for name, s := range shapes {
		for _, step := range []float64{1, 2, 4} {
			t.Run(fmt.Sprintf("%s every %g s", name, step), func(t *testing.T) {
				f, fl := Extract(sample(s.at, m, step, 780), m)
				if !f.OK() || fl.Count(finding.Refused)+fl.Count(finding.Doubt) > 0 {
					t.Fatalf("a clean curve gave %v", fl)
				}
				near(t, f, Peak, s.peak, 1)
				near(t, f, PeakTime, s.tPeak, 2)
				near(t, f, PeakTemp, m.TemperatureAt(s.tPeak), 0.4)
				near(t, f, Trough, s.trough, 1)
				near(t, f, Final, s.final, 2)
				near(t, f, BreakdownDrop, s.peak-s.trough, 1)
				near(t, f, SetbackFromTrough, s.final-s.trough, 2)
				near(t, f, SetbackFromPeak, s.final-s.peak, 2)
				near(t, f, RiseRate, s.riseRate(), 0.015*s.riseRate())
				exact := m.TemperatureAt(s.onsetEnd(m.Onset.RiseMPas, m.Onset.WithinS))
				if got, _ := f.Get(PastingTemp); got < exact-0.1 || got > exact+step*45/222+0.1 {
					t.Errorf("pasting temperature %.2f °C, want %.2f to one sample more", got, exact)
				}
			})
		}
	}
}

// TestPastingTemperatureConventions: baseline 60 mPa·s to 168 s, then +5 mPa·s
// per s, sampled every 2 s on the ramp of the 13-minute profile; the first
// qualifying window is 168–174 s. Temperatures at its start, middle and end
// worked out by hand from T = 50 + 45/222·(t − 60).
func TestPastingTemperatureConventions(t *testing.T) {
	ramp := func(t float64) float64 {
		switch {
		case t <= 168:
			return 60
		case t <= 400:
			return 60 + 5*(t-168)
		case t <= 470:
			return 1220 - 4*(t-400)
		}
		return 940 + 3*(t-470)
	}
	for at, want := range map[string]float64{"start": 71.89, "middle": 72.50, "end": 73.11} {
		m := general()
		m.Onset.At = at
		f, _ := Extract(sample(ramp, m, 2, 780), m)
		near(t, f, PastingTemp, want, 0.005)
		near(t, f, RiseRate, 5, 1e-9) // a straight rise has this slope everywhere
		when, ok := f.TimeOf(PastingTemp)
		if !ok || m.TemperatureAt(when) != func() float64 { v, _ := f.Get(PastingTemp); return v }() {
			t.Errorf("%s: onset at %g s is not where its temperature was read", at, when)
		}
	}
}

// TestExtractNoise measures bias and SD over 200 noisy copies of one curve
// (simulated, seed fixed) and holds them to stated bounds. Noise has SD
// 3 mPa·s + 0.5 % of the viscosity (15.5 at the peak). The maximum of noisy
// values is biased upwards and the minimum downwards; the slope likewise.
func TestExtractNoise(t *testing.T) {
	m := general()
	truth := map[string]float64{Peak: wheat.peak, PeakTime: wheat.tPeak, Trough: wheat.trough, Final: wheat.final, RiseRate: wheat.riseRate(),
		PastingTemp: m.TemperatureAt(wheat.onsetEnd(24, 6))}
	type bound struct{ low, high, sd float64 } // of bias; of SD
	bounds := map[float64]map[string]bound{
		1: {Peak: {2, 8, 7}, Trough: {-7, -1, 5}, Final: {-2, 2, 8}, PeakTime: {-1, 1, 4.5}, RiseRate: {0, 0.6, 0.4}, PastingTemp: {0, 0.3, 0.3}},
		2: {Peak: {3, 11, 9}, Trough: {-9, -2, 7}, Final: {-3, 3, 11}, PeakTime: {-1, 1, 4.5}, RiseRate: {0, 0.8, 0.5}, PastingTemp: {0, 0.4, 0.4}},
		4: {Peak: {3, 11, 12}, Trough: {-9, -2, 8}, Final: {-4, 4, 14}, PeakTime: {-1, 1, 5}, RiseRate: {0.2, 1.3, 0.7}, PastingTemp: {0.2, 0.6, 0.4}},
		6: {Peak: {0, 9, 13}, Trough: {-8, 0, 9}, Final: {-5, 5, 16}, PeakTime: {-1, 1, 5}, RiseRate: {-0.2, 0.8, 0.5}, PastingTemp: {0.2, 0.9, 0.8}},
	}
	const copies = 200
	for step, want := range bounds {
		sum, squares := map[string]float64{}, map[string]float64{}
		rng := work.Rand(1, "noise", fmt.Sprint(step))
		for range copies {
			f, fl := Extract(noisy(sample(wheat.at, m, step, 780), rng, 3, 0.005), m)
			for id, exact := range truth {
				v, ok := f.Get(id)
				if !ok {
					t.Fatalf("every %g s: %s is absent: %v", step, id, fl)
				}
				sum[id] += v - exact
				squares[id] += (v - exact) * (v - exact)
			}
		}
		for id, b := range want {
			bias := sum[id] / copies
			sd := math.Sqrt(squares[id]/copies - bias*bias)
			t.Logf("every %g s: %s bias %+.3g, SD %.3g", step, id, bias, sd)
			if bias < b.low || bias > b.high || sd > b.sd {
				t.Errorf("every %g s: %s bias %+.3g (want %g…%g), SD %.3g (want ≤ %g)", step, id, bias, b.low, b.high, sd, b.sd)
			}
		}
	}
}

// TestStagesFollowTemperature moves and bends the temperature of a run and
// expects the stages to follow it, whatever the clock says.
func TestStagesFollowTemperature(t *testing.T) {
	m := general()
	lag := func(c Curve, tau float64) Curve { // first-order controller lag
		out := append([]float64(nil), c.TemperatureC...)
		for i := 1; i < len(out); i++ {
			a := 1 - math.Exp(-(c.TimeS[i]-c.TimeS[i-1])/tau)
			out[i] = out[i-1] + a*(c.TemperatureC[i]-out[i-1])
		}
		c.TemperatureC = out
		return c
	}
	clean := sample(wheat.at, m, 2, 780)
	late := sample(func(t float64) float64 { return wheat.at(t - 90) }, m, 2, 870)
	for i, s := range late.TimeS {
		late.TemperatureC[i] = m.TemperatureAt(s - 90)
	}
	overshoot := sample(wheat.at, m, 2, 780)
	for i, s := range overshoot.TimeS {
		if s > 282 && s < 342 {
			overshoot.TemperatureC[i] += 2 * math.Exp(-(s-282)/15)
		}
	}
	high := sample(wheat.at, m, 2, 780)
	for i, s := range high.TimeS {
		if s > 282 && s < 330 {
			high.TemperatureC[i] += 6
		}
	}
	rough := sample(wheat.at, m, 2, 780)
	rng := work.Rand(1, "temperature")
	for i := range rough.TemperatureC {
		rough.TemperatureC[i] += 0.15 * rng.NormFloat64()
	}
	glitch := sample(wheat.at, m, 2, 780)
	glitch.TemperatureC[50] = 103
	for name, c := range map[string]struct {
		curve                  Curve
		hot, cooling, end, tol float64
	}{
		"by the programme": {clean, 282, 432, 660, 8},
		"90 s late":        {late, 372, 522, 750, 8},
		"lag of 6 s":       {lag(clean, 6), 288, 438, 660, 8},
		"overshoot of 2":   {overshoot, 282, 432, 660, 8},
		"overshoot of 6":   {high, 282, 432, 660, 8},
		"noise of 0.15":    {rough, 282, 432, 660, 8},
		"one stray value":  {glitch, 282, 432, 660, 8},
	} {
		t.Run(name, func(t *testing.T) {
			f, fl := Extract(c.curve, method.Unknown("own"))
			s, ok := f.Stages()
			if !ok || !s.HasCooling || !s.HasFinal {
				t.Fatalf("stages %+v, %v: %v", s, ok, fl)
			}
			if math.Abs(s.Hot-c.hot) > 2.5 || math.Abs(s.Cooling-c.cooling) > 2.5 || math.Abs(s.Final-c.end) > 2*c.tol {
				t.Errorf("hot, cooling, final at %.1f, %.1f, %.1f s; want %g, %g, %g", s.Hot, s.Cooling, s.Final, c.hot, c.cooling, c.end)
			}
			near(t, f, Peak, wheat.peak, 0.5)
			near(t, f, Trough, wheat.trough, 0.5)
			near(t, f, Final, wheat.final, 0.5)
		})
	}
}

// TestSlowProfile reads a curve of the 23-minute profile.
func TestSlowProfile(t *testing.T) {
	m, _ := method.Lookup("general-23min")
	s := shape{base: 50, peak: 2300, trough: 1300, final: 2900, tOnset: 300, tPeak: 600, tTrough: 880, tEnd: 1320}
	f, fl := Extract(sample(s.at, m, 4, 1380), m)
	if len(fl) > 0 {
		t.Fatal(fl)
	}
	near(t, f, Peak, s.peak, 0.5)
	near(t, f, Trough, s.trough, 0.5)
	near(t, f, Final, s.final, 0.5)
	if st, _ := f.Stages(); math.Abs(st.Hot-510) > 2.5 || math.Abs(st.Cooling-810) > 2.5 {
		t.Errorf("stages %+v", st)
	}
}

// TestUnsteadyGrid reads the same curve from points at uneven times.
func TestUnsteadyGrid(t *testing.T) {
	m := general()
	rng := work.Rand(1, "grid")
	var c Curve
	for s := 0.0; s <= 780; s += 1 + 3*rng.Float64() {
		c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, s), append(c.TemperatureC, m.TemperatureAt(s)), append(c.ViscosityMPas, wheat.at(s))
	}
	f, _ := Extract(c, m)
	near(t, f, Peak, wheat.peak, 0.5)
	near(t, f, PeakTime, wheat.tPeak, 0.5)
	near(t, f, Trough, wheat.trough, 0.5)
	near(t, f, RiseRate, wheat.riseRate(), 0.01*wheat.riseRate())
}

// TestFeaturesAreGlossaryColumns: the main features are those of the glossary's
// pasting family, in its order, and each detail has a column of its own.
func TestFeaturesAreGlossaryColumns(t *testing.T) {
	var want []string
	for _, tr := range trait.All() {
		if tr.Family == "pasting" {
			want = append(want, tr.ID)
		}
	}
	if got := Main(); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("ids %v, glossary has %v", got, want)
	}
	for _, id := range []string{Initial, PastingTangent, ViscosityAt(60), ViscosityAt(95), RiseRatePerC, AreaHeating, OnsetToPeak, SecondPeakTime, SecondPeak, AreaHot, RelativeBreakdown, Stability, AreaCooling, RelativeSetback} {
		if tr, ok := trait.Lookup(id); !ok || tr.Family != "pasting detail" || !slices.Contains(IDs(), id) {
			t.Errorf("%s is no detail of the glossary", id)
		}
	}
}
