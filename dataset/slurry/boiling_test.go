package slurry

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
)

// TestSaturation: the check values of the IAPWS-IF97 release for the backward
// equation of region 4 (its table 36): 0.1, 1, 10 MPa.
func TestSaturation(t *testing.T) {
	for mpa, want := range map[float64]float64{0.1: 372.755919, 1: 453.035632, 10: 584.149488} {
		near(t, "saturation temperature", saturation(mpa), want, 5e-7)
	}
}

func TestBoilingAtAltitude(t *testing.T) {
	for _, row := range table(t, "boiling.csv") {
		p, err := Pressure(row["altitude_m"])
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pressure", p, row["pressure_hPa"], 0.006)
		got, err := WaterBoils(p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "boils", got, row["boils_C"], 0.006)
		near(t, "boils by the Antoine equation", got, row["antoine_C"], 0.08)
		if rounded, ok := row["rounded_C"]; ok {
			near(t, "boils by public tables", got, rounded, 0.3)
		}
		// Without sucrose, the solution is water.
		none, err := BoilingPoint(0, p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "without sucrose", none, got, 1e-9)
	}
	// A 95 °C hold boils above about 1490 m (computed by us).
	p, err := Pressure(1490)
	if err != nil {
		t.Fatal(err)
	}
	if got, _ := WaterBoils(p); math.Abs(got-95) > 0.03 {
		t.Errorf("at 1490 m water boils at %g", got)
	}
}

func TestElevationBySucrose(t *testing.T) {
	for _, row := range table(t, "elevation.csv") {
		got, err := BoilingPoint(row["pct"], 1013.25)
		if err != nil {
			t.Fatal(err)
		}
		water, _ := WaterBoils(1013.25)
		near(t, "raised", got-water, row["raised_C"], 0.006)
	}
	p, _ := Pressure(2000)
	got, err := BoilingPoint(50, p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "50 % at 2000 m", got, 95.07, 0.006) // computed by us
}

// TestBoilingRises with sucrose and with pressure.
func TestBoilingRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pct := rapid.Float64Range(0, MostBoilingSucrosePct-1).Draw(t, "pct")
		hPa := rapid.Float64Range(300, 1099).Draw(t, "hPa")
		at, err := BoilingPoint(pct, hPa)
		if err != nil {
			t.Fatal(err)
		}
		sweeter, _ := BoilingPoint(pct+1, hPa)
		lower, _ := BoilingPoint(pct, hPa+1)
		if !(sweeter > at) || !(lower > at) {
			t.Fatalf("%g °C; with 1 %% more sucrose %g, with 1 hPa more %g", at, sweeter, lower)
		}
		// The equation it solves: p_sat(T)·a_w = p.
		kelvin := at + 273.15
		near(t, "solves its equation", saturation(hPa/1e4/waterActivity(pct, kelvin)), kelvin, 1e-9)
	})
}

func TestBoilVerdicts(t *testing.T) {
	m := lookup(t, "general-13min")
	for _, c := range []struct {
		altitude, sucrose float64
		verdict           string
	}{{0, 0, Clear}, {1000, 0, Clear}, {1300, 0, Close}, {1600, 0, Boils}, {2000, 0, Boils}, {1600, 50, Clear}, {2000, 50, Close}} {
		p, err := Pressure(c.altitude)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Boil(m.Programme, c.sucrose, p, HeadroomAltitudeC)
		if err != nil {
			t.Fatal(err)
		}
		if b.Verdict != c.verdict || b.HottestC != 95 || math.Abs(b.PointC-b.WaterC-b.ElevationC) > 1e-9 || math.Abs(b.PointC-b.LimitC-1) > 1e-9 {
			t.Errorf("%g m, %g %% sucrose: %+v, want %s", c.altitude, c.sucrose, b, c.verdict)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("an empty programme did not panic as documented")
		}
	}()
	_, _ = Boil(nil, 0, 1000, 1)
}

// TestCap: at every time a capped programme is the lower of programme and limit.
func TestCap(t *testing.T) {
	methods := method.Builtin()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom(methods).Draw(t, "method")
		limit := rapid.OneOf(rapid.Float64Range(45, 105), rapid.SampledFrom([]float64{50, 90, 95, 98})).Draw(t, "limit")
		capped := m
		capped.Programme = Cap(m.Programme, limit)
		for i, p := range capped.Programme {
			if i > 0 && p.TimeS <= capped.Programme[i-1].TimeS {
				t.Fatalf("times %v", capped.Programme)
			}
		}
		for s := 0.0; s <= m.DurationS(); s += 7.3 {
			near(t, "capped", capped.TemperatureAt(s), min(m.TemperatureAt(s), limit), 1e-6)
		}
		if capped.DurationS() != m.DurationS() {
			t.Fatalf("lasts %g s, not %g", capped.DurationS(), m.DurationS())
		}
	})
}
