package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// TestBands: lots ± 4 mL about 900 − 160·(pH − 4.75)², two flours 30 mL apart, so that
// the parabola is met exactly: optimum pH 4.75; 3 % of the mean maximum 915 are 27.45 mL,
// lost at 4.75 ± √(27.45/160). The peak in sucrose rises by 100 a pH unit.
func TestBands(t *testing.T) {
	var b strings.Builder
	b.WriteString("lot,family,treatment,peak_mPas@cake-sucrose50,volume_mL\n")
	for f, level := range map[string]float64{"A": 900, "B": 930} {
		for i := range 13 {
			pH := 4 + 0.125*float64(i)
			for k, e := range []float64{-4, 4} {
				fmt.Fprintf(&b, "%s%d-%d,%s,chlorinated pH %g,%g,%g\n", f, i, k, f, pH, 2500+100*pH, level-160*(pH-4.75)*(pH-4.75)+e)
			}
		}
	}
	b.WriteString("A-heat,A,heat-treated,2800,910\nA-none,A,none,2800,850\n")
	dir := t.TempDir()
	path, page := filepath.Join(dir, "t.csv"), filepath.Join(dir, "t.html")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	type interval struct{ Value, Low, High float64 }
	var r struct {
		Lots, Flours, Doses int
		Optimum             interval
		Limit               float64
		Below               *interval `json:"edge_below"`
		Above               *interval `json:"edge_above"`
		Zones               []struct {
			Zone     string
			From, To float64
		}
		Pasting []struct {
			Column string
			At     []struct{ Value float64 }
		}
		LeftOut  []struct{ Lot string } `json:"left_out"`
		Cautions []struct{ Topic, Text string }
	}
	callJSON(t, &r, "bands", path, "--figure", "volume_mL", "--dose", "pH", "-o", page)
	half := math.Sqrt(27.45 / 160)
	near := func(a, b float64) bool { return math.Abs(a-b) < 1e-6 }
	if r.Lots != 52 || r.Flours != 2 || r.Doses != 13 || !near(r.Optimum.Value, 4.75) || !near(r.Limit, 915-27.45) || !near(r.Below.Value, 4.75-half) || !near(r.Above.Value, 4.75+half) {
		t.Errorf("%+v", r)
	}
	if r.Optimum.Low >= 4.75 || r.Optimum.High <= 4.75 || r.Zones[0].Zone != "out of bounds" || r.Zones[0].From != 4 || len(r.Zones) != 7 || r.Zones[6].To != 5.5 {
		t.Errorf("zones %+v", r.Zones)
	}
	if len(r.Pasting) != 1 || !near(r.Pasting[0].At[1].Value, 2975) || len(r.LeftOut) != 2 {
		t.Errorf("pasting %+v, left out %+v", r.Pasting, r.LeftOut)
	}
	html, err := os.ReadFile(page)
	if err != nil || len(r.Cautions) != 2 || !strings.Contains(r.Cautions[0].Text, "banned in some countries") || !strings.Contains(string(html), "banned in some countries") {
		t.Errorf("cautions %+v, page %v", r.Cautions, err)
	}
	for name, args := range map[string][]string{
		"a limit above the maximum": {"--figure", "volume_mL", "--dose", "pH", "--least", "950"},
		"no such figure":            {"--figure", "volume", "--dose", "pH"},
		"no such dose":              {"--figure", "volume_mL", "--dose", "ppm"},
		"a figure without a bend":   {"--figure", "peak_mPas@cake-sucrose50", "--dose", "pH"},
		"two limits":                {"--figure", "volume_mL", "--dose", "pH", "--least", "850", "--loss", "2"},
		"no dose":                   {"--figure", "volume_mL"},
		"a loss of all":             {"--figure", "volume_mL", "--dose", "pH", "--loss", "100"},
	} {
		if _, stderr, code := call(t, append([]string{"bands", path}, args...)...); code != shell.ExitUsage {
			t.Errorf("%s: exit code %d, %s", name, code, stderr)
		}
	}
}
