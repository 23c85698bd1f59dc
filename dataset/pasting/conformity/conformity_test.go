package conformity

import (
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/work"
)

func builtin(t testing.TB, id string) method.Method {
	m, ok := method.Lookup(id)
	if !ok {
		t.Fatalf("no method %s", id)
	}
	return m
}

// viscosity is a curve with the shape of wheat's by the 13-minute profile.
func viscosity(t float64) float64 {
	ease := func(t, t0, t1, v0, v1 float64) float64 { return v0 + (v1-v0)*(1-math.Cos(math.Pi*(t-t0)/(t1-t0)))/2 }
	switch {
	case t < 190:
		return 60
	case t < 370:
		return ease(t, 190, 370, 60, 2500)
	case t < 490:
		return ease(t, 370, 490, 2500, 1500)
	case t < 720:
		return ease(t, 490, 720, 1500, 2800)
	}
	return 2800
}

// clean is a run that keeps to m exactly, a point every 2 s.
func clean(m method.Method) trace.Curve {
	var c trace.Curve
	for t := 0.0; t <= m.DurationS(); t += 2 {
		c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, t), append(c.TemperatureC, m.TemperatureAt(t)), append(c.ViscosityMPas, viscosity(t))
		c.SpeedRPM = append(c.SpeedRPM, map[bool]float64{true: m.StirRPM, false: m.TestRPM}[t < m.StirS])
	}
	return c
}

func check(c trace.Curve, m method.Method, p Policy) (Report, finding.List) {
	tr, faults := trace.Read(c, m)
	return Check(tr, faults, p)
}

// between adds x to v where the time lies in a range.
func between(c *trace.Curve, v []float64, from, to, x float64) {
	for i, t := range c.TimeS {
		if t >= from && t <= to {
			v[i] += x
		}
	}
}

// TestCleanRuns: every built-in with a programme that heats, run exactly, has
// nothing to say against it.
func TestCleanRuns(t *testing.T) {
	for _, m := range method.Builtin() {
		r, fl := check(clean(m), m, Policy{All: Refuse})
		if fl.Has("no-heating") { // a method at constant temperature has no stages
			continue
		}
		if len(r.Deviations) > 0 || len(r.Stages) != len(m.Programme)-1 {
			t.Errorf("%s: %d stages, %v", m.ID, len(r.Stages), fl)
		}
		for _, s := range r.Stages {
			if math.Abs(s.OffsetC) > 1e-9 || math.Abs(s.WorstC) > 1e-9 || (s.Rate != nil && math.Abs(*s.Rate-*s.WantRate) > 1e-6) {
				t.Errorf("%s: %+v", m.ID, s)
			}
		}
		if math.Abs(r.StepS-2) > 1e-12 || r.DurationS != m.DurationS() {
			t.Errorf("%s: %g s by %g s", m.ID, r.DurationS, r.StepS)
		}
	}
}

