package pasting

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/work"
)

// TestFindings makes one fault at a time in a clean curve.
func TestFindings(t *testing.T) {
	m := general()
	clean := func() Curve { return sample(wheat.at, m, 2, 780) }
	change := func(f func(c *Curve)) Curve { c := clean(); f(&c); return c }
	cut := func(c Curve, from, to int) Curve {
		return Curve{TimeS: c.TimeS[from:to], TemperatureC: c.TemperatureC[from:to], ViscosityMPas: c.ViscosityMPas[from:to]}
	}
	flat := func(float64) float64 { return 55 }
	for name, c := range map[string]struct {
		curve    Curve
		code     string
		severity finding.Severity
		gone     []string // features that must be absent
	}{
		"no points":         {Curve{}, "curve-short", finding.Refused, nil},
		"eleven points":     {cut(clean(), 0, 11), "curve-short", finding.Refused, nil},
		"only the stir":     {cut(sample(wheat.at, m, 0.5, 780), 0, 15), "curve-brief", finding.Refused, nil},
		"only the start":    {cut(clean(), 0, 32), "no-heating", finding.Refused, nil},
		"minutes":           {change(func(c *Curve) { scale(c.TimeS, 1./60) }), "curve-brief", finding.Refused, nil},
		"a point each 5 ms": {sample(wheat.at, m, 0.005, 780), "curve-dense", finding.Note, nil},
		"ragged":            {change(func(c *Curve) { c.ViscosityMPas = c.ViscosityMPas[1:] }), "curve-ragged", finding.Refused, nil},
		"NaN":               {change(func(c *Curve) { c.ViscosityMPas[100] = math.NaN() }), "not-finite", finding.Refused, nil},
		"infinite time":     {change(func(c *Curve) { c.TimeS[390] = math.Inf(1) }), "not-finite", finding.Refused, nil},
		"backwards":         {change(func(c *Curve) { c.TimeS[100] = c.TimeS[98] }), "time-backwards", finding.Refused, nil},
		"one repeat":        {change(func(c *Curve) { c.TimeS[100] = c.TimeS[99] }), "time-repeated", finding.Doubt, nil},
		"time in 0.1 min":   {change(func(c *Curve) { tenths(c.TimeS) }), "time-repeated", finding.Refused, nil},
		"heated only":       {cut(clean(), 0, 130), "no-peak", finding.Refused, nil},
		"no cooling":        {cut(clean(), 0, 215), "no-cooling", finding.Doubt, []string{Trough, Final, BreakdownDrop, SetbackFromPeak, SetbackFromTrough}},
		"ends in cooling":   {cut(clean(), 0, 280), "final-not-reached", finding.Doubt, []string{Final, SetbackFromPeak, SetbackFromTrough}},
		"ends early":        {cut(clean(), 0, 350), "record-short", finding.Doubt, nil},
		"a little below 0":  {change(func(c *Curve) { c.ViscosityMPas[10] = -3 }), "viscosity-negative", finding.Doubt, nil},
		"far below 0":       {change(func(c *Curve) { c.ViscosityMPas[10] = -900 }), "viscosity-negative", finding.Refused, nil},
		"flat":              {sample(flat, m, 2, 780), "no-paste", finding.Refused, nil},
		"zero":              {sample(func(float64) float64 { return 0 }, m, 2, 780), "no-paste", finding.Refused, nil},
		"noise only":        {noisy(sample(func(float64) float64 { return 300 }, m, 2, 780), work.Rand(1, "flat"), 30, 0), "no-paste", finding.Refused, nil},
		"slow rise":         {sample(func(t float64) float64 { return cosine(min(t, 432), 60, 432, 60, 400) - max(0, t-432) }, m, 2, 780), "onset-not-reached", finding.Doubt, []string{PastingTemp}},
		"peak at the end":   {sample(func(t float64) float64 { return 60 + 5*max(0, min(t, 700)-200) }, m, 2, 780), "peak-at-hold-end", finding.Doubt, []string{Trough, BreakdownDrop, SetbackFromTrough}},
		"no trough":         {sample(func(t float64) float64 { return 60 + 5*max(0, min(t, 700)-200) }, m, 2, 780), "no-trough", finding.Note, nil},
		"not heated":        {change(func(c *Curve) { fill(c.TemperatureC, 50) }), "no-heating", finding.Refused, nil},
		"Fahrenheit":        {change(func(c *Curve) { fahrenheit(c.TemperatureC) }), "temperature-implausible", finding.Refused, nil},
		"too hot":           {change(func(c *Curve) { c.TemperatureC[100] = 400 }), "temperature-implausible", finding.Refused, nil},
		"too cold":          {change(func(c *Curve) { c.TemperatureC[100] = -273 }), "temperature-implausible", finding.Refused, nil},
		"no temperature":    {change(func(c *Curve) { c.TemperatureC = nil }), "temperature-from-programme", finding.Note, nil},
		"gap":               {change(func(c *Curve) { *c = cutOut(*c, 60, 90) }), "gap", finding.Doubt, nil},
		"every 8 s":         {sample(wheat.at, m, 8, 780), "sampling-slow", finding.Doubt, nil},
		"spike":             {change(func(c *Curve) { c.ViscosityMPas[250] = 9000 }), "spike", finding.Doubt, nil},
		"lost contact":      {change(func(c *Curve) { c.ViscosityMPas[205] = 0 }), "spike", finding.Doubt, nil},
		"clipped":           {change(func(c *Curve) { clip(c.ViscosityMPas, 2000) }), "saturated", finding.Doubt, nil},
		"paddle stopped":    {change(func(c *Curve) { fill(c.ViscosityMPas[210:], 5) }), "sudden-drop", finding.Refused, nil},
		"thousandfold":      {change(func(c *Curve) { scale(c.ViscosityMPas, 1000) }), "viscosity-high", finding.Doubt, nil},
		"heated twice": {change(func(c *Curve) {
			for i := 360; i < 391; i++ {
				c.TemperatureC[i] = 95
			}
		}), "two-runs", finding.Refused, nil},
		"reheated": {change(func(c *Curve) { fill(c.TemperatureC[260:281], 95) }), "two-heatings", finding.Doubt, nil},
		"two runs, one clock": {change(func(c *Curve) {
			for i := range 391 {
				c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, c.TimeS[i]+782), append(c.TemperatureC, c.TemperatureC[i]), append(c.ViscosityMPas, c.ViscosityMPas[i])
			}
		}), "two-runs", finding.Refused, nil},
		"two runs, two clocks": {change(func(c *Curve) {
			for i := range 391 {
				c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, c.TimeS[i]), append(c.TemperatureC, c.TemperatureC[i]), append(c.ViscosityMPas, c.ViscosityMPas[i])
			}
		}), "time-backwards", finding.Refused, nil},
		"kelvin":          {change(func(c *Curve) { add(c.TemperatureC, 273.15) }), "temperature-implausible", finding.Refused, nil},
		"in Pa·s":         {change(func(c *Curve) { scale(c.ViscosityMPas, 1e-3) }), "viscosity-low", finding.Refused, nil},
		"1.234 for 1,234": {change(func(c *Curve) { separators(c.ViscosityMPas) }), "thousandfold", finding.Refused, nil},
		"runs on":         {sample(wheat.at, m, 2, 900), "record-long", finding.Doubt, nil},
		"boil-over":       {change(func(c *Curve) { scale(c.ViscosityMPas[200:], 0.8) }), "boil-over", finding.Doubt, nil},
		"slip":            {change(func(c *Curve) { scale(c.ViscosityMPas[300:], 0.8) }), "viscosity-step", finding.Doubt, nil},
		"late onset":      {sample(shape{base: 60, peak: 2000, trough: 1500, final: 2200, tOnset: 295, tPeak: 400, tTrough: 500, tEnd: 700}.at, m, 2, 780), "late-onset", finding.Doubt, nil},
		"rises on cooling only": {sample(func(t float64) float64 { return cosine(clamp(t, 440, 660), 440, 660, 60, 300) }, m, 2, 780), "rise-not-reached", finding.Doubt,
			[]string{Peak, PeakTime, PeakTemp, PastingTemp, PastingTangent, RiseRate, RiseRatePerC, OnsetToPeak, Trough, BreakdownDrop, SetbackFromPeak, SetbackFromTrough, Stability}},
		"two peaks": {sample(func(t float64) float64 { return wheat.at(t) + bump(t, 250, 30, 900) }, m, 2, 780), "two-peaks", finding.Doubt, nil},
		"plateau":   {sample(func(t float64) float64 { return wheat.at(stopped(t, 370, 50)) }, m, 2, 830), "plateau", finding.Doubt, nil},
	} {
		t.Run(name, func(t *testing.T) {
			f, fl := Extract(c.curve, m)
			i := slices.IndexFunc(fl, func(f finding.Finding) bool { return f.Code == c.code })
			if i < 0 || fl[i].Severity != c.severity {
				t.Fatalf("want %s (%s), got %v", c.code, c.severity, fl)
			}
			if fl[i].Severity != finding.Note && (fl[i].Want == "" || fl[i].Do == "") {
				t.Errorf("finding without cure: %v", fl[i])
			}
			if f.OK() != (fl.Count(finding.Refused) == 0) {
				t.Errorf("OK is %v beside %v", f.OK(), fl)
			}
			absent(t, f, c.gone...)
		})
	}
}

