package bake

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

var at = finding.Place{File: "cakes.csv", Row: 3}

// TestIndices: a domed and a dipped cake, worked out by hand.
func TestIndices(t *testing.T) {
	for _, c := range [][6]float64{{38, 45, 37, 120, 15, 1}, {40, 36, 41, 117, -9, -1}} {
		if v, s, u := Indices(c[0], c[1], c[2]); v != c[3] || s != c[4] || u != c[5] {
			t.Errorf("B %g, C %g, D %g: %g, %g, %g", c[0], c[1], c[2], v, s, u)
		}
	}
	// Seed displacement by hand: 1750 − 650 = 1100 mL, 400 g.
	if v := SpecificVolumeOf(1750-650, 400); v != 2.75 {
		t.Errorf("specific volume %g", v)
	}
}

func TestReadFillsIn(t *testing.T) {
	r, fl := Read(map[string]float64{HeightA: 22, HeightB: 38, HeightC: 45, HeightD: 37, HeightE: 21, Volume: 1100, Mass: 400}, at)
	if !r.OK() || len(fl) > 0 {
		t.Fatal(fl)
	}
	for id, want := range map[string]float64{VolumeIndex: 120, SymmetryIndex: 15, UniformityIndex: 1, SpecificVolume: 2.75, Volume: 1100} {
		if got, ok := r.Get(id); !ok || got != want {
			t.Errorf("%s = %g, %v; want %g", id, got, ok, want)
		}
	}
	r, fl = Read(map[string]float64{HeightB: 38, HeightC: 45, Volume: 1100, PanDepth: 32, HeightA: 22, SeedBeside: 650, CupEmpty: 90}, at)
	if len(fl) > 0 || len(r.Values()) != 7 {
		t.Errorf("something was made up: %v %v", r.Values(), fl)
	}
	given := map[string]float64{Volume: 1100, Mass: 400, SpecificVolume: 2.74, UniformityIndex: 1, HeightB: 38.2, HeightC: 45.1, HeightD: 37}
	if r, fl = Read(given, at); len(fl) > 0 {
		t.Errorf("rounded figures: %v", fl)
	}
	if v, _ := r.Get(SpecificVolume); v != 2.74 {
		t.Errorf("a given specific volume became %g", v)
	}
}

