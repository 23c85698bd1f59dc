package treatment

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParse(t *testing.T) {
	for written, want := range map[string]struct {
		kind     Kind
		ph, dose float64 // 0: not stated
	}{
		"none":                           {None, 0, 0},
		" Unbleached":                    {None, 0, 0},
		"no":                             {None, 0, 0},
		"non-chlorinated":                {None, 0, 0},
		"nonsense":                       {Other, 0, 0},
		"chlorine":                       {Chlorinated, 0, 0},
		"Chlorinated, pH 4.7":            {Chlorinated, 4.7, 0},
		"chlorinated to pH=4,85":         {Chlorinated, 4.85, 0},
		"chlorinated 1100 mg/kg":         {Chlorinated, 0, 1100},
		"Cl2 (1.2 g/kg; pH 4.6)":         {Chlorinated, 4.6, 1200},
		"heat":                           {Heat, 0, 0},
		"heat-treated 130 °C 30 min":     {Heat, 0, 0},
		"heathen":                        {Other, 0, 0},
		"ozone 5 min":                    {Other, 0, 0},
		"bromated 30 mg/kg":              {Bromated, 0, 30},
		"Potassium bromate, 20 ppm":      {Bromated, 0, 20},
		"unbromated":                     {None, 0, 0},
		"bromatedish":                    {Other, 0, 0},
		"chlorinated pH 47":              {Chlorinated, 0, 0},
		"chlorinated 99999 mg/kg":        {Chlorinated, 0, 0},
		"":                               {NotStated, 0, 0},
		"  ":                             {NotStated, 0, 0},
		strings.Repeat("chlorine ", 9e3): {Chlorinated, 0, 0},
	} {
		got := Parse(written)
		value := func(p *float64) float64 {
			if p == nil {
				return 0
			}
			return *p
		}
		if got.Kind != want.kind || value(got.PH) != want.ph || value(got.DoseMgPerKg) != want.dose {
			t.Errorf("%.40q: %s, pH %g, dose %g; want %+v", written, got.Kind, value(got.PH), value(got.DoseMgPerKg), want)
		}
	}
}

func TestMatchesAndKinds(t *testing.T) {
	for _, c := range []struct {
		a, b string
		same bool
	}{
		{"none", "untreated", true}, {"chlorinated pH 4.6", "chlorine", true}, {"none", "chlorine", false}, {"", "none", false}, {"", " ", true},
		{"ozone", "Ozone ", true}, {"ozone", "plasma", false}, {"ozone", "none", false},
	} {
		if Matches(c.a, c.b) != c.same || Matches(c.b, c.a) != c.same {
			t.Errorf("%q and %q", c.a, c.b)
		}
	}
	if got := Kinds([]string{"none", "", "untreated", "chlorinated pH 4.6", "chlorine", "ozone"}); !slices.Equal(got, []string{"none", "not stated", "chlorinated", "ozone"}) {
		t.Errorf("%v", got)
	}
	if !strings.Contains(Caution, "banned") {
		t.Error("no caution")
	}
}

// TestMatchesIsAnEquivalence: every text matches itself, and matching goes both ways.
func TestMatchesIsAnEquivalence(t *testing.T) {
	words := rapid.OneOf(rapid.SampledFrom([]string{"none", "chlorinated pH 4.7", "heat 120 °C", "ozone", ""}), rapid.String())
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := words.Draw(t, "a"), words.Draw(t, "b"), words.Draw(t, "c")
		if !Matches(a, a) || Matches(a, b) != Matches(b, a) || Matches(a, b) && Matches(b, c) && !Matches(a, c) {
			t.Fatalf("%q %q %q", a, b, c)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add("chlorinated pH 4.7")
	f.Add("Cl2 9999,9 g/kg")
	f.Add("\xff\xfe pH")
	f.Fuzz(func(t *testing.T, written string) {
		got := Parse(written)
		if got.Written != written || got.PH != nil && !(*got.PH >= 2 && *got.PH <= 9) || got.DoseMgPerKg != nil && !(*got.DoseMgPerKg >= 0 && *got.DoseMgPerKg <= 10000) {
			t.Fatalf("%+v", got)
		}
	})
}

// Chlorine in the European Union and the United Kingdom, bromate in the European Union:
// from memory. Bromate in the United Kingdom, Canada and India: the sources of Abroad.
func TestAbroad(t *testing.T) {
	for _, c := range []struct {
		kind    Kind
		country string
		want    Permission
	}{
		{Chlorinated, "DE", NotPermitted}, {Chlorinated, "Germany", NotPermitted}, {Chlorinated, " united  kingdom", NotPermitted}, {Chlorinated, "EU", NotPermitted},
		{Chlorinated, "GB", NotPermitted}, {Chlorinated, "Atlantis", Unknown}, {Chlorinated, "Canada", Unknown},
		{Bromated, "FR", NotPermitted}, {Bromated, "England", NotPermitted}, {Bromated, "Canada", NotPermitted}, {Bromated, "in", NotPermitted}, {Bromated, "Atlantis", Unknown}, {Other, "Canada", Unknown},
		{Chlorinated, "", Unknown}, {None, "DE", Untouched}, {Heat, "GB", Untouched}, {Other, "DE", Unknown}, {NotStated, "DE", Unknown},
	} {
		if got := Abroad(c.kind, c.country); got != c.want {
			t.Errorf("%s to %q: %s, want %s", c.kind, c.country, got, c.want)
		}
	}
	if len(union) != 27 {
		t.Errorf("%d countries of the European Union, want 27", len(union))
	}
}