func fill(v []float64, x float64) {
	for i := range v {
		v[i] = x
	}
}
func add(v []float64, x float64) {
	for i := range v {
		v[i] += x
	}
}
func scale(v []float64, x float64) {
	for i := range v {
		v[i] *= x
	}
}
func clip(v []float64, x float64) {
	for i := range v {
		v[i] = min(v[i], x)
	}
}
func tenths(v []float64) {
	for i := range v {
		v[i] = math.Round(v[i]/6) * 6
	}
}
func fahrenheit(v []float64) {
	for i := range v {
		v[i] = v[i]*9/5 + 32
	}
}

// separators reads thousands separators as decimal points: 1,234 becomes 1.234.
func separators(v []float64) {
	for i, x := range v {
		if x >= 1000 {
			v[i] = math.Round(x) / 1000
		}
	}
}

// stopped is a clock that stands still for so long at a time.
func stopped(t, at, pause float64) float64 { return min(t, max(at, t-pause)) }
func clamp(t, low, high float64) float64   { return min(max(t, low), high) }
func bump(t, at, width, height float64) float64 {
	if math.Abs(t-at) > width {
		return 0
	}
	return height * (1 + math.Cos(math.Pi*(t-at)/width)) / 2
}
func cutOut(c Curve, from, to int) Curve {
	return Curve{TimeS: slices.Delete(c.TimeS, from, to), TemperatureC: slices.Delete(c.TemperatureC, from, to), ViscosityMPas: slices.Delete(c.ViscosityMPas, from, to)}
}

