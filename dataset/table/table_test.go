package table_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	. "flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/finding"
)

const noodles = `lot,product,crop_year,peak_mPas,peak_mPas_n,breakdown_mPas,protein_pct,hardness_N,hardness_N_se,springiness,remark
0012,white-salted-noodle,2023,2410.5,2,801,9.1,3.5,0.1,0.91,first
0013,white-salted-noodle,2023,2300,2,700,9.9,3.9,0.2,0.9,
0014,white-salted-noodle,2024,2500,1,,9.4,3.6,0.1,0.92,late
L-15,layer-cake,2024,2600,2,900,8.1,,,,
`

func parse(t *testing.T, text string) *Table {
	t.Helper()
	tab, fl, err := tablefile.Parse("t.csv", []byte(text), "")
	if err != nil {
		t.Fatalf("%v %v", err, fl)
	}
	return tab
}

func TestParseTypesColumns(t *testing.T) {
	tab := parse(t, "lot,crop_year,silo,code,mass,peak_mPas,free\n0012,2023,7,007,1.5,2410,a\n0013,2024,8,12,,1e3,\n")
	for name, want := range map[string]bool{"lot": false, "crop_year": false, "silo": true, "code": false, "mass": true, "peak_mPas": true, "free": false, "nowhere": false} {
		if got := tab.IsNumber(name); got != want {
			t.Errorf("IsNumber(%s) = %v, want %v", name, got, want)
		}
	}
	if got := tab.Lot(0); got != "0012" {
		t.Errorf("lot %q, want 0012", got)
	}
	if _, ok := tab.Number("mass", 1); ok {
		t.Error("an empty cell counts as a figure")
	}
	if v, ok := tab.Number("peak_mPas", 1); !ok || v != 1000 {
		t.Errorf("peak %v %v, want 1000", v, ok)
	}
}

func TestParseRefusesAndDoubts(t *testing.T) {
	cases := []struct {
		name, text, code string
		severity         finding.Severity
		rows             int
	}{
		{"row without lot", "lot,x\nA,1\n,2\n", "lot-missing", finding.Refused, 1},
		{"text in a trait", "lot,peak_mPas\nA,high\nB,2\n", "", finding.Doubt, 2},
		{"column twice", "lot,x,x\nA,1,2\n", "header-duplicate", finding.Refused, 1},
		{"mixed column", "lot,x\nA,1\nB,2\nC,n.d.\n", "column-mixed", finding.Doubt, 3},
		{"a trait in other words", "lot,peak viscosity\nA,1\n", "header-reads-as-trait", finding.Note, 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			tab, fl, err := tablefile.Parse("t.csv", []byte(c.text), "")
			if err != nil {
				t.Fatal(err)
			}
			if tab.Len() != c.rows {
				t.Errorf("%d rows, want %d", tab.Len(), c.rows)
			}
			if !slices.ContainsFunc(fl, func(f finding.Finding) bool {
				return f.Severity == c.severity && (c.code == "" || f.Code == c.code)
			}) {
				t.Errorf("findings %v, want %s %s", fl, c.severity, c.code)
			}
		})
	}
}

func TestParseErrors(t *testing.T) {
	var empty *tablefile.EmptyError
	if _, _, err := tablefile.Parse("t.csv", []byte("lot,x\n"), ""); !errors.As(err, &empty) {
		t.Errorf("header only: %v, want *tablefile.EmptyError", err)
	}
	var column *ColumnError
	if _, _, err := tablefile.Parse("t.csv", []byte("Flour,x\nA,1\n"), "flour"); !errors.As(err, &column) || !slices.Equal(column.Near, []string{"Flour"}) {
		t.Errorf("misspelt group: %v, want *ColumnError proposing Flour", err)
	}
}

