package rows

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/assembly"
	"flourcast/dataset/method"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/trait"
)

// used are the rows of a table that a model of the response would use.
func used(t interface {
	Helper()
	Fatal(...any)
}, text, response string, features ...string) Used {
	t.Helper()
	tab, _, err := tablefile.Parse("t.csv", []byte(text), "lot")
	if err != nil {
		t.Fatal(err)
	}
	m, a, _, err := assembly.Make(tab, assembly.Selection{Response: response, Features: features})
	if err != nil {
		t.Fatal(err)
	}
	return Used{Table: tab, Matrix: m, Assembly: a, Methods: []method.Method{{ID: "ours", Solvent: trait.Sucrose}}}
}

const noodles = `lot,product,crop_year,site,peak_mPas@noodle-water,peak_mPas@noodle-water_n,peak_mPas@noodle-water_sd,peak_mPas@ours,protein_pct,hardness_N,hardness_N_n,hardness_N_sd
A,udon,2023,x,2000,2,30,2100,9,4.0,4,0.2
B,udon,2023,y,2200,2,40,,10,3.8,4,0.4
C,udon,2024,x,2400,1,,2500,,3.5,1,
D,udon,2024,x,9999,2,50,2600,11,,,
`

// TestEvidence: every trait that a rule may name, on the rows of the model and in their
// order, with the solvent of its method; a companion or a response is none.
func TestEvidence(t *testing.T) {
	u := used(t, noodles, "hardness_N", "peak_mPas@noodle-water")
	e := u.Evidence()
	var ids []string
	for _, f := range e.Features {
		ids = append(ids, f.ID)
	}
	if want := []string{"peak_mPas@noodle-water", "peak_mPas@ours", "protein_pct"}; !slices.Equal(ids, want) || !slices.Equal(e.Lots, []string{"A", "B", "C"}) {
		t.Fatalf("features %v of lots %v", ids, e.Lots)
	}
	if e.Kind != "instrumental" || e.Response != "hardness_N" || !slices.Equal(e.Year, []string{"2023", "2023", "2024"}) || !slices.Equal(e.Labels["site"], []string{"x", "y", "x"}) {
		t.Errorf("%+v", e)
	}
	if f := e.Features[0]; f.Solvent != trait.Water || !slices.Equal(f.X, []float64{2000, 2200, 2400}) {
		t.Errorf("%+v", f)
	}
	if f := e.Features[1]; f.Solvent != trait.Sucrose || !slices.Equal(f.Present, []bool{true, false, true}) {
		t.Errorf("the laboratory's own method: %+v", f)
	}
	if e.Protein == nil || e.Protein.Present[2] {
		t.Errorf("protein %+v: C has none", e.Protein)
	}
	// Repeatability is that of the whole table: √((30² + 40² + 50²)/3) by hand.
	if sd := e.Features[0].RepeatSD; sd == nil || math.Abs(*sd-math.Sqrt(5000.0/3)) > 1e-9 {
		t.Errorf("repeatability %v", sd)
	}
	if e.Features[1].RepeatSD != nil {
		t.Error("a repeatability where nothing was measured twice")
	}
	if u.Column("ash_pct") != nil || u.Column("site") != nil {
		t.Error("a column of no figure")
	}
}