// TestFaultsLeaveFeatures: what is doubted and mended does not move the features.
func TestFaultsLeaveFeatures(t *testing.T) {
	m := general()
	for name, spoil := range map[string]func(c *Curve){
		"stir":  func(c *Curve) { fill(c.ViscosityMPas[:5], 8000) }, // the fast stir's own viscosity
		"blip":  func(c *Curve) { add(c.ViscosityMPas[40:44], 60) }, // 8 s of paddle noise before the onset
		"spike": func(c *Curve) { c.ViscosityMPas[250] = 9000 },
	} {
		c := sample(wheat.at, m, 2, 780)
		clean, _ := Extract(c, m)
		spoil(&c)
		f, fl := Extract(c, m)
		for _, v := range clean.Values() {
			got, ok := f.Get(v.ID)
			tol := 1e-3
			if v.ID == AreaHeating { // an area takes the blip in
				tol = 1e-2
			}
			if !ok || math.Abs(got-v.Value) > tol*math.Abs(v.Value) {
				t.Errorf("%s: %s went from %g to %g (%v): %v", name, v.ID, v.Value, got, ok, fl)
			}
		}
	}
}

// TestPlaceOfFinding: a finding names the file row of its point.
func TestPlaceOfFinding(t *testing.T) {
	c := sample(wheat.at, general(), 2, 780)
	c.At = finding.Place{File: "runs.csv", Row: 2}
	for i := range c.TimeS {
		c.Rows = append(c.Rows, 2+3*i)
	}
	c.TimeS[100] = 3
	_, fl := Extract(c, general())
	if len(fl) != 1 || fl[0].At != (finding.Place{File: "runs.csv", Row: 302, Column: "time_s"}) {
		t.Errorf("got %v", fl)
	}
}

// TestPlaceBehindSpike: readings that were left out do not shift the rows of
// what comes after.
func TestPlaceBehindSpike(t *testing.T) {
	c := sample(wheat.at, general(), 2, 780)
	for i := range c.TimeS {
		c.Rows = append(c.Rows, 2+i)
	}
	c.ViscosityMPas[100], c.ViscosityMPas[150] = 7000, 7000
	fill(c.ViscosityMPas[210:], 5)
	_, fl := Extract(c, general())
	if len(fl) != 2 || fl[0].Code != "spike" || fl[0].At.Row != 102 || fl[1].Code != "sudden-drop" || fl[1].At.Row != 212 {
		t.Errorf("got %v", fl)
	}
}