// TestDeviations disturbs a run in one known way at a time and expects the
// deviation, its size, its stage, and a feature that it touches.
func TestDeviations(t *testing.T) {
	m := builtin(t, "general-13min")
	rate := 45. / 222 // °C per s while heating
	for name, x := range map[string]struct {
		spoil   func(c *trace.Curve)
		code    string
		stage   string
		size    float64
		tol     float64
		affects string
	}{
		"hot hold 3 °C warm":     {func(c *trace.Curve) { between(c, c.TemperatureC, 290, 432, 3) }, "temperature-offset", "hold at 95 °C", 3, 0.01, "trough_mPas"},
		"end 2.5 °C cold":        {func(c *trace.Curve) { between(c, c.TemperatureC, 660, 780, -2.5) }, "temperature-offset", "hold at 50 °C", -2.5, 0.01, "final_mPas"},
		"lags 15 s on heating":   {func(c *trace.Curve) { between(c, c.TemperatureC, 75, 282, -15*rate) }, "temperature-lag", "heating 50 to 95 °C", 15, 0.1, "peak_time_s"},
		"heats 8 % too slowly":   {func(c *trace.Curve) { stretch(c, 60, 1/1.16, 95) }, "heating-rate", "heating 50 to 95 °C", 100 * (1/1.16 - 1), 1.5, "rise_rate_mPas_per_s"},
		"overshoots by 4":        {func(c *trace.Curve) { between(c, c.TemperatureC, 282, 300, 4) }, "temperature-overshoot", "hold at 95 °C", 4, 0.01, "trough_mPas"},
		"overshoots by 6":        {func(c *trace.Curve) { between(c, c.TemperatureC, 282, 320, 6) }, "temperature-overshoot", "hold at 95 °C", 6, 0.01, "trough_mPas"},
		"a hot hold that swings": {func(c *trace.Curve) { swing(c, 282, 432, 6) }, "temperature-unsteady", "hold at 95 °C", -6, 0.5, "peak_mPas"},
		"recorded 20 s late":     {func(c *trace.Curve) { move(c, m, -20) }, "clock-shift", "", -20, 1, "peak_time_s"},
		"recorded 30 s early":    {func(c *trace.Curve) { move(c, m, 30) }, "clock-shift", "", 30, 1, "peak_time_s"},
		"another clock":          {func(c *trace.Curve) { between(c, c.TimeS, 0, 1e9, 5000) }, "clock-shift", "", 5000, 1, "peak_time_s"},
		"hot hold cut short":     {func(c *trace.Curve) { cutShort(c, 380, 40) }, "hold-length", "hot hold", -40, 4, "breakdown_mPas"},
		"paddle 5 % fast":        {func(c *trace.Curve) { between(c, c.SpeedRPM, 10, 1e9, 8) }, "speed-off", "", 5, 0.01, "peak_mPas"},
		"paddle 30 % slow":       {func(c *trace.Curve) { between(c, c.SpeedRPM, 10, 1e9, -48) }, "speed-differs", "", -30, 0.01, "peak_mPas"},
		"coarse particles":       {func(c *trace.Curve) { settle(c, 200, 60) }, "settling", "start", 100, 60, "initial_mPas"},
		"a loose paddle":         {func(c *trace.Curve) { scatter(c, 670, 780, 80) }, "paddle-noise", "final", 80, 25, "final_mPas"},
		"a boil":                 {func(c *trace.Curve) { scatter(c, 290, 425, 90) }, "paddle-noise", "hot hold", 90, 30, "trough_mPas"},
		"boils over":             {func(c *trace.Curve) { scaleFrom(c, 400, 0.8) }, "boil-over", "hot hold", 470, 30, "breakdown_mPas"},
		"a gap on heating":       {func(c *trace.Curve) { cut(c, 200, 240) }, "gap", "heating", 44, 0.1, "pasting_temp_C"},
		"a gap at the end":       {func(c *trace.Curve) { cut(c, 700, 750) }, "gap", "final", 54, 0.1, "final_mPas"},
		"clipped":                {func(c *trace.Curve) { clip(c, 2000) }, "saturated", "hot hold", 2000, 1e-9, "breakdown_mPas"},
		"ends early":             {func(c *trace.Curve) { cut(c, 740, 800) }, "record-short", "final", 42, 0.1, "final_mPas"},
		"a negative zero":        {func(c *trace.Curve) { between(c, c.ViscosityMPas, 20, 60, -63) }, "viscosity-negative", "start", 3, 1e-9, "initial_mPas"},
	} {
		t.Run(name, func(t *testing.T) {
			c := clean(m)
			x.spoil(&c)
			r, fl := check(c, m, Policy{})
			i := slices.IndexFunc(r.Deviations, func(d Deviation) bool { return d.Code == x.code })
			if i < 0 {
				t.Fatalf("no %s: %v", x.code, fl)
			}
			d := r.Deviations[i]
			if d.Stage != x.stage || math.Abs(d.Size-x.size) > x.tol || !slices.Contains(d.Affects, x.affects) || d.Effect == "" || d.ToS < d.FromS {
				t.Errorf("got %+v", d)
			}
			refused := strings.HasSuffix(x.code, "-differs")
			if d.Severity != map[bool]finding.Severity{true: finding.Refused, false: finding.Doubt}[refused] || !fl.Has(x.code) {
				t.Errorf("severity %s, findings %v", d.Severity, fl)
			}
			f := d.finding
			if f.Found == "" || f.Want == "" || f.Do == "" || !strings.Contains(f.Found, d.Effect) {
				t.Errorf("finding %+v", f)
			}
			// The policy turns this doubt into a refusal, and no other.
			_, fl = check(c, m, Policy{Of: map[string]Action{x.code: Refuse}})
			for _, f := range fl {
				if (f.Severity == finding.Refused) != (f.Code == x.code || strings.HasSuffix(f.Code, "-differs")) {
					t.Errorf("policy on %s: %v", x.code, f)
				}
			}
		})
	}
}

