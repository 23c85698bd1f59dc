package slurry

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
)

// table reads check values; testdata/SOURCE.md says where they come from. An
// empty cell is absent from its row.
func table(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	var out []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, cell := range row {
			if cell == "" {
				continue
			}
			if m[rows[0][i]], err = strconv.ParseFloat(cell, 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, m)
	}
	return out
}

// tester is what the helpers need of *testing.T and *rapid.T.
type tester interface {
	Helper()
	Errorf(string, ...any)
	Fatal(...any)
	Fatalf(string, ...any)
}

// near fails when got is off want by more than tol.
func near(t tester, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6f, want %g ± %g", what, got, want, tol)
	}
}

func lookup(t tester, id string) method.Method {
	t.Helper()
	m, ok := method.Lookup(id)
	if !ok {
		t.Fatalf("no method %s", id)
	}
	return m
}

func weighIn(t tester, m method.Method, moisture float64) Fills {
	t.Helper()
	f, err := WeighIn(m, moisture)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestSucroseDensityMeetsTheTables(t *testing.T) {
	for _, row := range table(t, "sucrose.csv") {
		got, err := SucroseDensity(row["pct"], row["celsius"])
		if err != nil {
			t.Fatal(err)
		}
		near(t, "density by the polynomial", got, row["density"], 0.000006)
		if book, ok := row["handbook"]; ok {
			near(t, "density by the handbook", got, book, 0.00015) // the handbook has 4 decimals
		}
	}
	// 25 mL of 50 % at 20 °C: 30.741 g, half of it sucrose (computed by us).
	s, err := Prepare(lookup(t, "cake-sucrose50"))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "25 mL of 50 %", 25*s.DensityGPerML, 30.741, 0.0005)
	near(t, "sucrose in a litre", s.SoluteGPerL*25/1000, 15.371, 0.0005)
}

func TestSilverNitrate(t *testing.T) {
	// Computed by us from standard atomic weights.
	near(t, "molar mass", SilverNitrateGPerMol, 169.872, 0.0005)
	near(t, "1 mmol/L", SilverNitrate(1), 0.16987, 0.000005)
	near(t, "12 mmol/L", SilverNitrate(12), 2.03844, 0.00005)
	m := lookup(t, "noodle-inhibited")
	m.Constant, m.TotalFillG = method.KeepsSolvent, 0
	near(t, "in 25 mL of 12 mmol/L", weighIn(t, m, 14).Method.SoluteG, 0.05096, 0.000005)
}

// TestWeighInOfTheGeneralProfile: 3.5 g at 14 % in a total fill of 28.5 g.
func TestWeighInOfTheGeneralProfile(t *testing.T) {
	m := lookup(t, "general-13min")
	for _, row := range table(t, "flour.csv") {
		f := weighIn(t, m, row["moisture_pct"])
		near(t, "flour", f.Method.FlourG, row["flour_g"], 0.00005)
		near(t, "water", f.Method.SolventG, row["solvent_g"], 0.00005)
		near(t, "solids", f.Method.SolidsPct, row["solids_pct"], 0.00005)
		near(t, "on 14 %", f.Flour.At14G, 3.5, 1e-12)
	}
}

// TestDryBasisFlourBringsItsOwnWater: 4.0 g dry at 12 % moisture are 29 g and
// 13.79 % solids when the total fill is constant, 29.5 g and 13.54 % when 25 mL
// of water go in regardless (computed by us; 1 mL of water counted as 1 g, as a
// total fill of 29 g does).
func TestDryBasisFlourBringsItsOwnWater(t *testing.T) {
	f := weighIn(t, lookup(t, "noodle-water"), 12)
	near(t, "flour", f.Method.FlourG, 4.5455, 0.00005)
	near(t, "total by total fill", f.Method.TotalG, 29, 1e-9)
	near(t, "water by total fill", f.Method.SolventG, 24.4545, 0.00005)
	near(t, "solids by total fill", f.Method.SolidsPct, 13.79, 0.005)
	near(t, "total by solvent", f.Other.TotalG, 29.5, 0.05)
	near(t, "water by solvent", f.Other.SolventG, 25, 1e-9)
	near(t, "solids by solvent", f.Other.SolidsPct, 13.54, 0.005)
	if f.Method.Convention != method.KeepsTotalFill || f.Other.Convention != method.KeepsSolvent || !f.Agrees {
		t.Errorf("conventions %s, %s, agrees %v", f.Method.Convention, f.Other.Convention, f.Agrees)
	}
	// 3.5 g dry at 12 %: 3.9773 g, 24.5227 g of water in 28.5 g, 12.28 % (computed by us).
	f = weighIn(t, lookup(t, "cake-water"), 12)
	near(t, "cake flour", f.Method.FlourG, 3.9773, 0.00005)
	near(t, "cake water", f.Method.SolventG, 24.5227, 0.00005)
	near(t, "cake solids", f.Method.SolidsPct, 12.28, 0.005)
}