func TestFindings(t *testing.T) {
	cake := func(more map[string]float64) map[string]float64 {
		out := map[string]float64{HeightB: 38, HeightC: 45, HeightD: 37, Volume: 1100, Mass: 400}
		for id, v := range more {
			out[id] = v
		}
		return out
	}
	for name, c := range map[string]struct {
		values   map[string]float64
		code     string
		severity finding.Severity
		column   string
		do       string
	}{
		"no volume":         {cake(map[string]float64{Volume: 0}), "value-range", finding.Refused, Volume, "1000 mL"},
		"volume in L":       {map[string]float64{Volume: 1.1}, "value-unusual", finding.Doubt, Volume, "1000 mL"},
		"heights in cm":     {map[string]float64{HeightB: 3.8}, "value-unusual", finding.Doubt, HeightB, "cm"},
		"no mass":           {cake(map[string]float64{Mass: -1}), "value-range", finding.Refused, Mass, "unit"},
		"loss above 100 %":  {cake(map[string]float64{BakeLoss: 120}), "value-range", finding.Refused, BakeLoss, "per cent"},
		"dense batter":      {cake(map[string]float64{BatterDensity: 8.5}), "value-unusual", finding.Doubt, BatterDensity, "g/mL"},
		"wrong index":       {cake(map[string]float64{VolumeIndex: 112}), "index-differs", finding.Doubt, VolumeIndex, "original"},
		"wrong symmetry":    {cake(map[string]float64{SymmetryIndex: -15}), "index-differs", finding.Doubt, SymmetryIndex, "original"},
		"uniformity turned": {cake(map[string]float64{UniformityIndex: -1}), "index-differs", finding.Doubt, UniformityIndex, "sign"}, // 2 apart; rounding of three figures moves it by 1.5
		"heights all in cm": {map[string]float64{HeightB: 3.8, HeightC: 4.5, HeightD: 3.7}, "height-unit", finding.Refused, HeightB, "A_cm"},
		"heights all in mm": {map[string]float64{HeightB: 380, HeightC: 450, HeightD: 370}, "height-unit", finding.Refused, HeightB, "A_mm"},
		"no room for seed":  {map[string]float64{ContainerVolume: 650, SeedBeside: 1750}, "measures-contradict", finding.Refused, SeedBeside, "less seed"},
		"no batter in cup":  {map[string]float64{CupEmpty: 90, CupBatter: 90, CupWater: 190}, "measures-contradict", finding.Refused, CupEmpty, "together"},
		"no water in cup":   {map[string]float64{CupEmpty: 90, CupBatter: 170, CupWater: 80}, "measures-contradict", finding.Refused, CupEmpty, "together"},
		"cake above batter": {map[string]float64{Mass: 500, BatterMass: 425}, "measures-contradict", finding.Refused, Mass, "water"},
		"seed unclear":      {map[string]float64{ContainerVolume: 1750, SeedVolume: 1100}, "seed-volume-unclear", finding.Doubt, SeedVolume, "header"},
		"seed against box":  {map[string]float64{ContainerVolume: 1750, SeedBeside: 650, SeedVolume: 900}, "index-differs", finding.Doubt, Volume, "original"},
		"volume given too":  {map[string]float64{Volume: 1000, SeedVolume: 1100}, "index-differs", finding.Doubt, Volume, "original"},
		"gravity":           {map[string]float64{BatterGravity: 0.95, CupEmpty: 90, CupBatter: 170, CupWater: 190}, "index-differs", finding.Doubt, BatterGravity, "original"},
		"uniformity lost":   {cake(map[string]float64{HeightB: 34, UniformityIndex: 3}), "index-differs", finding.Doubt, UniformityIndex, "sign"},
		"specific volume":   {cake(map[string]float64{SpecificVolume: 3.1}), "index-differs", finding.Doubt, SpecificVolume, "original"},
		"infinite":          {cake(map[string]float64{CrumbFirmness: math.Inf(1)}), "not-finite", finding.Refused, CrumbFirmness, "mend"},
		"nothing":           {map[string]float64{}, "no-readings", finding.Refused, "", "fill"},
	} {
		t.Run(name, func(t *testing.T) {
			r, fl := Read(c.values, at)
			if c.code == "" {
				if len(fl) > 0 {
					t.Fatal(fl)
				}
				return
			}
			if len(fl) != 1 || fl[0].Code != c.code || fl[0].Severity != c.severity || !strings.Contains(fl[0].Do, c.do) ||
				fl[0].At != (finding.Place{File: at.File, Row: at.Row, Column: c.column}) {
				t.Fatalf("got %v", fl)
			}
			if r.OK() != (c.severity != finding.Refused) {
				t.Errorf("OK is %v", r.OK())
			}
		})
	}
}

// TestRoundedIndices: indices from full heights, all rounded as a laboratory
// prints them, are never doubted; a mirrored cake turns uniformity only.
func TestRoundedIndices(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.IntRange(0, 2).Draw(t, "decimals")
		round := func(v float64) float64 { return math.Round(v*math.Pow10(d)) / math.Pow10(d) }
		high := func(name string) float64 { return rapid.Float64Range(20, 60).Draw(t, name) }
		b, c, e := high("B"), high("C"), high("D")
		v, s, u := Indices(b, c, e)
		_, fl := Read(map[string]float64{HeightB: round(b), HeightC: round(c), HeightD: round(e), VolumeIndex: round(v), SymmetryIndex: round(s), UniformityIndex: round(u)}, at)
		if len(fl) > 0 {
			t.Fatal(fl)
		}
		if v2, s2, u2 := Indices(e, c, b); math.Abs(v2-v) > 1e-9 || math.Abs(s2-s) > 1e-9 || u2 != -u {
			t.Fatalf("mirrored: %g %g %g", v2, s2, u2)
		}
	})
}

