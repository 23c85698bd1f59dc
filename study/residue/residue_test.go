package residue

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"flourcast/dataset/tablefile"
	"flourcast/eval/domain"
	"flourcast/model/design"
	"flourcast/work"
)

// set is 60 lots whose response curves over peak and rises by 0.5 a year beyond
// what a straight line through peak says; predicted is that line.
func set(t testing.TB, curve, drift float64) (*design.Matrix, []float64) {
	t.Helper()
	rng := work.Rand(1, "residue")
	s := design.Spec{Features: []string{"peak_mPas", "protein_pct"}, Response: "hardness_N", Groupings: map[string][]string{}}
	var predicted []float64
	for i := range 60 {
		a, year := rng.NormFloat64(), 2021+i%4
		s.X = append(s.X, []float64{2600 + 300*a, 10 + rng.NormFloat64()})
		line := 12 - 2*a
		s.Y = append(s.Y, line+curve*(a*a-1)+drift*float64(year-2022)+0.3*rng.NormFloat64())
		predicted = append(predicted, line)
		s.Lots = append(s.Lots, fmt.Sprint("L", i))
		s.Groupings["crop_year"] = append(s.Groupings["crop_year"], fmt.Sprint(year))
		s.Groupings["milled_on"] = append(s.Groupings["milled_on"], "not known")
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m, predicted
}

func TestLook(t *testing.T) {
	m, p := set(t, 0.6, 0.5)
	got := Look(m, p)
	if got.Curvature == nil || math.Abs(got.Curvature.Value-0.6) > 0.25 || got.Curvature.P > 1e-4 {
		t.Errorf("curvature %+v, want about 0.6", got.Curvature)
	}
	if len(got.Curved) != 1 || got.Curved[0].Feature != "peak_mPas" {
		t.Errorf("curved features %+v, want peak_mPas alone", got.Curved)
	}
	if got.Drift == nil || got.DriftOver != "crop_year" || got.Drift.Low > 0.5 || got.Drift.High < 0.5 || got.Drift.P > 1e-3 {
		t.Errorf("drift over %q: %+v, want 0.5 a year", got.DriftOver, got.Drift)
	}
	m, p = set(t, 0, 0)
	if got := Look(m, p); got.Curvature.P < 0.01 || got.Drift.P < 0.01 || len(got.Curved) > 0 {
		t.Errorf("nothing there, yet %+v, %+v, %+v", *got.Curvature, *got.Drift, got.Curved)
	}
}

func TestInYears(t *testing.T) {
	a, _ := inYears("2024-01-01")
	b, _ := inYears("2025-01-01T08:00:00")
	if math.Abs(b-a-1) > 0.003 {
		t.Errorf("a year is %v years", b-a)
	}
	for _, bad := range []string{"", "2023+2024", "spring", "20", "2024-13-01"} {
		if v, ok := inYears(bad); ok {
			t.Errorf("%q: %v", bad, v)
		}
	}
}

func TestScreened(t *testing.T) {
	var b strings.Builder
	b.WriteString("lot,product,peak_mPas,hardness_N\n")
	for i := range 20 {
		fmt.Fprintf(&b, "M%d,white-salted-noodle,%d,5.%d\n", i, 2500+10*i, i)
	}
	b.WriteString("M3,white-salted-noodle,2530,\nS1,white-salted-noodle,2600,\nS2,white-salted-noodle,9000,\nS3,layer-cake,2600,\nS4,white-salted-noodle,,\n")
	table, _, err := tablefile.Parse("t.csv", []byte(b.String()), "")
	if err != nil {
		t.Fatal(err)
	}
	s := design.Spec{Features: []string{"peak_mPas"}, Response: "hardness_N"}
	var rows []int
	for i := range 20 {
		s.X, s.Y, s.Lots = append(s.X, []float64{2500 + 10*float64(i)}), append(s.Y, 5), append(s.Lots, fmt.Sprint("M", i))
		rows = append(rows, i)
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	d, err := domain.Build(m)
	if err != nil {
		t.Fatal(err)
	}
	got := Screened(table, d, "hardness_N", "white-salted-noodle", "", rows)
	if got == nil || got.Lots != 2 || got.Inside != 1 || len(got.Missed) != 1 || got.Missed[0] != "S2" {
		t.Fatalf("%+v, want S1 inside and S2 outside", got)
	}
	if got := Screened(table.Where("lot", "M1"), d, "hardness_N", "", "", nil); got != nil {
		t.Errorf("no screened lot, yet %+v", got)
	}
}