// TestSucroseLowersSolids: 3.5 g of flour at 14 % in 25 mL of 50 % sucrose
// instead of 25 g of water: 8.79 % solids instead of 10.56 %, and 0.190 g to a
// gram of water instead of 0.118 (computed by us).
func TestSucroseLowersSolids(t *testing.T) {
	water := weighIn(t, lookup(t, "general-13min"), 14)
	m := lookup(t, "cake-sucrose50")
	m.SolidsBasis = "14 %"
	syrup := weighIn(t, m, 14)
	near(t, "in water", water.Method.SolidsPct, 10.56, 0.005)
	near(t, "in sucrose", syrup.Method.SolidsPct, 8.79, 0.005)
	near(t, "to water", water.Method.SolidsPerWater, 3.01/25.49, 1e-9)
	near(t, "solids to solvent water, in sucrose", syrup.Flour.DryG/(syrup.Method.SolventG/2), 3.01/15.371, 0.0005)
	near(t, "sucrose of the liquid", syrup.Method.SucrosePct, 100*15.371/(15.371+15.371+0.49), 0.001)
}

// TestQuotedFill: 31.1 g are quoted for 3.5 g in 25 mL of 50 % sucrose (common
// practice, no source). By the density table the two weigh about 34 g, so 31.1 g
// mean a weaker solution or less of it (computed by us).
func TestQuotedFill(t *testing.T) {
	m := lookup(t, "cake-sucrose50")
	s, err := Prepare(m)
	if err != nil {
		t.Fatal(err)
	}
	f := weighIn(t, m, 13.8)
	near(t, "by the density table", f.SumG, 34.24, 0.005)
	got := Imply(31.1, m, f, s)
	if len(got) != 2 {
		t.Fatalf("%d readings", len(got))
	}
	dry := got[1]
	near(t, "solvent", dry.SolventG, 27.6, 1e-9)
	near(t, "volume", dry.VolumeML, 27.6/1.22965, 0.001)
	if dry.SucrosePct == nil || *dry.SucrosePct <= 24 || *dry.SucrosePct >= 26 {
		t.Fatalf("implied concentration %v", dry.SucrosePct)
	}
	back, err := SucroseDensity(*dry.SucrosePct, 20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "implied density", 25*back, 27.6, 1e-6)
	// A fill that is right implies the method's own solution.
	right := Imply(f.SumG, m, f, s)[1]
	near(t, "a right fill", *right.SucrosePct, 50, 1e-6)
	near(t, "a right fill's volume", right.VolumeML, 25, 1e-9)
	// Impossible fills imply no concentration, or nothing.
	if high := Imply(60, m, f, s); high[0].SucrosePct != nil || high[1].SucrosePct != nil {
		t.Error("60 g imply a sucrose solution")
	}
	if low := Imply(3, m, f, s); low != nil {
		t.Errorf("3 g imply %v", low)
	}
	// Written as a total fill of an own method, it does not agree.
	m.TotalFillG = 31.1
	if f := weighIn(t, m, 13.8); f.Agrees || math.Abs(f.DiffG+3.14) > 0.01 || f.Method.TotalG != 31.1 || math.Abs(f.NominalG-30.741) > 0.001 {
		t.Errorf("%+v", f)
	}
}