// TestEveryMeasure: one cake with all of its measures, by hand: seed 1750 − 650 =
// 1100 mL; 1100/400 = 2.75 mL/g (worked example of AACC 10-05 and 10-91 figures,
// computed by us); pan 203.2 − 199 = 4.2 mm; depth 32 − (22 + 21)/2 = 10.5 mm;
// cup (170 − 90)/(190 − 90) = 0.8; loss 100·(425 − 400)/425 = 5.882 %.
func TestEveryMeasure(t *testing.T) {
	r, fl := Read(map[string]float64{HeightA: 22, HeightB: 37, HeightC: 45, HeightD: 38, HeightE: 21, ContainerVolume: 1750, SeedBeside: 650, Mass: 400, BatterMass: 425,
		PanDiameter: 203.2, CakeDiameter: 199, PanDepth: 32, CupEmpty: 90, CupBatter: 170, CupWater: 190}, at)
	if len(fl) > 0 {
		t.Fatal(fl)
	}
	for id, want := range map[string]float64{Volume: 1100, SpecificVolume: 2.75, VolumeIndex: 120, SymmetryIndex: 15, UniformityIndex: -1, Unevenness: 1,
		Shrinkage: 4.2, EdgeShrinkage: 10.5, BatterGravity: 0.8, BakeLoss: 100 * 25.0 / 425} {
		if got, ok := r.Get(id); !ok || math.Abs(got-want) > 1e-9 {
			t.Errorf("%s = %g, %v; want %g", id, got, ok, want)
		}
	}
	r, fl = Read(map[string]float64{SeedVolume: 1100, Mass: 400}, at)
	if v, ok := r.Get(SpecificVolume); len(fl) > 0 || !ok || v != 2.75 {
		t.Errorf("seed displaced: %g, %v", v, fl)
	}
}

// TestStations: in an 8 in pan B and D stand 61 mm (2.4 in) from the centre.
func TestStations(t *testing.T) {
	s := Stations(203.2)
	for i, want := range []float64{-101.6, -60.96, 0, 60.96, 101.6} {
		if math.Abs(s[i]-want) > 1e-9 {
			t.Errorf("station %d: %g, want %g", i, s[i], want)
		}
	}
}

// TestAnyMeasures: whatever the measures, what follows from them is finite, the
// reading keeps every figure as given, and a refused row says why.
func TestAnyMeasures(t *testing.T) {
	var ids []string
	for id := range bounds {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	rapid.Check(t, func(t *rapid.T) {
		values := map[string]float64{}
		for _, id := range rapid.SliceOfNDistinct(rapid.SampledFrom(ids), 0, len(ids), rapid.ID[string]).Draw(t, "ids") {
			values[id] = rapid.OneOf(rapid.Float64(), rapid.Float64Range(1, 500), rapid.SampledFrom([]float64{0, -1, math.Inf(1), math.NaN(), 1e308, 5e-324})).Draw(t, id)
		}
		r, fl := Read(values, at)
		if !r.OK() {
			if fl.Count(finding.Refused) == 0 {
				t.Fatalf("%v refused without a word", values)
			}
			return
		}
		for id, v := range values {
			if got, ok := r.Get(id); !ok || got != v {
				t.Fatalf("%s: %g became %g", id, v, got)
			}
		}
		for _, v := range r.Values() {
			if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				t.Fatalf("%+v", v)
			}
		}
	})
}

// TestIDsAreInGlossary: every rule is for a numeric bake trait.
func TestIDsAreInGlossary(t *testing.T) {
	for id := range bounds {
		if tr, ok := trait.Lookup(id); !ok || tr.Family != "bake" || !tr.Numeric() {
			t.Errorf("%s: %+v", id, tr)
		}
	}
}
