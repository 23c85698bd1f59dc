package whole

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/trace"
)

func general(t testing.TB) method.Method {
	m, ok := method.Lookup("general-13min")
	if !ok {
		t.Fatal("no general-13min")
	}
	return m
}

// line is a curve of straight pieces with corners at whole multiples of 12 s, so
// that any grid and sampling that divide 12 s read it exactly.
func line(t float64) float64 {
	return 60 + 12*max(0, min(t, 372)-192) - 8*max(0, min(t, 480)-372) + 5*max(0, t-480)
}

func run(t testing.TB, step float64, m method.Method, v func(float64) float64) *trace.Trace {
	var c trace.Curve
	for k := 0; float64(k)*step <= m.DurationS(); k++ {
		at := float64(k) * step
		c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, at), append(c.TemperatureC, m.TemperatureAt(at)), append(c.ViscosityMPas, v(at))
	}
	tr, faults := trace.Read(c, m)
	if tr == nil {
		t.Fatal(faults)
	}
	return tr
}

// TestOnTime: a curve of straight pieces comes back exactly at every column,
// whatever the sampling and the grid.
func TestOnTime(t *testing.T) {
	m := general(t)
	for _, grid := range []string{"4s", "6s", "0.1min", "2.5s"} {
		g, err := ParseGrid("time", grid)
		if err != nil {
			t.Fatal(err)
		}
		p, err := g.Plan(m)
		if err != nil {
			t.Fatal(err)
		}
		if n := int(780/g.Step) + 1; len(p.Columns()) != n {
			t.Errorf("%s: %d columns, want %d", grid, len(p.Columns()), n)
		}
		if last := map[string]string{"4s": "v_0780s", "6s": "v_0780s", "0.1min": "v_0780s", "2.5s": "v_0780.0s"}[grid]; p.Columns()[0] != strings.Replace(last, "780", "000", 1) || p.Columns()[len(p.Columns())-1] != last {
			t.Errorf("%s: from %s to %s", grid, p.Columns()[0], p.Columns()[len(p.Columns())-1])
		}
		for _, step := range []float64{1, 2, 3, 4, 6, 12} {
			row := p.Lay(run(t, step, m, line))
			values, present := row.Values, row.Present
			for i, v := range values {
				if want := line(float64(i) * g.Step); !present[i] || math.Abs(v-want) > 1e-9 {
					t.Fatalf("%s of a point every %g s: %s = %g (%v), want %g", grid, step, p.Columns()[i], v, present[i], want)
				}
			}
		}
	}
}

// TestOnTemperature: on a viscosity that is a straight line of temperature while
// heating and while cooling, each column is known from the line.
func TestOnTemperature(t *testing.T) {
	m := general(t)
	v := func(t float64) float64 {
		switch c := m.TemperatureAt(t); {
		case t <= 282:
			return 20 * (c - 40)
		case t <= 432:
			return 1100 - 2*(t-282)
		case t <= 660:
			return 800 + 30*(95-c)
		default:
			return 2150 + (t - 660)
		}
	}
	g, err := ParseGrid("temperature", "5C")
	if err != nil {
		t.Fatal(err)
	}
	p, err := g.Plan(m)
	if err != nil {
		t.Fatal(err)
	}
	row := p.Lay(run(t, 2, m, v))
	values, present := row.Values, row.Present
	at := func(name string) (float64, bool) {
		i := slices.Index(p.Columns(), name)
		if i < 0 {
			t.Fatalf("no column %s among %v", name, p.Columns())
		}
		return values[i], present[i]
	}
	for name, want := range map[string]float64{"v_heat_55C": 300, "v_heat_75C": 700, "v_heat_90C": 1000, "v_hot_0000s": 1100, "v_hot_0010s": 1080, "v_hot_0140s": 820,
		"v_cool_90C": 950, "v_cool_55C": 2000} {
		if got, ok := at(name); !ok || math.Abs(got-want) > 0.2 {
			t.Errorf("%s = %g (%v), want %g", name, got, ok, want)
		}
	}
	// The final hold begins where the trace says so, within the band of its rule.
	if got, ok := at("v_final_0100s"); !ok || math.Abs(got-2250) > 12 {
		t.Errorf("v_final_0100s = %g (%v), want 2250", got, ok)
	}
	if n := strings.Count(strings.Join(p.Columns(), " "), "v_heat_"); n != 8 { // 55 … 90: strictly between 50 and 95
		t.Errorf("%d columns of heating: %v", n, p.Columns())
	}
}

