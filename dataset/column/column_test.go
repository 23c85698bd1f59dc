package column

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestGuess(t *testing.T) {
	for _, c := range []struct {
		name  string
		cells []string
		want  bool
	}{
		{"lot", []string{"12", "13"}, false},
		{"crop_year", []string{"2023"}, false},
		{"replicate", []string{"1"}, false},
		{"protein_basis", []string{"14"}, false},
		{"peak_mPas", []string{"1"}, true},
		{"peak_mPas", []string{""}, true},
		{"peak_mPas@ours_sd", []string{""}, true},
		{"supplier_n", []string{"x"}, false},
		{"mine", []string{"1", "-2.5e3", "", "NA"}, true},
		{"mine", []string{"0012", "13"}, false},
		{"mine", []string{"0.5", "0"}, true},
		{"mine", []string{"1", "n.d."}, false},
		{"mine", []string{"", "-"}, false},
		{"mine", []string{"NaN", "Inf"}, false},
		{"mine", []string{"0x10"}, false},
		{"mine", []string{"1e999"}, false},
	} {
		if got := Guess(c.name, c.cells).IsNumber(); got != c.want {
			t.Errorf("Guess(%s, %q) is number: %v, want %v", c.name, c.cells, got, c.want)
		}
	}
}

func TestCompanion(t *testing.T) {
	for name, want := range map[string]string{"peak_mPas_sd": "peak_mPas", "hardness_N_n": "hardness_N", "protein_pct_claimed": "protein_pct",
		"peak_mPas@noodle-water_se": "peak_mPas@noodle-water", "peak_mPas": "", "_sd": ""} {
		if got, _ := Companion(name); got != want {
			t.Errorf("Companion(%s) = %q, want %q", name, got, want)
		}
	}
}

func TestCellsAndNumbers(t *testing.T) {
	c := Numbers("x", []float64{1.5, math.NaN(), -0.1}, []bool{true, false, true})
	if s, ok := c.Cell(2); s != "-0.1" || !ok {
		t.Errorf("cell %q %v", s, ok)
	}
	if _, ok := c.Number(1); ok || c.Check() != nil {
		t.Error("an absent cell has a number")
	}
	if Numbers("x", []float64{math.Inf(1)}, []bool{true}).Check() == nil {
		t.Error("an infinite number passes")
	}
	p := c.Pick([]int{2, 0})
	if v, _ := p.Number(0); v != -0.1 || p.Len() != 2 {
		t.Errorf("picked %v of %d", v, p.Len())
	}
	if !Text("x", []string{" ", "\x00"}).Empty() || c.Empty() {
		t.Error("Empty is wrong")
	}
}

func TestCleanIsStable(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := Clean(rapid.String().Draw(rt, "text"))
		if Clean(s) != s {
			rt.Fatalf("%q becomes %q", s, Clean(s))
		}
	})
	if got := Clean(" \ufeffa\x00\xffb\r\n "); got != "ab" {
		t.Errorf("%q", got)
	}
}

func TestGuessReadsItsOwnCells(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64(), 1, 8).Draw(rt, "values")
		c := Numbers("mine", values, slices.Repeat([]bool{true}, len(values)))
		cells := make([]string, len(values))
		for i := range cells {
			cells[i], _ = c.Cell(i)
		}
		back := Guess("mine", cells)
		for i, v := range values {
			if got, ok := back.Number(i); !ok || math.Float64bits(got) != math.Float64bits(v) {
				rt.Fatalf("%v written %q read %v %v", v, cells[i], got, ok)
			}
		}
	})
}

func TestExpand(t *testing.T) {
	columns := []string{"lot", "v_0000s", "v_0004s", "v_0004s_sd", "peak_mPas@a", "peak_mPas@b"}
	for _, c := range []struct{ names, want []string }{
		{[]string{"v_*"}, []string{"v_0000s", "v_0004s"}},
		{[]string{"*@b", "v_0000s"}, []string{"peak_mPas@b", "v_0000s"}},
		{[]string{"v_0004*s"}, []string{"v_0004s"}},
		{[]string{"w_*"}, []string{"w_*"}}, // nothing fits: whoever reads the name says so
		{[]string{"v_0004s*s"}, []string{"v_0004s*s"}},
		{nil, nil},
	} {
		if got := Expand(c.names, columns); !slices.Equal(got, c.want) {
			t.Errorf("%v became %v, want %v", c.names, got, c.want)
		}
	}
}