// TestTemperatureOfProgramme: a curve without temperatures is read as one that
// kept to its programme exactly.
func TestTemperatureOfProgramme(t *testing.T) {
	c := sample(wheat.at, general(), 2, 780)
	with, _ := Extract(c, general())
	c.TemperatureC = nil
	without, _ := Extract(c, general())
	if !slices.Equal(with.Values(), without.Values()) {
		t.Errorf("%v, without temperatures %v", with.Values(), without.Values())
	}
}

// TestEndInCooling: by an unknown method a record may end on the way down; the
// final viscosity is then of the last point, and doubted.
func TestEndInCooling(t *testing.T) {
	for end, doubted := range map[float64]bool{600: true, 656: true, 700: false} {
		f, fl := Extract(sample(wheat.at, general(), 2, end), method.Unknown("own"))
		near(t, f, Final, wheat.at(end), 15)
		if fl.Has("no-final-hold") != doubted {
			t.Errorf("ends at %g s: %v", end, fl)
		}
	}
}

// TestMethodUnknownWithoutTemperature: nothing tells the stages, so it is refused.
func TestMethodUnknownWithoutTemperature(t *testing.T) {
	c := sample(wheat.at, general(), 2, 780)
	c.TemperatureC = nil
	for _, m := range []method.Method{{}, method.Unknown("own")} {
		if f, fl := Extract(c, m); f.OK() || !fl.Has("temperature-missing") {
			t.Errorf("%q: %v %v", m.ID, f.Values(), fl)
		}
	}
}

func anyShape(t *rapid.T) shape {
	between := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	s := shape{base: between(10, 100, "base"), tOnset: between(100, 230, "tOnset")}
	s.peak = s.base + between(300, 4000, "rise")
	s.tPeak = min(s.tOnset+between(60, 180, "width"), 415)
	s.trough = s.peak * between(0.2, 0.9, "trough")
	s.tTrough = between(440, 520, "tTrough")
	s.final = s.trough * between(1.1, 3, "final")
	s.tEnd = between(640, 740, "tEnd")
	return s
}

// TestLaws: moving the clock moves times only; scaling the viscosity (and the
// onset's criterion with it) scales viscosities only; the identities hold; the
// curve is not written to.
func TestLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := general()
		m.Programme = nil // laws of the reading, not of the check against a programme
		s := anyShape(t)
		step := rapid.SampledFrom([]float64{1, 2, 4}).Draw(t, "step")
		c := sample(s.at, general(), step, 780)
		before := slices.Clone(c.ViscosityMPas)
		f, fl := Extract(c, m)
		if !f.OK() || !slices.Equal(before, c.ViscosityMPas) {
			t.Fatalf("refused or written to: %v", fl)
		}
		get := func(f Features, id string) float64 {
			v, ok := f.Get(id)
			if !ok {
				t.Fatalf("%s is absent: %v", id, fl)
			}
			return v
		}
		same := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
				t.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		same("peak − trough", get(f, BreakdownDrop), get(f, Peak)-get(f, Trough))
		same("final − trough", get(f, SetbackFromTrough), get(f, Final)-get(f, Trough))
		same("final − peak", get(f, SetbackFromPeak), get(f, Final)-get(f, Peak))

		shift := rapid.SampledFrom([]float64{-64, 0.5, 32, 1024}).Draw(t, "shift") // exact in binary
		moved := Curve{TimeS: slices.Clone(c.TimeS), TemperatureC: c.TemperatureC, ViscosityMPas: c.ViscosityMPas}
		add(moved.TimeS, shift)
		g, _ := Extract(moved, m)
		k := rapid.SampledFrom([]float64{0.25, 0.5, 2, 8}).Draw(t, "k")
		scaled := Curve{TimeS: c.TimeS, TemperatureC: c.TemperatureC, ViscosityMPas: slices.Clone(c.ViscosityMPas)}
		scale(scaled.ViscosityMPas, k)
		mk := m
		mk.Onset.RiseMPas *= k
		h, _ := Extract(scaled, mk)
		for _, v := range f.Values() {
			by, on := 0.0, k
			switch v.ID {
			case PeakTime, SecondPeakTime:
				by, on = shift, 1
			case PastingTemp, PastingTangent, PeakTemp, OnsetToPeak, Stability, RelativeBreakdown, RelativeSetback:
				on = 1
			}
			same("moved "+v.ID, get(g, v.ID), v.Value+by)
			same("scaled "+v.ID, get(h, v.ID), v.Value*on)
		}
	})
}