// TestAbsent: nothing is invented before, after or inside what was recorded.
func TestAbsent(t *testing.T) {
	m := general(t)
	var c trace.Curve
	for at := 20.0; at <= 700; at += 2 {
		if at > 300 && at < 340 {
			continue
		}
		c.TimeS, c.TemperatureC, c.ViscosityMPas = append(c.TimeS, at), append(c.TemperatureC, m.TemperatureAt(at)), append(c.ViscosityMPas, line(at))
	}
	tr, _ := trace.Read(c, m)
	p, err := Grid{Time, 10}.Plan(m)
	if err != nil {
		t.Fatal(err)
	}
	row := p.Lay(tr)
	values, present := row.Values, row.Present
	for i, ok := range present {
		at := float64(i) * 10
		want := at >= 20 && at <= 700 && !(at > 300 && at < 340)
		if ok != want || (ok && math.Abs(values[i]-line(at)) > 1e-9) || (!ok && values[i] != 0) {
			t.Errorf("%s: present %v, %g", p.Columns()[i], ok, values[i])
		}
	}
}

// TestHotHoldCutShort: a hold that was shorter than the programme's leaves its
// last columns absent, and they are not filled from the cooling.
func TestHotHoldCutShort(t *testing.T) {
	m := general(t)
	short := m
	short.Programme = slices.Clone(m.Programme)
	for i := 3; i < len(short.Programme); i++ {
		short.Programme[i].TimeS -= 60
	}
	p, err := Grid{Temperature, 5}.Plan(m)
	if err != nil {
		t.Fatal(err)
	}
	present := p.Lay(run(t, 2, short, line)).Present
	if i := slices.Index(p.Columns(), "v_hot_0090s"); !present[i] {
		t.Error("v_hot_0090s is absent")
	}
	if i := slices.Index(p.Columns(), "v_hot_0100s"); present[i] {
		t.Error("v_hot_0100s was filled from the cooling")
	}
}

// TestNames: no two columns share a name, however fine the grid.
func TestNames(t *testing.T) {
	for _, step := range []float64{0.25, 0.156, 1. / 3} {
		p, err := Grid{Time, step}.Plan(general(t))
		if err != nil {
			t.Fatal(err)
		}
		names := p.Columns()
		slices.Sort(names)
		if len(slices.Compact(names)) != len(p.Columns()) {
			t.Errorf("names stand twice with a step of %g s", step)
		}
	}
}

func TestRefused(t *testing.T) {
	for _, c := range [][2]string{{"time", "4"}, {"time", "4C"}, {"time", "-4s"}, {"time", "0s"}, {"time", ""}, {"temperature", "4s"}, {"weight", "4s"}, {"time", "nans"}, {"time", "infs"}, {"time", "4 s x"}} {
		var e *GridError
		if g, err := ParseGrid(c[0], c[1]); !errors.As(err, &e) {
			t.Errorf("%v: %+v, %v", c, g, err)
		}
	}
	m := general(t)
	flat := m
	flat.Programme = []method.Point{{TimeS: 0, TemperatureC: 95}, {TimeS: 180, TemperatureC: 95}}
	for name, c := range map[string]struct {
		g Grid
		m method.Method
	}{"no programme": {Grid{Time, 4}, method.Unknown("own")}, "too fine": {Grid{Time, 0.01}, m}, "too fine in °C": {Grid{Temperature, 0.001}, m}, "no heating": {Grid{Temperature, 1}, flat}, "no step": {Grid{Time, 0}, m}} {
		var e *GridError
		if _, err := c.g.Plan(c.m); !errors.As(err, &e) || e.Want == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestLaws: laying never leaves the range of the viscosities, and scales with
// them.
func TestLaws(t *testing.T) {
	m := general(t)
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.SampledFrom([]float64{1, 2.5, 4, 7}).Draw(t, "step")
		on := rapid.SampledFrom([]On{Time, Temperature}).Draw(t, "on")
		p, err := Grid{on, rapid.Float64Range(0.7, 30).Draw(t, "grid")}.Plan(m)
		if err != nil {
			t.Fatal(err)
		}
		k := rapid.SampledFrom([]float64{0.5, 2}).Draw(t, "k")
		tr, scaled := run(tb(t), step, m, line), run(tb(t), step, m, func(at float64) float64 { return k * line(at) })
		one, other := p.Lay(tr), p.Lay(scaled)
		a, ok1, b, ok2 := one.Values, one.Present, other.Values, other.Present
		low, high := tr.V[trace.Lowest(tr.V)], tr.V[trace.Highest(tr.V)]
		for i := range a {
			if ok1[i] != ok2[i] || math.Abs(b[i]-k*a[i]) > 1e-9*(1+math.Abs(b[i])) || (ok1[i] && (a[i] < low-1e-9 || a[i] > high+1e-9)) {
				t.Fatalf("%s: %g (%v), scaled %g (%v)", p.Columns()[i], a[i], ok1[i], b[i], ok2[i])
			}
		}
	})
}

