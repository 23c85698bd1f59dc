package protocol

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/trait"
)

const full = `id = "ours"
product = "alkaline-noodle"
test = "two-bite"
probe = "cylinder 20 mm"
strands = 3
contact_area_mm2 = 120
strain_pct = 75
speed_mm_per_s = 2
return_speed_mm_per_s = 5
pause_s = 1
trigger_N = 0.05
cohesiveness = "down-stroke"
springiness = "distance"
adhesiveness_sign = "negative"
source = "ours"

[recipe]
water_pct = 34
salt_pct = 0
alkali = "sodium and potassium carbonate 9:1"
alkali_pct = 1
sheeting = "five passes to 1.5 mm"
form = "fresh"

[cook]
rule = "fixed time"
time_s = 240

[rest]
time_s = 300
temperature_C = 0

[target]
thickness_mm = 2.2
thickness_tolerance_mm = 0.2
yield_pct = 190
`

func TestParse(t *testing.T) {
	p, err := Parse("ours.toml", []byte(full))
	if err != nil {
		t.Fatal(err)
	}
	if *p.Strands != 3 || *p.Recipe.SaltPct != 0 || *p.RestTemperatureC != 0 || *p.TargetThicknessMM != 2.2 || p.Cohesiveness != Down || p.Springiness != ByDistance || !p.AdhesivenessNegative || *p.CookTimeS != 240 {
		t.Errorf("%+v", p)
	}
	for _, r := range p.Rules() {
		if r.Value == "" {
			t.Errorf("rule %s was not read", r.Name)
		}
	}
	bare, err := Parse("bare.toml", []byte("id = \"bare\"\ntest = \"cutting\"\n"))
	if err != nil || bare.Cohesiveness != Whole || bare.Springiness != ByTime || bare.Strands != nil {
		t.Errorf("%+v %v", bare, err)
	}
}

func TestParseRefuses(t *testing.T) {
	change := func(from, to string) string { return strings.Replace(full, from, to, 1) }
	for name, c := range map[string]struct {
		text, want string
		line       int
	}{
		"no id":             {change(`id = "ours"`, ""), "small letters", 0},
		"id with blanks":    {change(`"ours"`, `"Our own"`), "small letters", 1},
		"unknown key":       {change("strands", "strand"), "unknown key", 5},
		"test":              {change(`"two-bite"`, `"three-bite"`), "two-bite, compression, cutting", 3},
		"no test":           {change(`test = "two-bite"`, ""), "two-bite, compression, cutting", 0},
		"strain":            {change("strain_pct = 75", "strain_pct = 750"), "between 0.1 and 100", 7},
		"NaN":               {change("strain_pct = 75", "strain_pct = nan"), "between 0.1 and 100", 7},
		"time of the rest":  {change("time_s = 300", "time_s = -1"), "between 0 and 1e+07", 30},
		"fixed, no time":    {change("time_s = 240", ""), "state it", 0},
		"time without rule": {change(`"fixed time"`, `"core vanishes"`), "cook_time_s", 27},
		"areas":             {change(`"down-stroke"`, `"both"`), "whole, down-stroke, net", 12},
		"form":              {change(`"fresh"`, `"boiled"`), "fresh, dried, frozen", 23},
		"family":            {"family = \"bake\"\n" + full, "texture", 1},
		"broken":            {"id = \n", "TOML", 1},
		"text for a figure": {change("strands = 3", `strands = "three"`), "TOML", 5},
		"no text at all":    {"", "small letters", 0},
	} {
		_, err := Parse("x.toml", []byte(c.text))
		var p *ParseError
		if !errors.As(err, &p) || !strings.Contains(err.Error(), c.want) || p.Line != c.line {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Open("not/there.toml"); err == nil {
		t.Error("a file that is not there")
	}
}

// TestDiffers: every rule keeps readings apart; targets, label and source do not.
func TestDiffers(t *testing.T) {
	p, _ := Parse("ours.toml", []byte(full))
	rules := 0
	for _, line := range strings.Split(full, "\n") {
		name, value, ok := strings.Cut(line, " = ")
		if !ok || name == "id" {
			continue
		}
		other := value + "5"
		switch {
		case name == "test":
			other = `"compression"`
		case name == "cohesiveness":
			other = `"net"`
		case name == "springiness":
			other = `"time"`
		case name == "adhesiveness_sign":
			other = `"positive"`
		case name == "form":
			other = `"frozen"`
		case name == "rule":
			continue // its time goes with it
		case name == "strain_pct":
			other = "70"
		case name == "yield_pct":
			other = "200"
		case name == "salt_pct":
			other = "2"
		case name == "temperature_C":
			other = "20"
		case strings.HasPrefix(value, `"`):
			other = `"other"`
		}
		q, err := Parse("changed.toml", []byte(strings.Replace(full, line, name+" = "+other, 1)))
		if err != nil {
			t.Fatal(err)
		}
		got, free := p.Differs(q), slices.Contains([]string{"product", "source", "thickness_mm", "thickness_tolerance_mm", "yield_pct"}, name)
		if free != (len(got) == 0) || len(got) > 1 {
			t.Errorf("%s: differs in %v", name, got)
		}
		rules += len(got)
	}
	if want := len(p.Rules()) - 1; rules != want {
		t.Errorf("%d rules were tried, want %d", rules, want)
	}
	if Unknown("x").Known() || !p.Known() {
		t.Error("Known is wrong")
	}
}

func TestBuiltin(t *testing.T) {
	for _, p := range Builtin() {
		q, ok := Lookup(p.ID)
		if !ok || len(p.Differs(q)) > 0 || p.Source == "" || p.Caution == "" || !p.Example {
			t.Errorf("%s: %+v", p.ID, p)
		}
		if _, ok := trait.LookupProduct(p.Product); p.Product != "" && !ok {
			t.Errorf("%s: product %s", p.ID, p.Product)
		}
	}
	own := Unknown("noodle-two-bite")
	if Find([]Protocol{own}, own.ID).Known() || !Find(nil, own.ID).Known() || Find(nil, "x").ID != "x" {
		t.Error("Find: the laboratory's own come first")
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(full))
	f.Add([]byte("id = \"x\"\ntest = \"cutting\"\nstrands = inf\n"))
	f.Add([]byte("[cook]\n[cook]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse("x.toml", data)
		var want *ParseError
		if err != nil && !errors.As(err, &want) {
			t.Fatalf("%T", err)
		}
		if err == nil && (p.ID == "" || p.Test == Unstated || len(p.Differs(p)) > 0) {
			t.Fatalf("%+v", p)
		}
	})
}