// TestOtherProgramme: a run by the 23-minute profile under the name of the
// 13-minute one is refused whatever the policy; one by the rice profile (6 s
// slower on the way up, from memory) only lags a little.
func TestOtherProgramme(t *testing.T) {
	m := builtin(t, "general-13min")
	long := clean(builtin(t, "general-23min"))
	if _, fl := check(long, m, Policy{All: Warn}); !fl.Has("programme-differs") || fl.Count(finding.Refused) != 1 {
		t.Errorf("23 minutes as 13: %v", fl)
	}
	rice := m
	rice.Programme = []method.Point{{TimeS: 0, TemperatureC: 50}, {TimeS: 60, TemperatureC: 50}, {TimeS: 288, TemperatureC: 95}, {TimeS: 438, TemperatureC: 95}, {TimeS: 666, TemperatureC: 50}, {TimeS: 750, TemperatureC: 50}}
	if _, fl := check(clean(rice), m, Policy{}); fl.Has("programme-differs") {
		t.Errorf("rice profile: %v", fl)
	}
}

// TestNothingKnown: without a programme, a temperature or a record, nothing is
// compared, and what is wrong with the record still comes through.
func TestNothingKnown(t *testing.T) {
	m := builtin(t, "general-13min")
	c := clean(m)
	if r, fl := check(c, method.Unknown("own"), Policy{}); len(r.Stages) > 0 || len(fl) > 0 {
		t.Errorf("unknown method: %v", fl)
	}
	c.TemperatureC = nil
	if r, fl := check(c, m, Policy{All: Refuse}); len(r.Stages) > 0 || fl.Count(finding.Refused) > 0 || !fl.Has("temperature-from-programme") {
		t.Errorf("no temperatures: %v", fl)
	}
	if r, fl := check(trace.Curve{}, m, Policy{}); !fl.Has("curve-short") || r.Stages == nil || r.Deviations == nil {
		t.Errorf("no record: %+v %v", r, fl)
	}
}

// TestEffectsNameFeatures: every feature that a deviation can affect is one of
// the glossary.
func TestEffectsNameFeatures(t *testing.T) {
	lists := [][]string{viscosities}
	for _, e := range effects {
		lists = append(lists, e.affects)
	}
	for _, l := range touched {
		lists = append(lists, l)
	}
	for _, id := range slices.Concat(lists...) {
		if tr, ok := trait.Lookup(id); !ok || tr.Role != trait.RoleFeature {
			t.Errorf("%s is no feature", id)
		}
	}
}

func TestParsePolicy(t *testing.T) {
	p, err := ParsePolicy([]string{"gap=warn", "refuse", "spike=warn"})
	if err != nil || !p.Refuses("gap") || p.Refuses("spike") || !p.Refuses("settling") {
		t.Errorf("%+v, %v", p, err)
	}
	if p, err = ParsePolicy(nil); err != nil || p.Refuses("gap") {
		t.Errorf("%+v, %v", p, err)
	}
	for _, word := range []string{"stop", "gap", "gap=maybe", "gapp=refuse", "=refuse"} {
		var e *PolicyError
		if _, err := ParsePolicy([]string{word}); !errors.As(err, &e) || e.Word != word {
			t.Errorf("%q: %v", word, err)
		}
	}
}

