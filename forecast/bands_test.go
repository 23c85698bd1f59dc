package forecast

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
)

func TestParseBands(t *testing.T) {
	got, err := ParseBands("hardness_N = soft bite..3.2.. medium ..4.1..firm bite")
	want := Bands{"hardness_N", []string{"soft bite", "medium", "firm bite"}, []float64{3.2, 4.1}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
	file := "response = \"hardness_N\"\n[[band]]\nname = \"soft bite\"\nbelow = 3.2\n[[band]]\nname = \"medium\"\nbelow = 4.1\n[[band]]\nname = \"firm bite\"\n"
	if got, err := ParseBandsFile("bands.toml", []byte(file)); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("from a file: %+v, %v", got, err)
	}
	for text, hint := range map[string]string{
		"": "two points", "hardness_N=soft": "two points", "hardness_N=soft..3": "two points", "=a..1..b": "name the response", "y=a..x..b": "without a unit",
		"y=a..2..b..1..c": "lowest band first", "y=a..1..a": "name it", "y=..1..b": "name it", "y=a..NaN..b": "without a unit", "y=a..1e999..b": "without a unit",
	} {
		var wrong *BandsError
		if _, err := ParseBands(text); !errors.As(err, &wrong) || !strings.Contains(err.Error(), hint) {
			t.Errorf("%q: %v, want a *BandsError that says %q", text, err, hint)
		}
	}
	for text, hint := range map[string]string{
		"response = 3": "mend the file", "response = \"y\"\nbends = 1": "bends", "response = \"y\"\n[[band]]\nname = \"a\"\n[[band]]\nname = \"b\"": "without below",
		"response = \"y\"\n[[band]]\nname = \"a\"\nbelow = 1.0\n[[band]]\nname = \"b\"\nbelow = 2.0": "last band", "response = \"y\"": "0 names",
	} {
		var wrong *BandsError
		if _, err := ParseBandsFile("b.toml", []byte(text)); !errors.As(err, &wrong) || !strings.Contains(err.Error(), hint) || !strings.Contains(err.Error(), "b.toml") {
			t.Errorf("%q: %v, want a *BandsError that says %q", text, err, hint)
		}
	}
}

func TestClasses(t *testing.T) {
	in := lot(t)
	in.Bands = &Bands{"hardness_N", []string{"soft bite", "firm bite"}, []float64{7}}
	f := Make(in) // forecast at 7 N
	if len(f.Classes) != 2 || math.Abs(f.Classes[0].Probability-0.5) > 1e-9 || f.Class == "" {
		t.Errorf("%+v, %q", f.Classes, f.Class)
	}
	in.Bands.Cuts[0] = 6
	f = Make(in)
	in.Spec = &Spec{"hardness_N", nil, ptr(6)}
	if g := Make(in); f.Class != "firm bite" || f.Classes[0].Probability != *g.Probability {
		t.Errorf("soft bite has %v, the limit of 6 N %v", f.Classes[0].Probability, *g.Probability)
	}
	in.Bands.Response = "springiness"
	if f := Make(in); f.Classes != nil || f.Class != "" {
		t.Errorf("bands of another response: %+v", f.Classes)
	}
	in.Bands.Response, in.Model.Standing = "hardness_N", "not fit for use"
	if f := Make(in); f.Classes != nil {
		t.Errorf("a model that is not fit for use gives classes: %+v", f.Classes)
	}
}

func FuzzParseBands(f *testing.F) {
	f.Add("hardness_N=soft bite..3.2..firm bite")
	f.Add("y=a..1..b..2..c")
	f.Fuzz(func(t *testing.T, text string) {
		if b, err := ParseBands(text); err == nil && b.Check() != nil {
			t.Fatalf("%q was read as %+v", text, b)
		}
		if b, err := ParseBandsFile("f", []byte(text)); err == nil && b.Check() != nil {
			t.Fatalf("%q was read as %+v", text, b)
		}
	})
}
