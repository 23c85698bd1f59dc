package texture

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

var at = finding.Place{File: "june.csv", Row: 14}

// A typical Chinese raw noodle, cooked, in a handbook on wheat and flour testing
// of 2004: hardness 1200 gf, cohesiveness 0.66, springiness 0.96, chewiness 750
// gf; the product of the three is 760.3 gf, so the source rounded.
var noodle = map[string]float64{Hardness: 1200 * 9.80665e-3, Cohesiveness: 0.66, Springiness: 0.96, Chewiness: 750 * 9.80665e-3}

// TestProducts: triangles of a two-bite curve worked out by hand: 10 N, area ratio
// 11.7/15, springiness 0.9, so gumminess 7.8 N and chewiness 7.02 N. One that is a
// fifth off is doubted.
func TestProducts(t *testing.T) {
	for _, c := range []struct {
		gumminess, chewiness float64
		doubts               int
	}{{7.8, 7.02, 0}, {9.4, 7.02, 1}, {7.8, 8.6, 1}} {
		_, fl := Read(map[string]float64{Hardness: 10, Cohesiveness: 0.78, Springiness: 0.9, Gumminess: c.gumminess, Chewiness: c.chewiness}, at)
		if len(fl) != c.doubts {
			t.Errorf("gumminess %g, chewiness %g: %v", c.gumminess, c.chewiness, fl)
		}
	}
}

func TestReadHandbookRow(t *testing.T) {
	r, fl := Read(noodle, at)
	if !r.OK() || len(fl) > 0 {
		t.Fatal(fl)
	}
	if v, _ := r.Get(Hardness); math.Abs(v-11.768) > 5e-4 {
		t.Errorf("hardness %g N", v)
	}
	if _, ok := r.Get(Gumminess); ok {
		t.Error("gumminess was made up")
	}
	full := WithProducts(r)
	if v, ok := full.Get(Gumminess); !ok || math.Abs(v-11.76798*0.66) > 1e-9 {
		t.Errorf("gumminess %g, %v", v, ok)
	}
	if v, _ := full.Get(Chewiness); v != noodle[Chewiness] {
		t.Errorf("a given chewiness became %g", v)
	}
	if _, ok := r.Get(Gumminess); ok {
		t.Error("WithProducts changed its argument")
	}
	lacking, _ := Read(map[string]float64{Hardness: 4, Cohesiveness: 0.6}, at)
	if _, ok := WithProducts(lacking).Get(Chewiness); ok {
		t.Error("chewiness without springiness")
	}
}

func TestFindings(t *testing.T) {
	change := func(id string, v float64) map[string]float64 {
		out := map[string]float64{}
		for k, x := range noodle {
			out[k] = x
		}
		out[id] = v
		return out
	}
	for name, c := range map[string]struct {
		values   map[string]float64
		code     string
		severity finding.Severity
		column   string
		do       string
	}{
		"no force":              {change(Hardness, 0), "value-range", finding.Refused, Hardness, "gram-force"},
		"gf taken as N":         {map[string]float64{Hardness: 1200}, "value-unusual", finding.Doubt, Hardness, "gram-force"},
		"springiness in %":      {change(Springiness, 96), "value-range", finding.Refused, Springiness, "per cent"},
		"springiness above 1":   {map[string]float64{Springiness: 1.04}, "value-unusual", finding.Doubt, Springiness, "ratio"},
		"negative cohesiveness": {change(Cohesiveness, -0.1), "value-range", finding.Refused, Cohesiveness, "ratio"},
		"resilience":            {change(Resilience, 3), "value-range", finding.Refused, Resilience, "ratio"},
		"fracture of 0":         {change(Fracturability, 0), "value-range", finding.Refused, Fracturability, "empty"},
		"fracture too strong":   {change(Fracturability, 14), "break-above-hardness", finding.Doubt, Fracturability, "exchanged"},
		"cooking loss":          {change(CookingLoss, 105), "value-range", finding.Refused, CookingLoss, "share"},
		"thickness in cm":       {change(Thickness, 0.22), "value-unusual", finding.Doubt, Thickness, "unit"},
		"wrong gumminess":       {change(Gumminess, 6.5), "product-differs", finding.Doubt, Gumminess, "units"},
		"chewiness in gf":       {change(Chewiness, 75), "product-differs", finding.Doubt, Chewiness, "units"},
		"adhesiveness":          {change(Adhesiveness, -2000), "value-unusual", finding.Doubt, Adhesiveness, "unit"},
		"NaN":                   {change(Hardness, math.NaN()), "not-finite", finding.Refused, Hardness, "mend"},
		"nothing":               {nil, "no-readings", finding.Refused, "", "fill"},
	} {
		t.Run(name, func(t *testing.T) {
			r, fl := Read(c.values, at)
			if len(fl) != 1 || fl[0].Code != c.code || fl[0].Severity != c.severity || !strings.Contains(fl[0].Do, c.do) ||
				fl[0].At != (finding.Place{File: at.File, Row: at.Row, Column: c.column}) {
				t.Fatalf("got %v", fl)
			}
			if r.OK() != (c.severity != finding.Refused) {
				t.Errorf("OK is %v", r.OK())
			}
		})
	}
	if _, fl := Read(map[string]float64{Adhesiveness: -0.09, "texture_score": 74, Fracturability: 3}, at); len(fl) > 0 {
		t.Errorf("a negative area, a score, a break without hardness: %v", fl)
	}
}

// TestRoundedProducts: gumminess and chewiness worked out from full figures, all
// then rounded as a laboratory prints them, are never doubted.
func TestRoundedProducts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		round := func(v float64, decimals int) float64 {
			return math.Round(v*math.Pow10(decimals)) / math.Pow10(decimals)
		}
		h := rapid.Float64Range(5, 40).Draw(t, "hardness")
		c := rapid.Float64Range(0.2, 0.95).Draw(t, "cohesiveness")
		s := rapid.Float64Range(0.2, 0.99).Draw(t, "springiness")
		d := rapid.IntRange(1, 3).Draw(t, "decimals")
		_, fl := Read(map[string]float64{Hardness: round(h, d), Cohesiveness: round(c, d+1), Springiness: round(s, d+1), Gumminess: round(h*c, d), Chewiness: round(h*c*s, d)}, at)
		if len(fl) > 0 {
			t.Fatal(fl)
		}
	})
}

// TestIDsAreInGlossary: every rule is for a numeric texture trait.
func TestIDsAreInGlossary(t *testing.T) {
	for id := range bounds {
		if tr, ok := trait.Lookup(id); !ok || tr.Family != "texture" || !tr.Numeric() {
			t.Errorf("%s: %+v", id, tr)
		}
	}
}