type fatal struct {
	testing.TB
	t *rapid.T
}

func (f fatal) Fatal(args ...any) { f.t.Fatal(args...) }

func tb(t *rapid.T) testing.TB { return fatal{t: t} }

// TestEven: the columns that Plan makes on time are one curve; with one left out,
// turned round, of another grid or of two methods they are not.
func TestEven(t *testing.T) {
	names := []string{"v_0060s", "v_0064s", "v_0068s", "v_0072s", "v_0076s"}
	swap := append([]string(nil), names...)
	swap[1], swap[2] = swap[2], swap[1]
	for _, c := range []struct {
		name  string
		names []string
		ok    bool
	}{
		{"a curve", names, true}, {"by a method", []string{"v_0000.5s@m", "v_0001.0s@m", "v_0001.5s@m"}, true}, {"too short", names[:2], false},
		{"one left out", append(append([]string(nil), names[:2]...), names[3:]...), false}, {"turned round", swap, false},
		{"a feature among them", append([]string{"peak_mPas"}, names...), false}, {"temperature", []string{"v_heat_52C", "v_heat_53C", "v_heat_54C"}, false},
		{"two methods", []string{"v_0000s@a", "v_0004s@b", "v_0008s@a"}, false}, {"no time", []string{"v_s", "v_1s", "v_2s"}, false}, {"NaN", []string{"v_NaNs", "v_NaNs", "v_NaNs"}, false},
	} {
		if err := Even(c.names); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if v, ok := Second("v_0064s@noodle-water"); !ok || v != 64 {
		t.Errorf("v_0064s is at %v, %v", v, ok)
	}
}

// A cell that one run lacks is not there in the mean; the rows stay as they were.
func TestMean(t *testing.T) {
	rows := []Row{{[]float64{1, 2}, []bool{true, true}}, {[]float64{3, 9}, []bool{true, false}}}
	got := Mean(rows)
	if got.Values[0] != 2 || !got.Present[0] || got.Present[1] || got.Absent() != 1 || rows[0].Values[0] != 1 || !rows[0].Present[1] {
		t.Errorf("%+v of %+v", got, rows)
	}
}

// The names of a grid's columns say all that laying takes: a plan made of them lays a
// run as the grid's own does, column by column and in any choice of them.
func TestNamedLaysAsTheGridDoes(t *testing.T) {
	m, _ := method.Lookup("noodle-water")
	tr := run(t, 2, m, func(s float64) float64 { return 100 + 3*s })
	for _, g := range []Grid{{Time, 4}, {Time, 0.5}, {Time, 7.25}, {Temperature, 1}, {Temperature, 2.5}} {
		p, err := g.Plan(m)
		if err != nil {
			t.Fatal(err)
		}
		names := p.Columns()
		for k := range names {
			if k%3 == 0 {
				names[k] += "@noodle-water"
			}
		}
		again, ok := Named(names)
		if !ok || !slices.Equal(again.Columns(), names) {
			t.Fatalf("%+v: the names are not known", g)
		}
		if a, b := p.Lay(tr), again.Lay(tr); !slices.Equal(a.Values, b.Values) || !slices.Equal(a.Present, b.Present) {
			t.Errorf("%+v: laid otherwise by its names", g)
		}
		few, _ := Named(names[5:9])
		if a, b := p.Lay(tr), few.Lay(tr); !slices.Equal(a.Values[5:9], b.Values) {
			t.Errorf("%+v: a few of the columns laid otherwise", g)
		}
	}
	for _, name := range []string{"", "v_", "v_12", "v_heat_52s", "v_hot_0010C", "v_cold_52C", "v_heat_C", "v_heat_NaNC", "peak_mPas", "x_0004s", "v_-004s"} {
		if IsColumn(name) {
			t.Errorf("%q is taken for a column of a curve", name)
		}
	}
}
