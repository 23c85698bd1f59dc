package ownblends

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func file(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func stock(name, column string) (float64, bool) {
	v, ok := map[string]float64{"A": 1800, "B": 2900}[name]
	return v, ok && column == "peak_mPas"
}

// What counts, and what is named instead: rows of one blend are averaged, a parent's own
// row stands before the stock.
func TestFromFiles(t *testing.T) {
	in := file(t, "blends.csv", "lot,parent_lot,share,peak_mPas\nM1,A + B,50 + 50,2300\nM1,,,2400\nM2,A + C,50 + 50,2100\nM3,A + B,50 + 20,2000\nM4,A + B,60 + 40,\nB,,,3000\n")
	made, found, err := FromFiles(in, "", nil, []string{"peak_mPas"}, stock)
	if err != nil {
		t.Fatal(err)
	}
	got := made["peak_mPas"]
	if len(got) != 1 || got[0].Name != "M1" || got[0].Measured != 2350 || got[0].Values[0] != 1800 || got[0].Values[1] != 3000 || got[0].Shares[1] != 0.5 {
		t.Errorf("%+v", got)
	}
	text := ""
	for _, f := range found {
		text += f.String() + "\n"
	}
	for _, want := range []string{"M2: no peak_mPas of its parent C", "M3: shares of its 2 parents add up to 0.70"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not said:\n%s", want, text)
		}
	}
	if strings.Contains(text, "M4") {
		t.Errorf("a blend that was not measured is named:\n%s", text)
	}
}

// Lots files of which one has the parents and another the shares' lot; figures are known
// by other means.
func TestFromLots(t *testing.T) {
	lots := file(t, "lots.csv", "lot,product,parent_lot,share\nA,p,,\nB,p,,\nM,p,A + B,25 + 75\nS,p,A,100\n")
	made, found, err := FromLots([]string{lots}, nil, []string{"peak_mPas", "final_mPas"}, func(name, column string) (float64, bool) {
		if name == "M" || name == "S" {
			return 2600, column == "peak_mPas"
		}
		return stock(name, column)
	})
	if err != nil || len(found) != 0 || len(made) != 1 || len(made["peak_mPas"]) != 1 || made["peak_mPas"][0].Shares[0] != 0.25 {
		t.Errorf("%v: %+v", err, made)
	}
}

// Every blend whose parents and itself are measured is there once, and no other.
func TestEachBlendCountsOnce(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(0, 12).Draw(rt, "blends")
		text, want := "lot,parent_lot,share,peak_mPas\n", 0
		for i := range n {
			parent := rapid.SampledFrom([]string{"B", "nobody"}).Draw(rt, "parent")
			share := rapid.IntRange(10, 90).Draw(rt, "share")
			peak := ""
			if rapid.Bool().Draw(rt, "measured") {
				peak = "2500"
			}
			if parent == "B" && peak != "" {
				want++
			}
			text += fmt.Sprintf("M%d,A + %s,%d + %d,%s\n", i, parent, share, 100-share, peak)
		}
		made, _, err := FromFiles(file(t, "b.csv", text), "", nil, []string{"peak_mPas"}, stock)
		if err != nil {
			rt.Fatal(err)
		}
		if got := len(made["peak_mPas"]); got != want {
			rt.Fatalf("%d blends, want %d of\n%s", got, want, text)
		}
	})
}

func FuzzFromFiles(f *testing.F) {
	f.Add("lot,parent_lot,share,peak_mPas\nM1,A + B,50 + 50,2300\n")
	f.Add("lot;parent_lot;share\nM;A+B;1/2\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		made, _, err := FromFiles(file(t, "b.csv", text), "", nil, []string{"peak_mPas"}, stock)
		for _, m := range made["peak_mPas"] {
			if err == nil && len(m.Values) != len(m.Shares) {
				t.Errorf("%+v", m)
			}
		}
	})
}
