package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// The stock of three flours whose cheapest blend is known by hand: 6/11 and 5/11.
func stockFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "stock.csv")
	text := "flour,price,stock_t,peak_mPas,protein_pct\nA,300,50,1800,9.0\nB,360,50,2900,11.5\nC,330,50,2300,9.5\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestBlend(t *testing.T) {
	stock := stockFile(t)
	type answer struct {
		Schema       string
		Feasible     bool
		Shares       map[string]float64
		Cost         *float64
		Binding      []string
		ShadowPrices map[string]float64 `json:"shadow_prices"`
		Findings     []struct{ Code string }
	}
	ask := func(want int, flags ...string) (a answer, errs string) {
		t.Helper()
		out, errs, code := call(t, append([]string{"blend", stock, "--json"}, flags...)...)
		if code != want {
			t.Fatalf("%v: code %d, want %d: %s", flags, code, want, errs)
		}
		if err := json.Unmarshal([]byte(out), &a); err != nil && want != shell.ExitUsage {
			t.Fatal(err)
		}
		return a, errs
	}
	a, _ := ask(0, "--limits", "peak_mPas=2300..2500,protein_pct=9.8..", "--mixing", "linear")
	if a.Schema != "flourcast.blend/1" || !a.Feasible || math.Abs(a.Shares["A"]-6./11) > 1e-9 || math.Abs(a.Shares["B"]-5./11) > 1e-9 || a.Shares["C"] != 0 ||
		math.Abs(*a.Cost-327.2727) > 1e-4 || !slices.Equal(a.Binding, []string{"peak_mPas"}) || math.Abs(a.ShadowPrices["peak_mPas"]-0.0545455) > 1e-7 || a.Findings == nil {
		t.Errorf("%+v", a)
	}
	if _, errs := ask(shell.ExitUsage); !strings.Contains(errs, "flourcast: --limits: found no limits, expected") {
		t.Errorf("the flag that is to be mended is not named: %s", errs)
	}
	a, _ = ask(0, "--limits", "peak_mPas=2300..2500", "--max-flours", "1")
	if a.Shares["C"] != 1 || *a.Cost != 330 {
		t.Errorf("one flour: %+v", a)
	}
	a, errs := ask(shell.ExitNothing, "--limits", "peak_mPas=2300..2500,protein_pct=11..")
	if a.Feasible || a.Cost != nil || len(a.Shares) != 0 || !slices.Equal(a.Binding, []string{"peak_mPas", "protein_pct"}) || !strings.Contains(errs, "peak_mPas at most 2500 and protein_pct at least 11") {
		t.Errorf("infeasible: %+v\n%s", a, errs)
	}
	a, errs = ask(shell.ExitNothing, "--limits", "peak_mPas=2300..2500,protein_pct=9.8..", "--max-flours", "1")
	if !strings.Contains(errs, "with 2 flours") || len(a.Binding) != 1 {
		t.Errorf("one flour: %+v\n%s", a, errs)
	}
	for _, bad := range [][]string{{}, {"--limits", "peak_mPas"}, {"--limits", "peak_mPas=2..1"}, {"--limits", "peak_mPas=1..", "--mixing", "best"}, {"--limits", "peak_mPas=1..", "--max-flours", "0"}, {"--limits", "ash_pct=..1"}, {"--shares", "A"}, {"--shares", "A=x"}, {"--shares", "A=0.5,A=0.5"}, {"--limits", "peak_mPas=1..", "--mixing", "measured"}} {
		ask(shell.ExitUsage, bad...)
	}
	ask(shell.ExitShort, "--shares", "A=1", "--limits", "peak_mPas=2300..", "--strict")

	page := filepath.Join(t.TempDir(), "blend.html")
	out, errs, code := call(t, "blend", stock, "--limits", "peak_mPas=2300..2500,protein_pct=9.8..", "--tonnes", "30", "-o", page)
	if code != 0 || !strings.Contains(out, "9818.16") || !strings.Contains(out, "Make the blend and run it before you promise it") {
		t.Errorf("code %d\n%s%s", code, out, errs)
	}
	if data, err := os.ReadFile(page); err != nil || !strings.Contains(string(data), "9818.16") {
		t.Errorf("page: %v", err)
	}
}
