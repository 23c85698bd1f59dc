package assembly_test

import (
	"errors"
	. "flourcast/dataset/assembly"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

const noodles = `lot,product,crop_year,peak_mPas,peak_mPas_n,breakdown_mPas,protein_pct,hardness_N,hardness_N_se,springiness,remark
0012,white-salted-noodle,2023,2410.5,2,801,9.1,3.5,0.1,0.91,first
0013,white-salted-noodle,2023,2300,2,700,9.9,3.9,0.2,0.9,
0014,white-salted-noodle,2024,2500,1,,9.4,3.6,0.1,0.92,late
L-15,layer-cake,2024,2600,2,900,8.1,,,,
`

func parse(t *testing.T, text string) *table.Table {
	t.Helper()
	tab, fl, err := tablefile.Parse("t.csv", []byte(text), "")
	if err != nil {
		t.Fatalf("%v %v", err, fl)
	}
	return tab
}

func TestMakeDefaults(t *testing.T) {
	tab := parse(t, noodles)
	m, a, fl, err := Make(tab, Selection{Response: "hardness_N", Product: "white-salted-noodle"})
	if err != nil {
		t.Fatal(err)
	}
	// breakdown is missing for one of three lots: under 90 %, left out with a note.
	if want := []string{"peak_mPas", "protein_pct"}; !slices.Equal(m.Features(), want) || !slices.Equal(a.Features, want) {
		t.Errorf("features %v, want %v", m.Features(), want)
	}
	if m.N() != 3 || !slices.Equal(a.Rows, []int{0, 1, 2}) || !slices.Equal(m.Lots(), []string{"0012", "0013", "0014"}) {
		t.Errorf("rows %v lots %v", a.Rows, m.Lots())
	}
	if !fl.Has("features-sparse") || fl.Has("pooled-differs") {
		t.Errorf("findings %v", fl)
	}
	if !slices.Equal(m.SE(), []float64{0.1, 0.2, 0.1}) {
		t.Errorf("SE %v", m.SE())
	}
	if a.Product != "white-salted-noodle" || a.Method != "" || a.Solvent != trait.UnknownSolvent {
		t.Errorf("product %q method %q solvent %q", a.Product, a.Method, a.Solvent)
	}
	if y, ok := m.Grouping("crop_year"); !ok || !slices.Equal(y, []string{"2023", "2023", "2024"}) {
		t.Errorf("crop years %v", y)
	}
}

func TestMakeLeavesOutAndNames(t *testing.T) {
	tab := parse(t, noodles)
	m, a, fl, err := Make(tab, Selection{Response: "hardness_N", Features: []string{"breakdown_mPas"}})
	if err != nil {
		t.Fatal(err)
	}
	want := []LeftOut{{"L-15", "lacks hardness_N"}, {"0014", "lacks breakdown_mPas"}}
	if m.N() != 2 || !slices.Equal(a.Left, want) {
		t.Errorf("left out %v, want %v", a.Left, want)
	}
	if !fl.Has("rows-without-response") || !fl.Has("rows-incomplete") {
		t.Errorf("findings %v", fl)
	}
}

func TestMakeNumbersOfAnyTable(t *testing.T) {
	m, a, _, err := Make(parse(t, "id,y,x1,x2,x1_sd,note,hardness_N,year\n1,2,3,4,5,a,6,2001\n2,3,3,5,5,b,6,2002\n"), Selection{Response: "y", Groupings: []string{"year"}})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"x1", "x2"}; !slices.Equal(a.Features, want) {
		t.Errorf("features %v, want %v: no companion, no response, no label", a.Features, want)
	}
	if g, ok := m.Grouping("year"); !ok || !slices.Equal(g, []string{"2001", "2002"}) {
		t.Errorf("year %v", g)
	}
}

func TestMakeGroupsByAnotherColumn(t *testing.T) {
	text := "batch no,x,flour,y\n1,2,A,3\n2,5,A,4\n3,6,B,5\n"
	tab, _, err := tablefile.Parse("t.csv", []byte(text), "flour")
	if err != nil {
		t.Fatal(err)
	}
	m, _, _, err := Make(tab, Selection{Response: "y"})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(m.Lots(), []string{"A", "A", "B"}) || !slices.Equal(m.Features(), []string{"batch no", "x"}) {
		t.Errorf("lots %v features %v", m.Lots(), m.Features())
	}
	m, _, _, err = Make(parse(t, text), Selection{Response: "y", Group: "flour"})
	if err != nil || !slices.Equal(m.Lots(), []string{"A", "A", "B"}) {
		t.Errorf("group in the selection: lots %v, %v", m.Lots(), err)
	}
}

const twoMethods = `lot,product,peak_mPas@noodle-water,peak_mPas@noodle-water_n,peak_mPas@noodle-inhibited,springiness
A,p,1,2,3,0.1
B,p,2,2,4,0.2
C,q,3,2,5,0.3
`