// TestReadings: what "50 %" and "25 mL" may mean (computed by us).
func TestReadings(t *testing.T) {
	m := lookup(t, "cake-sucrose50")
	r := Readings(m)
	if len(r) != 4 {
		t.Fatalf("%d readings", len(r))
	}
	near(t, "by mass", r[0].SolventG, 30.741, 0.0005)
	rho, err := SucroseDensity(r[1].SucrosePct, 20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "by volume: 50 g in 100 mL", r[1].SucrosePct*rho, 50, 1e-9)
	near(t, "to 100 g of water", r[2].SucrosePct, 100.0/3, 1e-9)
	near(t, "weighed", r[3].SolventG, 25, 0)
	m.Strength.Unit = method.PctByMass
	if Readings(m) != nil || Readings(lookup(t, "noodle-water")) != nil {
		t.Error("a method that says what it means has readings")
	}
}

func TestPrepareUnits(t *testing.T) {
	m := lookup(t, "cake-sucrose50")
	for _, c := range []struct {
		unit  string
		value float64
		pct   float64
	}{{method.PctByMass, 50, 50}, {method.PctUnsaid, 50, 50}, {method.PctByVolume, 61.48, 50}, {method.GramPerL, 614.8, 50}} {
		m.Strength = method.Strength{Substance: method.Sucrose, Value: c.value, Unit: c.unit}
		s, err := Prepare(m)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.unit, s.SucrosePct, c.pct, 0.002) // 0.61483 g/mL of 50 % at 20 °C
	}
	m.Strength = method.Strength{}
	m.SolventStrength = "strong sucrose"
	var unknown *UnknownStrengthError
	if _, err := Prepare(m); !errors.As(err, &unknown) || unknown.Words != "strong sucrose" {
		t.Errorf("strength in words: %v", err)
	}
	m = lookup(t, "noodle-inhibited")
	m.Strength = method.Strength{Substance: "copper sulfate", Value: 5, Unit: method.MillimolPerL}
	if s, err := Prepare(m); err != nil || s.Known || s.SoluteGPerL != 0 {
		t.Errorf("an unknown molar mass: %+v %v", s, err)
	}
	m.Strength.Unit = method.GramPerL
	if s, err := Prepare(m); err != nil || !s.Known || s.SoluteGPerL != 5 {
		t.Errorf("g/L: %+v %v", s, err)
	}
}

// TestLateMoisture: 4.0 g dry were meant at 13.8 % moisture; the oven says later
// what the flour really had.
func TestLateMoisture(t *testing.T) {
	m := lookup(t, "noodle-water")
	f := weighIn(t, m, 13.8).Method
	for _, c := range []struct {
		moisture, solvent float64
		verdict           string
	}{
		{13.8, f.SolventG, Within}, {13.8, 0, Within}, {14.4, 0, Within}, {15.2, 0, Repeat}, {12.4, f.SolventG, Repeat}, {17, 0, Refused},
		{13.8, f.SolventG + 0.5, Repeat}, {13.8, f.SolventG + 3, Refused}, // the flour is right, the solvent is not
	} {
		w, err := Check(m, c.moisture, f.FlourG, c.solvent)
		if err != nil {
			t.Fatal(err)
		}
		if w.Verdict != c.verdict || (w.Fill == nil) != (c.solvent == 0) || (w.ShareOffPct == nil) != (c.solvent == 0) {
			t.Errorf("moisture %g, solvent %g: %+v, want %s", c.moisture, c.solvent, w, c.verdict)
		}
		near(t, "solids as weighed", w.SolidsG, f.FlourG*(100-c.moisture)/100, 1e-12)
	}
	m.ToleranceSolidsPct, m.RefuseSolidsPct = 5, 6
	if w, err := Check(m, 17, f.FlourG, 0); err != nil || w.Verdict != Within {
		t.Errorf("the method's own tolerance: %+v %v", w, err)
	}
}

func TestWithSolids(t *testing.T) {
	m, err := WithSolids(lookup(t, "cake-water"), 4)
	if err != nil || m.SolidsG != 4 || m.TotalFillG != 29 {
		t.Errorf("%+v %v", m, err)
	}
	near(t, "the same solvent", weighIn(t, m, 12).NominalG, 25, 1e-12)
	m, err = WithSolids(lookup(t, "cake-sucrose50"), 4)
	if err != nil || m.TotalFillG != 0 || math.Abs(m.QuotedFillG-31.6) > 1e-12 {
		t.Errorf("%+v %v", m, err)
	}
}

