package trait

import (
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestGlossaryIsComplete(t *testing.T) {
	roles := []Role{RoleKey, RoleFeature, RoleComposition, RoleResponse, RoleFact}
	for _, tr := range All() {
		if tr.Label == "" || tr.Base == "" || tr.Definition == "" || tr.Source == "" || tr.Family == "" || !slices.Contains(roles, tr.Role) {
			t.Errorf("%s lacks a part: %+v", tr.ID, tr)
		}
		if tr.Unit != "" && tr.Dimension != Price {
			if _, ok := unitIn(tr.Dimension, tr.Unit); !ok {
				t.Errorf("%s: unit %q is not one of %s", tr.ID, tr.Unit, tr.Dimension)
			}
		}
		if (tr.Role == RoleResponse) != (tr.Kind != "") {
			t.Errorf("%s: role %s, kind %q", tr.ID, tr.Role, tr.Kind)
		}
		if tr.Role == RoleFeature && !tr.Numeric() {
			t.Errorf("%s is a feature and no number", tr.ID)
		}
	}
}

func TestAllFollowsTheCurve(t *testing.T) {
	var got []string
	for _, tr := range All() {
		if tr.Role == RoleFeature {
			got = append(got, tr.ID)
		}
	}
	want := []string{"initial_mPas", "pasting_temp_C", "pasting_temp_tangent_C", "viscosity_at_60C_mPas", "viscosity_at_65C_mPas", "viscosity_at_70C_mPas",
		"viscosity_at_75C_mPas", "viscosity_at_80C_mPas", "viscosity_at_85C_mPas", "viscosity_at_90C_mPas", "viscosity_at_95C_mPas",
		"rise_rate_mPas_per_s", "rise_rate_mPas_per_C", "area_heating_mPas_s", "onset_to_peak_s", "peak_time_s", "peak_temp_C", "peak_mPas",
		"second_peak_time_s", "second_peak_mPas", "area_hot_mPas_s", "stirring_number_mPas", "trough_mPas", "breakdown_mPas", "relative_breakdown", "paste_stability",
		"area_cooling_mPas_s", "final_mPas", "setback_trough_mPas", "relative_setback", "setback_peak_mPas"}
	if !slices.Equal(got, want) {
		t.Errorf("features in order %v, want %v", got, want)
	}
	All()[0].ID = "changed"
	if All()[0].ID == "changed" {
		t.Error("All hands out the glossary itself")
	}
}

func TestSplitJoin(t *testing.T) {
	if id, m := Split("peak_mPas@noodle-water"); id != "peak_mPas" || m != "noodle-water" {
		t.Errorf("split into %q, %q", id, m)
	}
	for _, c := range []string{"peak_mPas", "peak_mPas@noodle-water", "lot"} {
		if got := Join(Split(c)); got != c {
			t.Errorf("Join(Split(%q)) = %q", c, got)
		}
	}
	if _, ok := Lookup("peak_mPas@noodle-water"); !ok {
		t.Error("a method suffix hides the trait")
	}
}

func TestLabelAndFormat(t *testing.T) {
	for column, want := range map[string]string{"peak_mPas": "peak viscosity, mPa·s", "peak_mPas@cake-water": "peak viscosity, mPa·s (cake-water)",
		"springiness": "springiness", "x17": "x17"} {
		if got := Label(column); got != want {
			t.Errorf("Label(%q) = %q, want %q", column, got, want)
		}
	}
	tests := []struct {
		column string
		v      float64
		want   string
	}{
		{"peak_mPas", 2345.6, "2346"}, {"hardness_N", 3.14159, "3.14"}, {"cohesiveness", 0.6666, "0.667"}, {"pasting_temp_C", 68.04, "68.0"},
		{"setback_peak_mPas", -0.2, "0"}, {"x", 0.00012345, "0.0001234"}, {"x", 123456, "123456"}, {"x", 12.3456, "12.35"}, {"x", math.NaN(), "–"}, {"peak_mPas", math.Inf(1), "–"},
	}
	for _, tt := range tests {
		if got := Format(tt.column, tt.v); got != tt.want {
			t.Errorf("Format(%q, %v) = %q, want %q", tt.column, tt.v, got, tt.want)
		}
	}
}

// Conversions that are exact by definition: 1 cP = 1 mPa·s, 1 gf = 9.80665 mN
// (standard gravity, 3rd General Conference on Weights and Measures, 1901),
// 1 in = 25.4 mm, °F by its two fixed points. 1200 gf = 11.768 N as printed in
// a handbook example for a cooked noodle.
func TestConvert(t *testing.T) {
	tests := []struct {
		v        float64
		from, to string
		want     float64
	}{
		{1, "cP", "mPa·s", 1}, {2.5, "Pa·s", "mPa.s", 2500}, {3, "P", "mPas", 300}, {2500, "mPa*s", "Pa s", 2.5},
		{32, "°F", "°C", 0}, {212, "degF", "degC", 100}, {95, "C", "F", 203}, {273.15, "K", "°C", 0},
		{1200, "g force", "N", 11.76798}, {1, "kgf", "Newton", 9.80665}, {1, "N", "gf", 1000 / 9.80665}, {420, "g", "mN", 420 * 9.80665},
		{6.07, "min", "s", 364.2}, {1, "h", "min", 60}, {1, "in", "mm", 25.4}, {150, "µm", "mm", 0.15}, {150, "um", "μm", 150},
		{1, "L", "cm³", 1000}, {14, "%", "fraction", 0.14}, {0.66, "ratio", "%", 66}, {1, "mJ", "N·mm", 1}, {60, "cP/min", "mPa·s/s", 1},
	}
	for _, tt := range tests {
		got, err := Convert(tt.v, tt.from, tt.to)
		if err != nil || math.Abs(got-tt.want) > 1e-12*math.Max(1, math.Abs(tt.want)) {
			t.Errorf("Convert(%v, %q, %q) = %v, %v, want %v", tt.v, tt.from, tt.to, got, err, tt.want)
		}
	}
	for _, tt := range []struct{ from, to, reason string }{
		{"BU", "mPa·s", UnitArbitrary}, {"units", "cP", UnitArbitrary}, {"N·mm", "N·s", UnitDimension}, {"mm", "N", UnitDimension},
		{"furlong", "mm", UnitUnknown}, {"MPa·s", "cP", UnitUnknown}, {"mm", "furlong", UnitUnknown}, {"", "mm", UnitUnknown},
	} {
		_, err := Convert(1, tt.from, tt.to)
		var ue *UnitError
		if !errors.As(err, &ue) || ue.Reason != tt.reason {
			t.Errorf("Convert(1, %q, %q): %v, want reason %s", tt.from, tt.to, err, tt.reason)
		}
	}
	if _, err := Convert(1, "BU", "mPa·s"); err == nil || !strings.Contains(err.Error(), "no fixed conversion to mPa·s") {
		t.Errorf("BU: %v", err)
	}
}

// Going to another unit of the same dimension and back returns the figure.
func TestConvertRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SampledFrom(units).Draw(t, "a")
		b := rapid.SampledFrom(units).Filter(func(u Unit) bool { return u.Dimension == a.Dimension }).Draw(t, "b")
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")
		back := convert(convert(v, a, b), b, a)
		if math.Abs(back-v) > 1e-9*math.Max(1, math.Abs(v)) {
			t.Fatalf("%v %s → %s → %v", v, a.Symbol, b.Symbol, back)
		}
	})
}

