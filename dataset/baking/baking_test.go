package baking

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/bake"
	"flourcast/finding"
)

// TestBuiltin: figures from memory of AACC 10-90 and Nagao et al. 1976, and those
// of A-A-20126F (sugar 43.4 on 41.4 of flour is 104.83 %).
func TestBuiltin(t *testing.T) {
	for _, w := range []struct {
		id, product, class            string
		sugar, batter, pan, oven, min float64
		optimised, example            bool
	}{
		{"layer-203", "layer-cake", HighRatioLayer, 140, 425, 203, 190, 25, true, false},
		{"layer-federal", "layer-cake", HighRatioLayer, 100 * 43.4 / 41.4, 450, 203, 176.67, 30, true, false},
		{"sponge", "sponge-cake", Sponge, 100, 240, 152, 180, 30, false, true},
	} {
		m, ok := Lookup(w.id)
		if !ok {
			t.Fatalf("%s is not there", w.id)
		}
		i := slices.IndexFunc(m.Ingredients, func(g Ingredient) bool { return g.Name == "sugar" })
		if m.Product != w.product || m.Class != w.class || i < 0 || math.Abs(m.Ingredients[i].FlourPct-w.sugar) > 0.005 || m.BatterG != w.batter || m.Pan.DiameterMM != w.pan ||
			m.Oven.TemperatureC != w.oven || m.Oven.TimeMin != w.min || m.WaterOptimised != w.optimised || m.Example != w.example {
			t.Errorf("%+v", m)
		}
		if m.Source == "" || !strings.Contains(m.Caution, "allergen") || !strings.HasPrefix(m.String(), w.id+": "+w.class) {
			t.Errorf("%s: %q", w.id, m.Caution)
		}
	}
	Builtin()[0].Ingredients[0].FlourPct = -1
	if Builtin()[0].Ingredients[0].FlourPct < 0 || len(Builtin()) != 3 {
		t.Error("a caller changed a built-in method")
	}
	if _, ok := Lookup("bread"); ok {
		t.Error("bread is built in")
	}
}

const own = `id = "ours"
family = "bake"
product = "layer-cake"
class = "high-ratio layer"
ingredients = [ { name = "sugar", flour_pct = 120 }, { name = "egg", flour_pct = 40 } ]
water_pct = 90
batter_g = 400
pan = { diameter_mm = 203, depth_mm = 38 }
oven = { temperature_C = 190, time_min = 25, position = "middle" }
batter_gravity_low = 0.75
batter_gravity_high = 0.85
`

func TestParseAndDiffers(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ours.toml")
	if err := os.WriteFile(file, []byte(own), 0o600); err != nil {
		t.Fatal(err)
	}
	m, err := Open(file)
	if err != nil || m.Label != "ours" || m.WaterPct != 90 || *m.Target.GravityHigh != 0.85 || m.Oven.Position != "middle" {
		t.Fatalf("%+v %v", m, err)
	}
	if _, err := Open(file + ".gone"); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
	for change, want := range map[string][]string{
		"":                               nil,
		`"ours"=>"theirs"`:               nil,
		"0.75=>0.70":                     nil, // a target
		"= 120=>= 121":                   {"formula"},
		"water_pct = 90=>water_pct = 95": {"water"},
		"batter_g = 400=>batter_g = 425": {"batter_g"},
		"= 38=>= 50":                     {"pan"},
		"middle=>top":                    {"oven"},
		"high-ratio layer=>other":        {"class"},
	} {
		old, new, _ := strings.Cut(change, "=>")
		o, err := Parse("o.toml", []byte(strings.Replace(own, old, new, 1)))
		if err != nil || !slices.Equal(m.Differs(o), want) || !slices.Equal(o.Differs(m), want) {
			t.Errorf("%s: %v, %v", change, m.Differs(o), err)
		}
	}
}