// FuzzExtract feeds arbitrary numbers: six bytes a point. Whatever comes, there
// is no panic, every feature is finite, and a refusal has a finding.
func FuzzExtract(f *testing.F) {
	pack := func(c Curve) []byte {
		var out []byte
		for i := range c.TimeS {
			for _, v := range []float64{c.TimeS[i], c.TemperatureC[i], c.ViscosityMPas[i]} {
				out = binary.LittleEndian.AppendUint16(out, uint16(int16(v)))
			}
		}
		return out
	}
	m := general()
	f.Add(pack(sample(wheat.at, m, 4, 780)), false, 1.0)
	f.Add(pack(sample(wheat.at, m, 30, 780)), true, 0.1)
	f.Add([]byte("not a curve, not at all, but some bytes of it, and then again some more of them to be long enough"), false, 1.0)
	f.Add([]byte{}, true, math.NaN())
	f.Fuzz(func(t *testing.T, data []byte, programme bool, unit float64) {
		var c Curve
		for ; len(data) >= 6; data = data[6:] {
			read := func(k int) float64 { return float64(int16(binary.LittleEndian.Uint16(data[k:]))) }
			c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, read(0)*unit), append(c.TemperatureC, read(2)), append(c.ViscosityMPas, read(4))
		}
		m := method.Unknown("own")
		if programme {
			m = general()
			c.TemperatureC = nil
		}
		got, fl := Extract(c, m)
		if got.OK() != (fl.Count(finding.Refused) == 0) {
			t.Fatalf("OK is %v beside %v", got.OK(), fl)
		}
		for _, v := range got.Values() {
			if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				t.Fatalf("%s is %v", v.ID, v.Value)
			}
		}
	})
}

// TestSpoiled breaks good curves in several ways at once, which arbitrary bytes
// seldom do: no panic, and what comes out is consistent.
func TestSpoiled(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := general()
		if rapid.Bool().Draw(t, "unknown method") {
			m = method.Unknown("own")
		}
		c := sample(anyShape(t).at, general(), rapid.SampledFrom([]float64{1, 4, 15, 45}).Draw(t, "step"), 780)
		for range rapid.IntRange(1, 4).Draw(t, "faults") {
			n := len(c.TimeS)
			if n == 0 {
				break
			}
			i := rapid.IntRange(0, n-1).Draw(t, "from")
			j := rapid.IntRange(i+1, n).Draw(t, "to")
			column := rapid.SampledFrom([][]float64{c.TimeS, c.TemperatureC, c.ViscosityMPas}).Draw(t, "column")
			x := rapid.SampledFrom([]float64{0, -5, 1, 50, 95, 1e4, 1e300, math.NaN()}).Draw(t, "x")
			switch rapid.SampledFrom([]string{"cut", "keep", "fill", "add", "scale", "clip"}).Draw(t, "fault") {
			case "cut":
				c = cutOut(c, i, j)
			case "keep":
				c = cutOut(cutOut(c, j, n), 0, i)
			case "fill":
				fill(column[i:j], x)
			case "add":
				add(column[i:j], x)
			case "scale":
				scale(column[i:j], x)
			case "clip":
				clip(column[i:j], x)
			}
		}
		f, fl := Extract(c, m)
		if f.OK() != (fl.Count(finding.Refused) == 0) || len(f.Values()) > 0 != f.OK() {
			t.Fatalf("OK is %v beside %v and %v", f.OK(), f.Values(), fl)
		}
		for _, v := range f.Values() {
			if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				t.Fatalf("%s is %v", v.ID, v.Value)
			}
		}
		if b, ok := f.Get(BreakdownDrop); ok && b <= 0 {
			t.Fatalf("breakdown %g", b)
		}
		if s, ok := f.Stages(); ok && (s.Hot > s.Cooling && s.HasCooling || s.Cooling > s.Final && s.HasFinal || s.HasFinal && !s.HasCooling) {
			t.Fatalf("stages out of order: %+v", s)
		}
		if at, ok := f.TimeOf(Peak); ok && (at < c.TimeS[0] || at > c.TimeS[len(c.TimeS)-1]) {
			t.Fatalf("peak at %g s, outside the record", at)
		}
	})
}