// TestResponseError, by hand: pooled SD √((3·0.2² + 3·0.4²)/6) = √0.1, on 6 degrees of
// freedom, times √(mean of 1/4, 1/4, 1).
func TestResponseError(t *testing.T) {
	u := used(t, noodles, "hardness_N", "peak_mPas@noodle-water")
	r := u.ResponseError()
	if r == nil || math.Abs(r.SE-math.Sqrt(0.1*0.5)) > 1e-12 || r.DF != 6 {
		t.Fatalf("%+v", r)
	}
	ceiling, se := u.NoiseCeiling()
	if se == nil || *se != r.SE || ceiling == nil || *ceiling > 1 {
		t.Errorf("ceiling %v, error %v", ceiling, se)
	}
	for name, change := range map[string]func(string) string{
		"a number that is not known": func(s string) string { return strings.Replace(s, "3.8,4,0.4", "3.8,,0.4", 1) },
		"nothing measured twice": func(s string) string {
			return strings.NewReplacer("4.0,4,0.2", "4.0,1,", "3.8,4,0.4", "3.8,1,").Replace(s)
		},
		"a number of none": func(s string) string { return strings.Replace(s, "3.8,4,0.4", "3.8,0,0.4", 1) },
	} {
		if r := used(t, change(noodles), "hardness_N", "peak_mPas@noodle-water").ResponseError(); r != nil {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// TestCeilingOfRows: where a lot has several rows, these are its replicates.
func TestCeilingOfRows(t *testing.T) {
	u := used(t, "lot,peak_mPas,hardness_N\nA,2000,4.0\nA,2000,4.2\nB,2300,3.0\nB,2300,3.2\n", "hardness_N", "peak_mPas")
	ceiling, se := u.NoiseCeiling()
	if se == nil || math.Abs(*se-math.Sqrt(0.02)) > 1e-12 || ceiling == nil || !(*ceiling < 1) {
		t.Errorf("ceiling %v, error %v; want √0.02", ceiling, se)
	}
	if c, s := used(t, "lot,peak_mPas,hardness_N\nA,2000,4.0\nB,2100,4.2\n", "hardness_N", "peak_mPas").NoiseCeiling(); c != nil || s != nil {
		t.Errorf("a ceiling of %v without a replicate", c)
	}
}

// TestLeaks: a feature that is the response in another unit is named; lots with the
// figures of another are, unless they share a parent; designed settings may recur.
func TestLeaks(t *testing.T) {
	head := "lot,family,peak_mPas,breakdown_mPas,final_mPas,own,hardness_N\n"
	rows := func(copyOf func(i int) int, family string) string {
		var b strings.Builder
		b.WriteString(head)
		for i := range 12 {
			k := copyOf(i)
			fmt.Fprintf(&b, "L%02d,%s,%d,%d,%d,%d,%.3f\n", i, family, 2000+(k*k*37)%401, 500+(k*k*k*53)%211, 3000+(k*71)%307, i%2, 4+math.Sin(float64(i*i)))
		}
		return b.String()
	}
	features := []string{"peak_mPas", "breakdown_mPas", "final_mPas"}
	clean := used(t, rows(func(i int) int { return i }, ""), "hardness_N", features...).Leaks()
	if clean.Split != "" || clean.Feature != "" || len(clean.Findings) != 0 {
		t.Errorf("lots of their own: %+v", clean)
	}
	twice := used(t, rows(func(i int) int { return i / 2 }, ""), "hardness_N", features...).Leaks()
	if !strings.Contains(twice.Split, "100 %") || !twice.Findings.Has("lots-alike") || !strings.Contains(twice.Findings[0].Found, "L00 and L01") {
		t.Errorf("each flour under two names: %+v", twice)
	}
	if family := used(t, rows(func(i int) int { return i / 2 }, "one silo"), "hardness_N", features...).Leaks(); family.Split != "" {
		t.Errorf("lots that share a parent stay in one fold: %+v", family)
	}
	if few := used(t, rows(func(i int) int { return i / 2 }, ""), "hardness_N", "peak_mPas", "own").Leaks(); few.Split != "" {
		t.Errorf("two figures cannot tell lots apart: %+v", few)
	}
	var b strings.Builder
	b.WriteString("lot,own,peak_mPas,hardness_N\n")
	for i := range 8 {
		y := 4 + math.Sin(float64(i*i))
		fmt.Fprintf(&b, "L%d,%.9f,%d,%.9f\n", i, 7-100*y, 2000+(i*37)%101, y)
	}
	if same := used(t, b.String(), "hardness_N", "own", "peak_mPas").Leaks(); !strings.HasPrefix(same.Feature, "own is the response") || !same.Findings.Has("feature-is-response") {
		t.Errorf("%+v", same)
	}
}

// TestRowsAreTheMatrix: whatever rows are left out, a column stands on the rows of the
// matrix, figure by figure.
func TestRowsAreTheMatrix(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString("lot,peak_mPas,protein_pct,hardness_N\n")
		peak := map[string]string{}
		n := rapid.IntRange(3, 20).Draw(t, "rows")
		cell := func(name string) string {
			if rapid.IntRange(0, 3).Draw(t, name) == 0 {
				return ""
			}
			return fmt.Sprint(rapid.IntRange(1, 9).Draw(t, name))
		}
		for i := range n {
			lot := fmt.Sprintf("L%d", i)
			protein := cell("protein")
			peak[lot] = protein
			fmt.Fprintf(&b, "%s,%d,%s,%s\n", lot, 2000+i, protein, cell("hardness"))
		}
		b.WriteString("Z,1999,5,5\n")
		peak["Z"] = "5"
		u := used(t, b.String(), "hardness_N", "peak_mPas")
		c := u.Column(Protein)
		if c == nil {
			t.Fatal("no protein, though Z has one")
		}
		for k, lot := range u.Matrix.Lots() {
			if c.Present[k] != (peak[lot] != "") || c.Present[k] && fmt.Sprint(c.X[k]) != peak[lot] {
				t.Fatalf("lot %s: %v, %v; the table has %q", lot, c.X[k], c.Present[k], peak[lot])
			}
		}
	})
}