func TestParseErrors(t *testing.T) {
	for change, want := range map[string]struct {
		line int
		key  string
	}{
		`id = "ours"=>id = "Our Cake"`:                 {1, "id"},
		`"bake"=>"pasting"`:                            {2, "family"},
		`"layer-cake"=>"pancake"`:                      {3, "product"},
		`"high-ratio layer"=>"muffin"`:                 {4, "class"},
		`"egg"=>"Sugar"`:                               {5, "ingredients"},
		`"egg"=>"flour"`:                               {5, "ingredients"},
		`flour_pct = 40=>flour_pct = nan`:              {5, "ingredients"},
		`flour_pct = 40=>flour_pct = -1`:               {5, "ingredients"},
		`water_pct = 90=>`:                             {0, "water_pct"},
		`water_pct = 90=>water_pct = inf`:              {6, "water_pct"},
		`batter_g = 400=>batter_g = 0`:                 {7, "batter_g"},
		`diameter_mm = 203=>diameter_mm = 8`:           {8, "diameter_mm"},
		`temperature_C = 190=>temperature_C = 375`:     {9, "temperature_C"},
		`0.75=>0.95`:                                   {10, "batter_gravity_low"},
		`oven = {=>hob = {`:                            {9, "hob"},
		`id = "ours"=>id = `:                           {1, "id"},
		`pan = { diameter_mm = 203, depth_mm = 38 }=>`: {0, "pan"},
	} {
		old, new, _ := strings.Cut(change, "=>")
		text := strings.Replace(own, old, new, 1)
		if text == own {
			t.Fatalf("%s changes nothing", change)
		}
		_, err := Parse("ours.toml", []byte(text))
		var p *ParseError
		if !errors.As(err, &p) || p.Line != want.line || want.key != "id" && p.Key != want.key || p.Want == "" || p.Found == "" {
			t.Errorf("%s: %v", change, err)
		}
	}
}

func TestCompleteAndCheck(t *testing.T) {
	m, err := Parse("ours.toml", []byte(own))
	if err != nil {
		t.Fatal(err)
	}
	at := finding.Place{File: "cakes.csv", Row: 2}
	given := map[string]float64{bake.HeightA: 22, bake.HeightE: 24, bake.Mass: 360, bake.CakeDiameter: 199}
	r, fl := bake.Read(m.Complete(given), at)
	if len(fl) > 0 || len(m.Check(r, at)) > 0 || len(given) != 4 {
		t.Fatal(fl, m.Check(r, at))
	}
	for id, want := range map[string]float64{bake.EdgeShrinkage: 15, bake.Shrinkage: 4, bake.BakeLoss: 10} {
		if v, ok := r.Get(id); !ok || math.Abs(v-want) > 1e-9 {
			t.Errorf("%s = %g", id, v)
		}
	}
	if len(m.Complete(nil)) != 0 {
		t.Error("an empty row was filled")
	}
	for id, v := range map[string]float64{bake.PanDiameter: 229, bake.PanDepth: 50, bake.BatterMass: 450, bake.BatterGravity: 0.9} {
		r, _ := bake.Read(m.Complete(map[string]float64{id: v}), at)
		if fl := m.Check(r, at); len(fl) != 1 || fl[0].Code != "method-not-kept" || fl[0].At.Column != id {
			t.Errorf("%s = %g: %v", id, v, fl)
		}
	}
}

// FuzzParse: whatever stands in a file, it is read whole or refused by name.
func FuzzParse(f *testing.F) {
	f.Add([]byte(own))
	f.Add([]byte("pan = 3"))
	f.Add([]byte("ingredients = [{}]\nfamily = \"bake\""))
	f.Add([]byte{0xff, 0xfe, 'i', 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse("f.toml", data)
		if err != nil {
			var p *ParseError
			if !errors.As(err, &p) || p.Found == "" {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		if m.ID == "" || len(m.Ingredients) == 0 || !(m.Pan.DiameterMM > 0) || !(m.Oven.TimeMin > 0) || m.Differs(m) != nil {
			t.Fatalf("accepted %+v", m)
		}
	})
}
