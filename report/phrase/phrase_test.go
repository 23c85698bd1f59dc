package phrase

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestSentences(t *testing.T) {
	for _, c := range []struct {
		texts []string
		want  string
	}{
		{nil, ""},
		{[]string{" ", ""}, ""},
		{[]string{"too few lots", "measure more."}, "Too few lots. Measure more."},
		{[]string{"ångström first"}, "Ångström first."},
		{[]string{"raw/new/lots.csv, row 2: no figure"}, "raw/new/lots.csv, row 2: no figure."}, // a path is written as it stands
		{[]string{"peak_mPas is constant", "site=west, not east"}, "peak_mPas is constant. site=west, not east."},
		{[]string{"hardness: too low"}, "Hardness: too low."},
	} {
		if got := Sentences(c.texts...); got != c.want {
			t.Errorf("%q: %q, want %q", c.texts, got, c.want)
		}
	}
}

// TestFixedText: a true minus sign, as many decimals as asked for, and no minus
// before what is rounded to nought.
func TestFixedText(t *testing.T) {
	for _, c := range []struct {
		v    float64
		d    int
		want string
	}{{-0.004, 2, "0.00"}, {-0.006, 2, "−0.01"}, {0, 0, "0"}, {-12.5, 1, "−12.5"}, {0.849, 1, "0.8"}} {
		if got := FixedText(c.v, c.d); got != c.want {
			t.Errorf("%v with %d decimals: %q, want %q", c.v, c.d, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		v, d := rapid.Float64Range(-1e6, 1e6).Draw(t, "v"), rapid.IntRange(0, 4).Draw(t, "decimals")
		text := FixedText(v, d)
		if strings.ContainsRune(text, '-') || strings.HasPrefix(text, "−0") && strings.Trim(text, "−0.") == "" {
			t.Fatalf("%v: %q", v, text)
		}
		if whole, part, _ := strings.Cut(text, "."); utf8.RuneCountInString(part) != d || whole == "" {
			t.Fatalf("%v with %d decimals: %q", v, d, text)
		}
		if neg := strings.HasPrefix(text, "−"); neg && v >= 0 || !neg && v < -math.Pow(10, -float64(d)) {
			t.Fatalf("%v: %q", v, text)
		}
	})
}

func TestNames(t *testing.T) {
	if label, unit := AxisOf("peak_mPas@noodle-water"); label != "peak viscosity (noodle-water)" || unit != "mPa·s" {
		t.Errorf("%q, %q", label, unit)
	}
	if label, unit := AxisOf("of their own"); label != "of their own" || unit != "" {
		t.Errorf("%q, %q", label, unit)
	}
	if got := Product(""); got != "product not stated" {
		t.Error(got)
	}
	if got := SomeLots([]string{"a", "b", "c", "d", "e"}); got != "a, b, c, d, …" {
		t.Error(got)
	}
	if Plural(1, "lot") != "1 lot" || Plural(0, "lot") != "0 lots" {
		t.Error("plural")
	}
	if got := Anchor("Äh, Peak (50 %)"); strings.Trim(got, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		t.Errorf("%q is no anchor", got)
	}
}
