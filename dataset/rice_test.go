package dataset

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"

	"flourcast/dataset/assembly"
	"flourcast/finding"
)

// rice finds the cooked-rice set beside the module (Cuevas, Domingo & Sreenivasulu
// 2018, Rice 11:56, open access), which is read in place and not part of the
// project. A test that needs it says when it is not there.
func rice(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	for err == nil {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
	dir = filepath.Join(dir, "..", "shared", "reference", "cooked-rice")
	if _, err := os.Stat(filepath.Join(dir, "lots.csv")); err != nil {
		t.Skipf("the cooked-rice set is not at %s: the join of real data is NOT tested in this run", dir)
	}
	return dir
}

func joinRice(t *testing.T) (*Joined, string) {
	t.Helper()
	dir := rice(t)
	at := func(name string) []string { return []string{filepath.Join(dir, name)} }
	j, err := Join(context.Background(), Files{Lots: at("lots.csv"), Pasting: at("pasting.csv"), Texture: at("texture.csv")}, JoinOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return j, dir
}

func TestRiceJoins(t *testing.T) {
	j, dir := joinRice(t)
	if j.Table.Len() != 106 || j.Counts != (Counts{Read: 318, Accepted: 318}) || len(j.Unpaired) != 0 {
		t.Fatalf("%d rows, %+v, unpaired %v", j.Table.Len(), j.Counts, j.Unpaired)
	}
	if n := j.Findings.Count(finding.Refused); n != 0 || !j.Findings.Has("basis-missing") {
		t.Errorf("%d refused: %v", n, j.Findings)
	}
	want, fl, err := ReadTable(filepath.Join(dir, "table.csv"))
	if err != nil || want.Len() != 106 || fl.Count(finding.Refused) > 0 {
		t.Fatalf("%v %v", err, fl)
	}
	row := map[string]int{}
	for i := range j.Table.Len() {
		row[j.Table.Lot(i)] = i
	}
	numbers := 0
	for _, c := range want.Columns() {
		for i := range want.Len() {
			k, ok := row[want.Lot(i)]
			if !ok {
				t.Fatalf("lot %s is lost", want.Lot(i))
			}
			if !want.IsNumber(c) {
				a, _ := want.Text(c, i)
				if b, _ := j.Table.Text(c, k); a != b {
					t.Errorf("lot %s: %s = %q, want %q", want.Lot(i), c, b, a)
				}
				continue
			}
			a, _ := want.Number(c, i)
			// 1e-6 relative; the printed table has six decimals, half a unit of the last beside it.
			if b, ok := j.Table.Number(c, k); !ok || math.Abs(b-a) > 1e-6*math.Abs(a)+0.5e-6 {
				t.Errorf("lot %s: %s = %v %v, want %v", want.Lot(i), c, b, ok, a)
			}
			numbers++
		}
	}
	if numbers != 106*14 {
		t.Errorf("%d figures compared, want %d", numbers, 106*14)
	}
}

// Pearson correlations of facts.json (worked out with scikit-learn/NumPy from the
// same rows), to its four decimals.
func TestRiceCorrelations(t *testing.T) {
	j, dir := joinRice(t)
	data, err := os.ReadFile(filepath.Join(dir, "facts.json"))
	if err != nil {
		t.Fatal(err)
	}
	var facts struct {
		N int                           `json:"n"`
		R map[string]map[string]float64 `json:"pearson_r"`
	}
	if err := json.Unmarshal(data, &facts); err != nil {
		t.Fatal(err)
	}
	columns := map[string]string{"hardness": "hardness_N", "adhesiveness": "adhesiveness_Ns", "cohesiveness": "cohesiveness", "springiness": "springiness",
		"peak": "peak_mPas", "trough": "trough_mPas", "breakdown": "breakdown_mPas", "final": "final_mPas", "setback_peak": "setback_peak_mPas", "setback_trough": "setback_trough_mPas",
		"peak_time": "peak_time_s", "pasting_temp": "pasting_temp_C", "amylose": "amylose_pct", "protein": "protein_pct"}
	n := 0
	for response, of := range facts.R {
		for feature, want := range of {
			m, _, _, err := assembly.Make(j.Table, assembly.Selection{Response: columns[response], Features: []string{columns[feature]}})
			if err != nil {
				t.Fatal(err)
			}
			if got := stat.Correlation(m.Column(0), m.Y(), nil); m.N() != facts.N || math.Abs(got-want) > 0.5e-4 {
				t.Errorf("r(%s, %s) = %.4f over %d rows, want %.4f", response, feature, got, m.N(), want)
			}
			n++
		}
	}
	if n != 40 {
		t.Errorf("%d correlations, want 40", n)
	}
}

func TestRiceDefaultFeatures(t *testing.T) {
	j, _ := joinRice(t)
	m, a, _, err := assembly.Make(j.Table, assembly.Selection{Response: "hardness_N"})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"protein_pct", "amylose_pct", "pasting_temp_C", "peak_time_s", "peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "setback_peak_mPas"}
	if got := slices.Clone(m.Features()); m.N() != 106 || len(got) != len(want) || slices.ContainsFunc(want, func(f string) bool { return !slices.Contains(got, f) }) {
		t.Errorf("%d rows, features %v, want %v", m.N(), got, want)
	}
	if a.Product != "cooked-rice" || a.Method != "rice-general" || a.Solvent != "" {
		t.Errorf("%+v", a)
	}
}
