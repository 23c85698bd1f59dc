package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
	"flourcast/work"
)

// TestFilipNamesItsCondition: the polynomial of degree 10 of NIST StRD Filip through
// the front door: seven digits of the certified coefficients, and a finding that
// names the condition number.
func TestFilipNamesItsCondition(t *testing.T) {
	f, err := os.Open("../../model/linear/testdata/nist/Filip.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	lines := []string{"lot,y,x1,x2,x3,x4,x5,x6,x7,x8,x9,x10"}
	for i, row := range rows[1:] {
		line := fmt.Sprintf("r%02d,%s", i, row[0])
		x, ok := new(big.Rat).SetString(row[1])
		if !ok {
			t.Fatal(row)
		}
		power := big.NewRat(1, 1)
		for range 10 {
			v, _ := power.Mul(power, x).Float64() // rounded once
			line += "," + strconv.FormatFloat(v, 'g', -1, 64)
		}
		lines = append(lines, line)
	}
	var res methodFit
	callJSON(t, &res, "fit", tableFile(t, lines...), "--response", "y", "--kind", "ols", "--repeats", "1", "--permutations", "0")
	// Certified: B0 and B10.
	for _, c := range []struct{ got, want float64 }{{res.Intercept, -1467.48961422980}, {res.Coefficients["x10"], -0.402962525080404e-04}} {
		if math.Abs(c.got/c.want-1) > 1e-7 {
			t.Errorf("%v, certified %v", c.got, c.want)
		}
	}
	said := ""
	for _, finding := range res.Findings {
		if finding.Code == "ill-conditioned" {
			said = finding.Found
		}
	}
	if want := fmt.Sprintf("%.3g", res.Condition); res.Condition < 1e9 || !strings.Contains(said, want) {
		t.Errorf("condition %v is not named in %q", res.Condition, said)
	}
}

// TestBadTables: what can be wrong with a table is said by the command, by name.
func TestBadTables(t *testing.T) {
	r := work.Rand(3, "bad tables")
	// table is n lots with a feature of each kind; change may spoil a line.
	table := func(n int, change func(i int, lot string, x []string, y string) string) string {
		lines := []string{"lot,a,b,c,y"}
		for i := range n {
			a, b, c := r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
			text := func(v float64) string { return fmt.Sprintf("%.4f", v) }
			lines = append(lines, change(i, fmt.Sprint("L", i), []string{text(a), text(b), text(c)}, text(5+a-b+0.2*r.NormFloat64())))
		}
		return tableFile(t, lines...)
	}
	line := func(lot string, x []string, y string) string {
		return strings.Join([]string{lot, x[0], x[1], x[2], y}, ",")
	}
	with := func(j int, cell func(i int, x []string) string) func(int, string, []string, string) string {
		return func(i int, lot string, x []string, y string) string {
			x[j] = cell(i, x)
			return line(lot, x, y)
		}
	}
	plain := func(_ int, lot string, x []string, y string) string { return line(lot, x, y) }
	for _, c := range []struct {
		name  string
		table string
		args  []string
		codes []int
		says  string // in the text, on stdout or stderr
	}{
		{"constant column", table(20, with(1, func(int, []string) string { return "7" })), []string{"--kind", "ols"}, []int{shell.ExitFailed}, "no variation in b"},
		{"duplicated column", table(20, with(1, func(_ int, x []string) string { return x[0] })), []string{"--kind", "ols"}, []int{shell.ExitFailed}, "b = a"},
		{"duplicated column by PLS", table(20, with(1, func(_ int, x []string) string { return x[0] })), []string{"--kind", "pls"}, []int{shell.ExitDone}, "components"},
		{"more features than lots", table(4, plain), []string{"--kind", "ols", "--folds", "loo"}, []int{shell.ExitFailed}, "training rows"},
		{"fewer lots than components", table(9, plain), []string{"--kind", "pls", "--components", "12", "--folds", "loo"}, []int{shell.ExitDone}, "components-lowered"},
		{"one lot", table(12, func(_ int, _ string, x []string, y string) string { return line("L", x, y) }), []string{"--kind", "pls"}, []int{shell.ExitUsage}, "lot"},
		{"one group", table(12, func(_ int, lot string, x []string, y string) string { return line(lot, x, y) }), []string{"--kind", "pls", "--folds", "year"}, []int{shell.ExitUsage}, "year"},
		{"response without variance", table(20, func(_ int, lot string, x []string, _ string) string { return line(lot, x, "5") }), []string{"--kind", "ridge"}, []int{shell.ExitFailed}, "the same y"},
		{"1e300", table(20, with(2, func(i int, _ []string) string { return fmt.Sprintf("%de300", i%7+1) })), []string{"--kind", "pls"}, []int{shell.ExitFailed}, "column c"},
		{"1e-300", table(20, with(2, func(i int, _ []string) string { return fmt.Sprintf("%de-300", i%7+1) })), []string{"--kind", "pls"}, []int{shell.ExitFailed}, "column c"},
		{"NaN", table(20, with(2, func(i int, x []string) string {
			if i == 4 {
				return "NaN"
			}
			return x[2]
		})), []string{"--kind", "pls"}, []int{shell.ExitDone}, "column c: 19 numbers and 1 texts"},
		{"no row whole", table(20, with(0, func(int, []string) string { return "" })), []string{"--kind", "pls", "--features", "b,c,a"}, []int{shell.ExitUsage, shell.ExitNothing}, "a"},
		{"a response of texts", table(20, func(_ int, lot string, x []string, _ string) string { return line(lot, x, "soft") }), []string{"--kind", "pls"}, []int{shell.ExitUsage}, "text"},
	} {
		stdout, stderr, code := call(t, append([]string{"fit", c.table, "--response", "y", "--repeats", "1", "--permutations", "0"}, c.args...)...)
		ok := false
		for _, want := range c.codes {
			ok = ok || code == want
		}
		if all := stdout + stderr; !ok || !strings.Contains(all, c.says) || strings.Contains(all, "panic") {
			t.Errorf("%s: exit code %d, want one of %v and %q in %.600s", c.name, code, c.codes, c.says, stderr+stdout)
		}
	}
}