func TestHostileFigures(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	m := lookup(t, "noodle-water")
	calls := map[string]func(v float64) error{
		"moisture":         func(v float64) error { _, err := WeighIn(m, v); return err },
		"dry moisture":     func(v float64) error { _, err := WetMoisture(v); return err },
		"flour's solids":   func(v float64) error { _, err := FlourMass(v, 14, 12); return err },
		"flour's basis":    func(v float64) error { _, err := FlourMass(4, v, 12); return err },
		"flour's moisture": func(v float64) error { _, err := FlourMass(4, 14, v); return err },
		"solids":           func(v float64) error { _, err := WithSolids(m, v); return err },
		"flour as weighed": func(v float64) error { _, err := Check(m, 12, v, 0); return err },
		"solvent weighed":  func(v float64) error { _, err := Check(m, 12, 4.5, v); return err },
		"late moisture":    func(v float64) error { _, err := Check(m, v, 4.5, 0); return err },
		"sucrose":          func(v float64) error { _, err := SucroseDensity(v, 20); return err },
		"temperature":      func(v float64) error { _, err := SucroseDensity(50, v); return err },
		"water":            func(v float64) error { _, err := WaterDensity(v); return err },
		"sucrose in 100":   func(v float64) error { _, err := SucroseOfVolume(v, 20); return err },
		"altitude":         func(v float64) error { _, err := Pressure(v * 10); return err },
		"pressure":         func(v float64) error { _, err := WaterBoils(v); return err },
		"boiling sucrose":  func(v float64) error { _, err := BoilingPoint(v, 1013); return err },
		"boiling pressure": func(v float64) error { _, err := BoilingPoint(50, v); return err },
		"programme":        func(v float64) error { _, err := Boil(m.Programme, 0, v, 1); return err },
		"programme liquid": func(v float64) error { _, err := Boil(m.Programme, v, 1013, 1); return err },
	}
	for name, call := range calls {
		for _, v := range []float64{nan, inf, -inf, -100, 1e6} {
			var r *RangeError
			if err := call(v); !errors.As(err, &r) || r.What == "" || r.High <= r.Low {
				t.Errorf("%s %g: %v", name, v, err)
			}
		}
	}
	for _, moisture := range []float64{100, 138, 99.9, 60.1, -0.1} {
		if _, err := WeighIn(m, moisture); err == nil {
			t.Errorf("moisture %g is accepted", moisture)
		}
	}
	m.TotalFillG = 4.2 // less than the flour at 14 % moisture
	if _, err := WeighIn(m, 14); err == nil {
		t.Error("a fill without room for solvent is accepted")
	}
	if _, ok := SucroseOfDensity(nan, 20); ok {
		t.Error("a density that is not a number has a concentration")
	}
	if _, ok := SucroseOfDensity(1.1, nan); ok {
		t.Error("a temperature that is not a number gives a concentration")
	}
}

// TestMassBalance: whatever flour and method, total = flour + solvent = dry
// solids + water + sucrose; the flour holds the method's solids; the total fill
// does not depend on moisture by one convention, nor the solvent by the other.
func TestMassBalance(t *testing.T) {
	methods := method.Builtin()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom(methods).Draw(t, "method")
		m.SolidsBasis = rapid.SampledFrom([]string{"dry", "14 %", "12 %", "as is"}).Draw(t, "basis")
		moisture := rapid.Float64Range(0, 25).Draw(t, "moisture")
		m, err := WithSolids(m, rapid.Float64Range(0.5, 8).Draw(t, "solids"))
		if err != nil {
			t.Fatal(err)
		}
		f := weighIn(t, m, moisture)
		s, err := Prepare(m)
		if err != nil {
			t.Fatal(err)
		}
		solids := m.SolidsG * (100 - m.BasisMoisture(moisture)) / 100
		near(t, "flour's solids", f.Flour.DryG, solids, 1e-9)
		for _, fill := range []Fill{f.Method, f.Other} {
			near(t, "flour and solvent", fill.FlourG+fill.SolventG, fill.TotalG, 1e-9)
			near(t, "solids, water and sucrose", solids+fill.WaterG+fill.SolventG*s.SucrosePct/100, fill.TotalG, 1e-9)
			near(t, "share of solids", fill.SolidsPct*fill.TotalG/100, solids, 1e-9)
			near(t, "solids to water", fill.SolidsPerWater*fill.WaterG, solids, 1e-9)
			near(t, "volume and mass", fill.SolventML*s.DensityGPerML, fill.SolventG, 1e-9)
		}
		byTotal, bySolvent := f.Method, f.Other
		if f.Method.Convention == method.KeepsSolvent {
			byTotal, bySolvent = bySolvent, byTotal
		}
		dry := weighIn(t, m, 0)
		near(t, "constant solvent", bySolvent.SolventG, dry.NominalG, 1e-9)
		near(t, "constant total fill", byTotal.TotalG, m.SolidsG+f.NominalG, 1e-9) // here every stated fill agrees
		// Counting the flour's own water as solvent is the constant total fill.
		ownWater := f.Flour.AsIsG - solids
		basisWater := m.SolidsG - solids
		near(t, "own water counted", byTotal.SolventG, f.NominalG+basisWater-ownWater, 1e-9)
	})
}

