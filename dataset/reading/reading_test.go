package reading

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
)

var at = finding.Place{File: "june.csv", Row: 14}

func TestCheck(t *testing.T) {
	bounds := map[string]Bound{
		"hardness_N":    {Can: Positive, Usual: [2]float64{0.01, 500}, Do: "check the unit"},
		"springiness":   {Can: [2]float64{0, 1.5}, Usual: [2]float64{0, 1}, Do: "a ratio"},
		"volume_mL":     {Can: AnyNumber, Usual: AnyNumber},
		"bake_loss_pct": {Can: [2]float64{-math.MaxFloat64, 100}, Usual: [2]float64{0, math.Inf(1)}},
	}
	for name, c := range map[string]struct {
		id       string
		value    float64
		code     string
		severity finding.Severity
		want     string
	}{
		"usual":         {"hardness_N", 4.12, "", "", ""},
		"zero force":    {"hardness_N", 0, "value-range", finding.Refused, "more than 0"},
		"negative":      {"hardness_N", -1, "value-range", finding.Refused, "more than 0"},
		"large":         {"hardness_N", 1200, "value-unusual", finding.Doubt, "between 0.01 and 500"},
		"end":           {"springiness", 1.5, "value-unusual", finding.Doubt, "between 0 and 1"},
		"beyond":        {"springiness", 1.51, "value-range", finding.Refused, "between 0 and 1.5"},
		"at 1":          {"springiness", 1, "", "", ""},
		"open":          {"volume_mL", -1e300, "", "", ""},
		"open above":    {"bake_loss_pct", -3, "value-unusual", finding.Doubt, "at least 0"},
		"NaN":           {"hardness_N", math.NaN(), "not-finite", finding.Refused, "a finite number"},
		"infinite":      {"volume_mL", math.Inf(1), "not-finite", finding.Refused, "a finite number"},
		"no bound":      {"texture_score", -7, "", "", ""},
		"no bound, NaN": {"anything", math.NaN(), "not-finite", finding.Refused, "a finite number"},
	} {
		kept, fl := Check(map[string]float64{c.id: c.value}, bounds, at)
		if c.code == "" {
			if len(fl) > 0 || kept[c.id] != c.value {
				t.Errorf("%s: %v %v", name, kept, fl)
			}
			continue
		}
		place := at
		place.Column = c.id
		if len(fl) != 1 || fl[0].Code != c.code || fl[0].Severity != c.severity || fl[0].Want != c.want || fl[0].At != place {
			t.Errorf("%s: %v", name, fl)
		}
		if (kept == nil) != (c.severity == finding.Refused) {
			t.Errorf("%s: kept %v", name, kept)
		}
	}
	if kept, fl := Check(nil, bounds, at); kept == nil || len(kept)+len(fl) > 0 {
		t.Errorf("nothing: %v %v", kept, fl)
	}
}

// TestOrder: findings and values come in the glossary's order, whatever the map's.
func TestOrder(t *testing.T) {
	values := map[string]float64{"volume_mL": 1, "hardness_N": 2, "own_b": 3, "peak_mPas": 4, "own_a": 5}
	for range 20 {
		got := fmt.Sprint(New(values).Values())
		if want := "[{peak_mPas 4} {hardness_N 2} {volume_mL 1} {own_a 5} {own_b 3}]"; got != want {
			t.Fatalf("%s, want %s", got, want)
		}
	}
}

// TestReadingIsImmutable: With gives a new Reading and never overwrites; the
// caller's map stays its own.
func TestReadingIsImmutable(t *testing.T) {
	values := map[string]float64{"hardness_N": 2, "springiness": math.NaN()}
	r := New(values)
	values["hardness_N"] = 9
	s := r.With(Value{"hardness_N", 7}, Value{"chewiness_N", 1}, Value{"gumminess_N", math.Inf(1)})
	if v, ok := r.Get("hardness_N"); !ok || v != 2 {
		t.Errorf("hardness %g, %v", v, ok)
	}
	if got := fmt.Sprint(r.Values(), s.Values()); got != "[{hardness_N 2}] [{hardness_N 2} {chewiness_N 1}]" {
		t.Error(got)
	}
	if (Reading{}).OK() || !r.OK() {
		t.Error("OK is wrong")
	}
}

// TestRounding: rounding a number to d decimals moves it by no more than its
// Rounding says.
func TestRounding(t *testing.T) {
	for v, want := range map[float64]float64{0.66: 0.005 / 0.66, 750: 0.5 / 750., -0.5: 0.05 / 0.5, 0: 0, 1e-3: 0.5} {
		if got := Rounding(v); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g: %g, want %g", v, got, want)
		}
	}
	if got := Rounding(1200 * 9.80665e-3); got > 1e-4 {
		t.Errorf("a converted figure: %g", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0.01, 5000).Draw(t, "v")
		scale := math.Pow10(rapid.IntRange(0, 6).Draw(t, "decimals"))
		written := math.Round(v*scale) / scale
		// A last decimal that happens to be 0 is not seen, so the figure counts as coarser, never as finer.
		if written != 0 && math.Abs(v-written) > Rounding(written)*written*(1+1e-6)+1e-9 {
			t.Fatalf("%g written as %g: %g", v, written, Rounding(written))
		}
	})
}