func TestProducts(t *testing.T) {
	if got := Ancestors("soft-bite-noodle"); !slices.Equal(got, []string{"soft-bite-noodle", "white-salted-noodle", "noodle"}) {
		t.Errorf("kin of soft-bite-noodle: %v", got)
	}
	if got := Ancestors("cooked-rice"); !slices.Equal(got, []string{"cooked-rice"}) {
		t.Errorf("kin of an own product: %v", got)
	}
	if got := Ancestors(""); got != nil {
		t.Errorf("kin of nothing: %v", got)
	}
	for _, p := range products {
		if _, ok := LookupProduct(p.Parent); p.Parent != "" && !ok {
			t.Errorf("%s has the unknown parent %s", p.ID, p.Parent)
		}
	}
}

func TestNear(t *testing.T) {
	lots := []string{"W24-117", "W24-118", "W24-171", "A1"}
	tests := []struct {
		written string
		want    []string
	}{
		{"W24 117", []string{"W24-117", "W24-118", "W24-171"}}, {"w24_117", []string{"W24-117", "W24-118", "W24-171"}},
		{"X99-999", nil}, {"A2", nil}, {"", nil},
	}
	for _, tt := range tests {
		if got := Near(tt.written, lots); !slices.Equal(got, tt.want) {
			t.Errorf("Near(%q) = %v, want %v", tt.written, got, tt.want)
		}
	}
}

// Every column that docs/files.md promises is in the glossary, and every trait
// is in the document.
func TestDocumentedColumns(t *testing.T) {
	data, err := os.ReadFile("../../docs/files.md")
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	_, columns, _ := strings.Cut(text, "\n## Columns\n")
	columns, _, _ = strings.Cut(columns, "\n## ")
	seen := map[string]bool{}
	for _, line := range strings.Split(columns, "\n") {
		cells := strings.Split(line, "|")
		if len(cells) < 4 {
			continue
		}
		for i, word := range strings.Split(cells[1], "`") {
			if i%2 == 0 {
				continue
			}
			seen[word] = true
			if _, ok := Lookup(word); !ok {
				t.Errorf("docs/files.md has the column %s, the glossary has not", word)
			}
		}
	}
	if len(seen) < 50 {
		t.Errorf("%d columns found in docs/files.md", len(seen))
	}
	for _, tr := range All() {
		if !seen[tr.ID] {
			t.Errorf("%s is not in docs/files.md", tr.ID)
		}
	}
}