func TestMakeMethods(t *testing.T) {
	tab := parse(t, twoMethods)
	_, a, fl, err := Make(tab, Selection{Response: "springiness", Method: "noodle-water"})
	if err != nil || !slices.Equal(a.Features, []string{"peak_mPas@noodle-water"}) || a.Method != "noodle-water" || a.Solvent != trait.Water {
		t.Errorf("one method: %+v, %v", a, err)
	}
	if f := fl.With(finding.Doubt); len(f) != 1 || f[0].Code != "pooled-differs" || f[0].At.Column != "product" {
		t.Errorf("two products without a choice: %v", fl)
	}
	_, a, fl, err = Make(tab, Selection{Response: "springiness", Product: "p"})
	if err != nil || len(a.Features) != 2 || a.Method != "" || a.Solvent != trait.UnknownSolvent || !fl.Has("several-methods") {
		t.Errorf("all methods: %+v, %v %v", a, fl, err)
	}
	_, a, _, err = Make(tab, Selection{Response: "springiness", Method: "noodle-inhibited", Features: []string{"peak_mPas"}})
	if err != nil || !slices.Equal(a.Features, []string{"peak_mPas@noodle-inhibited"}) {
		t.Errorf("bare name by the chosen method: %+v, %v", a, err)
	}
	bare := "lot,method,peak_mPas,springiness\nA,ours,1,2\nB,theirs,2,3\nC,ours,3,4\n"
	_, a, fl, err = Make(parse(t, bare), Selection{Response: "springiness"})
	if err != nil || a.Method != "" || !fl.Has("pooled-differs") {
		t.Errorf("methods pooled in one column: %+v %v %v", a, fl, err)
	}
	own := []method.Method{{ID: "ours", Solvent: trait.Sucrose}}
	_, a, fl, err = Make(parse(t, bare), Selection{Response: "springiness", Method: "ours", Methods: own})
	if err != nil || !slices.Equal(a.Rows, []int{0, 2}) || a.Solvent != trait.Sucrose || fl.Has("pooled-differs") {
		t.Errorf("own method: %+v %v %v", a, fl, err)
	}
}

func TestMakeErrors(t *testing.T) {
	for name, c := range map[string]struct {
		text, say string
		s         Selection
	}{
		"misspelt response":    {noodles, "did you mean hardness_N", Selection{Response: "hardnes_N"}},
		"response is text":     {noodles, "text", Selection{Response: "product"}},
		"response is an SE":    {noodles, "a figure about hardness_N", Selection{Response: "hardness_N_se"}},
		"unknown feature":      {noodles, "no such column", Selection{Response: "hardness_N", Features: []string{"zzz"}}},
		"feature is response":  {noodles, "not the response", Selection{Response: "hardness_N", Features: []string{"hardness_N"}}},
		"feature twice":        {noodles, "each feature once", Selection{Response: "hardness_N", Features: []string{"peak_mPas", "peak_mPas"}}},
		"feature is an SD":     {twoMethods, "a figure about", Selection{Response: "springiness", Features: []string{"peak_mPas@noodle-water_n"}}},
		"unknown product":      {noodles, "layer-cake", Selection{Response: "hardness_N", Product: "bread"}},
		"unknown method":       {twoMethods, "noodle-water, noodle-inhibited", Selection{Response: "springiness", Method: "other"}},
		"several methods bare": {twoMethods, "several methods", Selection{Response: "springiness", Features: []string{"peak_mPas"}}},
		"unknown group":        {noodles, "no such column", Selection{Response: "hardness_N", Group: "nowhere"}},
		"nothing beside it":    {"lot,y\nA,1\n", "no feature", Selection{Response: "y"}},
	} {
		var column *table.ColumnError
		_, _, _, err := Make(parse(t, c.text), c.s)
		if !errors.As(err, &column) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want a *table.ColumnError that says %q", name, err, c.say)
		}
	}
	var rows *RowsError
	if _, _, _, err := Make(parse(t, noodles), Selection{Response: "hardness_N", Product: "layer-cake"}); !errors.As(err, &rows) {
		t.Errorf("no row with the response: %v, want *RowsError", err)
	}
}

func TestMakeFamilyAndBasis(t *testing.T) {
	m, _, fl, err := Make(parse(t, "lot,family,protein_pct,protein_basis,peak_mPas,springiness\nA,S,9,14 %,1,2\nB,S,9,as is,2,1\nC,,8,14 %,3,3\n"), Selection{Response: "springiness"})
	if err != nil {
		t.Fatal(err)
	}
	if f, _ := m.Grouping("family"); !slices.Equal(f, []string{"S", "S", "C"}) {
		t.Errorf("families %v", f)
	}
	if !slices.ContainsFunc(fl, func(f finding.Finding) bool { return f.Code == "pooled-differs" && f.At.Column == "protein_basis" }) {
		t.Errorf("two bases in one column: %v", fl)
	}
}
