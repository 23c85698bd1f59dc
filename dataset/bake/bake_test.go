package bake

import (
	"math"
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
	r, fl = Read(map[string]float64{HeightB: 38, HeightC: 45, Volume: 1100}, at)
	if len(fl) > 0 || len(r.Values()) != 3 {
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
		"uniformity turned": {cake(map[string]float64{UniformityIndex: -1}), "", "", "", ""}, // within the rounding of whole millimetres
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

// TestIDsAreInGlossary: every rule is for a numeric bake trait.
func TestIDsAreInGlossary(t *testing.T) {
	for id := range bounds {
		if tr, ok := trait.Lookup(id); !ok || tr.Family != "bake" || !tr.Numeric() {
			t.Errorf("%s: %+v", id, tr)
		}
	}
}