func TestNewRefuses(t *testing.T) {
	lots := column.Text("lot", []string{"A", "B"})
	for name, columns := range map[string][]column.Column{
		"no lot column":   {column.Text("x", []string{"A", "B"})},
		"lot absent":      {column.Text("lot", []string{"A", ""})},
		"lots as numbers": {column.Numbers("lot", []float64{1, 2}, []bool{true, true})},
		"name twice":      {lots, lots},
		"no name":         {lots, column.Text(" ", []string{"", ""})},
		"lengths":         {lots, column.Text("x", []string{"A"})},
		"NaN":             {lots, column.Numbers("x", []float64{1, math.NaN()}, []bool{true, true})},
		"Inf":             {lots, column.Numbers("x", []float64{1, math.Inf(1)}, []bool{true, true})},
	} {
		if _, err := New("lot", columns...); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// equal compares every cell, its presence and its bits.
func equal(a, b *Table) error {
	if !slices.Equal(a.Columns(), b.Columns()) || a.Len() != b.Len() || a.LotColumn() != b.LotColumn() {
		return fmt.Errorf("shapes %q %d and %q %d", a.Columns(), a.Len(), b.Columns(), b.Len())
	}
	for _, c := range a.Columns() {
		if a.IsNumber(c) != b.IsNumber(c) {
			return fmt.Errorf("%s: types differ", c)
		}
		for i := range a.Len() {
			s, ok := a.Text(c, i)
			s2, ok2 := b.Text(c, i)
			v, _ := a.Number(c, i)
			v2, _ := b.Number(c, i)
			if s != s2 || ok != ok2 || math.Float64bits(v) != math.Float64bits(v2) {
				return fmt.Errorf("%s row %d: %q %v and %q %v", c, i, s, ok, s2, ok2)
			}
		}
	}
	return nil
}

func TestCSVRoundTrip(t *testing.T) {
	text := rapid.OneOf(rapid.SampledFrom([]string{"", "0012", "1", "1.234", "a;b", `say "so"`, "two\nlines", "µ °C", "NaN", "2023+2024", "\ufeffx", "=1+1", "-", "mPa·s", "s"}), rapid.String())
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(rt, "rows")
		lots := rapid.SliceOfN(text, n, n).Draw(rt, "lots")
		for i := range lots {
			lots[i] = fmt.Sprint("L", i, lots[i])
		}
		columns := []column.Column{column.Text("lot", lots), column.Text("supplier", rapid.SliceOfN(text, n, n).Draw(rt, "suppliers"))}
		values, present := make([]float64, n), make([]bool, n)
		for i := range n {
			values[i] = rapid.Float64().Draw(rt, "value")
			present[i] = rapid.Bool().Draw(rt, "present")
		}
		// Every row of a joined table has a figure; one of text only could pass for a row of units.
		columns = append(columns, column.Numbers("final_mPas", values, slices.Repeat([]bool{true}, n)), column.Numbers("peak_mPas", values, present), column.Numbers("peak_mPas@noodle-water_n", values, present),
			column.Guess("free, by name", rapid.SliceOfN(text, n, n).Draw(rt, "free")))
		tab, err := New("lot", columns...)
		if err != nil {
			rt.Fatal(err)
		}
		var b bytes.Buffer
		if err := tab.WriteCSV(&b); err != nil {
			rt.Fatal(err)
		}
		back, fl, err := tablefile.Parse("t.csv", b.Bytes(), "")
		if err != nil {
			rt.Fatalf("%v\n%q", err, b.String())
		}
		if err := equal(tab, back); err != nil {
			rt.Fatalf("%v\n%q\n%v", err, b.String(), fl)
		}
		if tab.Digest() != back.Digest() {
			rt.Fatal("digests differ")
		}
	})
}

func TestWhereRowsValuesDigest(t *testing.T) {
	tab := parse(t, noodles)
	if got := tab.Values("crop_year"); !slices.Equal(got, []string{"2023", "2024"}) {
		t.Errorf("crop years %v", got)
	}
	w := tab.Where("crop_year", "2024")
	if w.Len() != 2 || w.Lot(0) != "0014" || w.Lot(1) != "L-15" {
		t.Errorf("Where found %d rows", w.Len())
	}
	if w.Digest() == tab.Digest() || w.Digest() != tab.Rows([]int{2, 3}).Digest() {
		t.Error("the digest does not follow the cells")
	}
	if tab.Where("crop_year", "1999").Len() != 0 || tab.Where("nowhere", "x").Len() != 0 {
		t.Error("Where invents rows")
	}
}

func TestFrameKeepsTypes(t *testing.T) {
	f := tablefile.Frame(parse(t, noodles))
	if f.Err != nil || f.Nrow() != 4 || f.Ncol() != 11 {
		t.Fatalf("%v, %d×%d", f.Err, f.Nrow(), f.Ncol())
	}
	if got := f.Col("lot").Elem(0).String(); got != "0012" {
		t.Errorf("lot %q", got)
	}
	if got := f.Col("breakdown_mPas"); !got.Elem(2).IsNA() || got.Elem(0).Float() != 801 {
		t.Errorf("breakdown %v", got)
	}
	if !f.Col("remark").Elem(3).IsNA() {
		t.Error("an absent text is not NA")
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(noodles), "")
	f.Add([]byte("Los;Spitze (cP);n\n0012;2410,5;2\n"), "Los")
	f.Add([]byte("a,b,b,\n1,2\n,,,\n\"x\n"), "b")
	f.Add([]byte("\xff\xfel\x00o\x00t\x00\n\x00A\x00"), "")
	f.Fuzz(func(t *testing.T, data []byte, lot string) {
		tab, _, err := tablefile.Parse("f.csv", data, lot)
		if err != nil {
			return
		}
		if tab.Len() == 0 || strings.TrimSpace(tab.Lot(0)) == "" {
			t.Fatal("a table without rows, or a row without a lot")
		}
		for _, c := range tab.Columns() {
			for i := range tab.Len() {
				if v, ok := tab.Number(c, i); ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
					t.Fatalf("%s row %d: %v", c, i, v)
				}
			}
			if tab.IsNumber(c) {
				assembly.Make(tab, assembly.Selection{Response: c})
			}
		}
	})
}