// TestAnything: whatever is done to a run, there is no panic, every deviation
// has a known code and a finite size, and each has its finding.
func TestAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := method.Builtin()
		m := all[rapid.IntRange(0, len(all)-1).Draw(t, "method")]
		c := clean(builtin(testing.TB(nil), "general-13min"))
		for range rapid.IntRange(0, 3).Draw(t, "faults") {
			column := rapid.SampledFrom([][]float64{c.TemperatureC, c.ViscosityMPas, c.SpeedRPM, c.TimeS}).Draw(t, "column")
			from := rapid.Float64Range(0, 780).Draw(t, "from")
			between(&c, column, from, from+rapid.Float64Range(0, 400).Draw(t, "for"), rapid.SampledFrom([]float64{-1e5, -50, -3, 0.5, 3, 40, 1e6}).Draw(t, "x"))
		}
		r, fl := check(c, m, Policy{})
		for _, d := range r.Deviations {
			if !slices.Contains(Codes(), d.Code) || math.IsNaN(d.Size) || math.IsInf(d.Size, 0) || !fl.Has(d.Code) {
				t.Fatalf("%+v", d)
			}
		}
	})
}

func stretch(c *trace.Curve, from, by, top float64) {
	for i, t := range c.TimeS {
		if t > from && t < 430 {
			c.TemperatureC[i] = min(top, 50+45./222*by*(t-from))
		}
	}
}

func swing(c *trace.Curve, from, to, by float64) {
	for i, t := range c.TimeS {
		if t > from && t < to {
			c.TemperatureC[i] -= by * math.Abs(math.Sin((t-from)/12)) * math.Round(math.Mod((t-from)/40, 1))
		}
	}
}

func move(c *trace.Curve, m method.Method, by float64) {
	for i, t := range c.TimeS {
		c.TemperatureC[i], c.ViscosityMPas[i] = m.TemperatureAt(t-by), viscosity(t-by)
	}
}

func cutShort(c *trace.Curve, from, by float64) {
	m, _ := method.Lookup("general-13min")
	for i, t := range c.TimeS {
		if t > from {
			c.TemperatureC[i] = m.TemperatureAt(t + by)
		}
	}
}

func settle(c *trace.Curve, by, within float64) {
	for i, t := range c.TimeS {
		c.ViscosityMPas[i] += by * math.Exp(-3*t/within)
	}
}

func scatter(c *trace.Curve, from, to, sd float64) {
	rng := work.Rand(1, "scatter")
	for i, t := range c.TimeS {
		if t > from && t < to {
			c.ViscosityMPas[i] += sd * rng.NormFloat64()
		}
	}
}

func scaleFrom(c *trace.Curve, from, by float64) {
	for i, t := range c.TimeS {
		if t > from {
			c.ViscosityMPas[i] *= by
		}
	}
}

func clip(c *trace.Curve, at float64) {
	for i, v := range c.ViscosityMPas {
		c.ViscosityMPas[i] = min(v, at)
	}
}

func cut(c *trace.Curve, from, to float64) {
	var out trace.Curve
	for i, t := range c.TimeS {
		if t < from || t > to {
			out.TimeS, out.TemperatureC, out.ViscosityMPas, out.SpeedRPM = append(out.TimeS, t), append(out.TemperatureC, c.TemperatureC[i]), append(out.ViscosityMPas, c.ViscosityMPas[i]), append(out.SpeedRPM, c.SpeedRPM[i])
		}
	}
	*c = out
}

// TestDocumented: every code stands in the table of docs/conformity.md.
func TestDocumented(t *testing.T) {
	data, err := os.ReadFile("../../../docs/conformity.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, code := range Codes() {
		if !strings.Contains(string(data), "`"+code+"`") {
			t.Errorf("%s is not in docs/conformity.md", code)
		}
	}
}