// TestCheckOfWhatWasMeant: what WeighIn says, Check finds in order.
func TestCheckOfWhatWasMeant(t *testing.T) {
	methods := method.Builtin()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom(methods).Draw(t, "method")
		moisture := rapid.Float64Range(0, 25).Draw(t, "moisture")
		f := weighIn(t, m, moisture).Method
		w, err := Check(m, moisture, f.FlourG, f.SolventG)
		if err != nil || w.Verdict != Within || math.Abs(w.SolidsOffPct) > 1e-9 || math.Abs(*w.ShareOffPct) > 1e-9 {
			t.Fatalf("%+v %v", w, err)
		}
		factor := rapid.Float64Range(0.5, 1.5).Draw(t, "factor")
		w, err = Check(m, moisture, factor*f.FlourG, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "off", w.SolidsOffPct, 100*(factor-1), 1e-9)
		off := math.Abs(factor - 1)
		if (off < 0.0099 && w.Verdict != Within) || (off > 0.0101 && off < 0.0299 && w.Verdict != Repeat) || (off > 0.0301 && w.Verdict != Refused) {
			t.Fatalf("off by %g: %s", off, w.Verdict)
		}
	})
}

// TestDensityRoundTrips: density rises with sucrose and falls with temperature,
// and comes back to its concentration, by mass and by volume.
func TestDensityRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		celsius := rapid.Float64Range(5, 95).Draw(t, "celsius")
		pct := rapid.Float64Range(0, MostSucrosePct-0.02).Draw(t, "pct")
		rho := sucroseDensity(pct, celsius)
		if more := sucroseDensity(pct+0.01, celsius); more <= rho {
			t.Fatalf("%g %% is no denser than %g %% at %g °C", pct+0.01, pct, celsius)
		}
		if warmer := sucroseDensity(pct, celsius+1); warmer >= rho {
			t.Fatalf("%g %% is no lighter at %g °C than at %g °C", pct, celsius+1, celsius)
		}
		back, ok := SucroseOfDensity(rho, celsius)
		if !ok {
			t.Fatal("the density has no concentration")
		}
		near(t, "by density", back, pct, 1e-9)
		back, err := SucroseOfVolume(pct*rho, celsius)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "by volume", back, pct, 1e-9)
	})
}

// TestMoistureRoundTrips: 13.8 % of the flour is 16.01 % of the dry matter.
func TestMoistureRoundTrips(t *testing.T) {
	got, err := WetMoisture(16.009280742459396)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "13.8 % as it is", got, 13.8, 1e-9)
	rapid.Check(t, func(t *rapid.T) {
		wet := rapid.Float64Range(0, MostMoisture-1e-6).Draw(t, "wet")
		back, err := WetMoisture(100 * wet / (100 - wet))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "back", back, wet, 1e-9)
	})
}

func TestInhibitorOfOwnMethod(t *testing.T) {
	m := lookup(t, "noodle-inhibited")
	if m.Solvent != trait.Inhibitor {
		t.Fatal(m.Solvent)
	}
	m.SolventML, m.SolventG, m.TotalFillG = 0, 25, 0
	f := weighIn(t, m, 12)
	near(t, "weighed solvent", f.NominalG, 25, 0)
	near(t, "total fill", f.Method.TotalG, 29, 1e-12) // the method still keeps its total fill
}
