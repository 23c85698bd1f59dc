package thickness

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
)

func row(lot string, thick, hardness float64) Row {
	return Row{Lot: lot, Product: "noodle", Protocol: "p", Values: map[string]float64{ID: thick, "hardness_N": hardness, "cohesiveness": 0.6}}
}

// TestSlope: by hand. Deviations within lots: A x −0.1 0 0.1, y −0.3 0.1 0.2; B x
// −0.2 0.2, y −0.5 0.5; C x 0.1 −0.1, y 0.3 −0.3. Sxx 0.12, Sxy 0.31, Syy 0.82;
// slope 31/12, residual 0.82 − 0.31²/0.12 = 0.0191667 with 7 − 3 − 1 = 3 degrees.
func TestSlope(t *testing.T) {
	rows := []Row{row("A", 2.1, 2.7), row("A", 2.2, 3.1), row("A", 2.3, 3.2), row("B", 2, 8.5), row("B", 2.4, 9.5), row("C", 2.5, 1.3), row("C", 2.3, 0.7), row("D", 9, 9)}
	got := Slopes(rows)
	if len(got) != 1 {
		t.Fatal(got)
	}
	s := got[0]
	se := math.Sqrt(0.0191666667 / 3 / 0.12)
	if s.Response != "hardness_N" || s.Lots != 3 || s.Readings != 7 || math.Abs(s.PerMM-31./12) > 1e-9 || math.Abs(s.SE-se) > 1e-8 || s.FromMM != 2 || s.ToMM != 2.5 {
		t.Errorf("%+v, want SE %g", s, se)
	}
	if reach := 3.182446305 * se; math.Abs(s.Low-(s.PerMM-reach)) > 1e-7 || math.Abs(s.High-(s.PerMM+reach)) > 1e-7 { // t(0.975, 3), printed tables
		t.Errorf("%+v", s)
	}
}

func codes(fl finding.List) string {
	var out []string
	for _, f := range fl {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

// many are lots whose hardness rises by 2 N per mm within lots and falls between
// them, with a little scatter.
func many() (rows []Row) {
	for lot := range 5 {
		for k := range 4 {
			x := 2 + 0.1*float64(lot) + 0.05*float64(k)
			rows = append(rows, row(fmt.Sprint("L", lot), x, 10-3*float64(lot)+2*x+0.002*float64((k*7+lot*3)%5-2)))
		}
	}
	return rows
}

func TestCorrect(t *testing.T) {
	rows := many()
	slopes, fl := Correct(rows, 2.3)
	if len(fl) > 0 || len(slopes) != 1 || !slopes[0].Corrected || *slopes[0].AtMM != 2.3 || math.Abs(slopes[0].PerMM-2) > 0.05 {
		t.Fatalf("%+v %v", slopes, fl)
	}
	for i, r := range rows {
		lot := i / 4
		if want := 10 - 3*float64(lot) + 4.6; math.Abs(r.Values["hardness_N"]-want) > 0.02 {
			t.Errorf("%s: %g, want %g", r.Lot, r.Values["hardness_N"], want)
		}
		if r.Values["cohesiveness"] != 0.6 {
			t.Error("a ratio was corrected")
		}
	}
	if _, fl := Correct(many(), 4); codes(fl) != "thickness-beyond" {
		t.Error(fl)
	}
	rows = many()
	delete(rows[3].Values, ID)
	if _, fl := Correct(rows, 2.3); codes(fl) != "thickness-missing" {
		t.Error(fl)
	}
	if _, there := rows[3].Values["hardness_N"]; there {
		t.Error("an uncorrected reading among corrected ones")
	}
	few := many()[:8]
	before := few[1].Values["hardness_N"]
	if _, fl := Correct(few, 2.3); codes(fl) != "thickness-not-corrected" || few[1].Values["hardness_N"] != before {
		t.Error(fl)
	}
	same := many()
	for i := range same {
		same[i].Values[ID] = 2.2
	}
	if s, fl := Correct(same, 2.3); len(s) > 0 || codes(fl) != "thickness-not-corrected" {
		t.Error(s, fl)
	}
	if s, _ := Correct(nil, 2.3); len(s) > 0 {
		t.Error(s)
	}
}

// TestLotsPlayNoPart: what is added to all readings, or all thicknesses, of a lot
// leaves the slope.
func TestLotsPlayNoPart(t *testing.T) {
	want := Slopes(many())[0]
	rapid.Check(t, func(t *rapid.T) {
		rows := many()
		for lot := range 5 {
			dx, dy := rapid.Float64Range(-1, 5).Draw(t, "dx"), rapid.Float64Range(-50, 50).Draw(t, "dy")
			for k := range 4 {
				rows[4*lot+k].Values[ID] += dx
				rows[4*lot+k].Values["hardness_N"] += dy
			}
		}
		if got := Slopes(rows)[0]; math.Abs(got.PerMM-want.PerMM) > 1e-8 || math.Abs(got.SE-want.SE) > 1e-8 {
			t.Fatalf("%+v, want %+v", got, want)
		}
	})
}
