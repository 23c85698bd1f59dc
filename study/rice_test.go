package study

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/dataset/tablefile"
	"flourcast/eval/direction"
	"flourcast/eval/verdict"
	"flourcast/study/card"
)

// riceFolder holds pasting and texture of 106 rice samples (Cuevas, Domingo &
// Sreenivasulu 2018, Rice 11:56; its SOURCE.md says more). It is read in place
// and is no part of this project.
const riceFolder = "../../shared/reference/cooked-rice"

func testEnv() Env {
	return Env{Clock: func() time.Time { return time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) }, Version: "test", Seed: 1}
}

func riceTable(t *testing.T) *JoinResult {
	t.Helper()
	if _, err := os.Stat(riceFolder); err != nil {
		t.Skipf("the published rice set is not beside the project (%v): this check against real data did NOT run", err)
	}
	in := func(name string) []string { return []string{filepath.Join(riceFolder, name)} }
	res, err := Join(context.Background(), testEnv(), JoinRequest{
		Files: dataset.Files{Lots: in("lots.csv"), Pasting: in("pasting.csv"), Texture: in("texture.csv")},
		Out:   filepath.Join(t.TempDir(), "table.csv"),
	})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// riceFacts are figures computed from the same rows with scikit-learn 1.2.1.
type riceFacts struct {
	R  map[string]map[string]float64 `json:"pearson_r"`
	Q2 map[string][]float64          `json:"q2_pls_1_to_6_components_10fold_x10"`
}

func readRiceFacts(t *testing.T) riceFacts {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(riceFolder, "facts.json"))
	if err != nil {
		t.Fatal(err)
	}
	var f riceFacts
	if err := json.Unmarshal(data, &f); err != nil {
		t.Fatal(err)
	}
	return f
}

var riceResponses = map[string]string{"hardness": "hardness_N", "adhesiveness": "adhesiveness_Ns", "cohesiveness": "cohesiveness", "springiness": "springiness"}

func TestRiceJoinsWithNoneLost(t *testing.T) {
	res := riceTable(t)
	if res.Rows != 106 || res.Refused != 0 || res.Waiting != 0 || res.Read != 3*106 || len(res.Unpaired) != 0 {
		t.Errorf("rows %d, read %d, waiting %d, refused %d, unpaired %d; want 106, 318, 0, 0, 0", res.Rows, res.Read, res.Waiting, res.Refused, len(res.Unpaired))
	}
}

func TestRiceCorrelationsAndErrorsOfPLS(t *testing.T) {
	joined := riceTable(t)
	facts := readRiceFacts(t)
	features := []string{"pasting_temp_C", "peak_mPas", "trough_mPas", "final_mPas", "peak_time_s", "protein_pct"}
	columns := map[string]string{"pasting_temp": "pasting_temp_C", "peak": "peak_mPas", "trough": "trough_mPas", "breakdown": "breakdown_mPas", "final": "final_mPas",
		"setback_peak": "setback_peak_mPas", "setback_trough": "setback_trough_mPas", "peak_time": "peak_time_s", "protein": "protein_pct", "amylose": "amylose_pct"}
	for name, response := range riceResponses {
		res, err := Fit(context.Background(), testEnv(), FitRequest{Table: joined.Joined.Table, Response: response, Features: features, Kind: "pls", Repeats: 10})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if res.N != 106 {
			t.Errorf("%s: %d rows", name, res.N)
		}
		r := map[string]float64{}
		for _, x := range res.Relations {
			r[x.Feature] = x.R
		}
		for fact, want := range facts.R[name] {
			got, ok := r[columns[fact]]
			if !ok || math.Abs(got-want) > 5.1e-5 { // printed to 4 decimals
				t.Errorf("%s with %s: r %v (%v), want %v", name, fact, got, ok, want)
			}
		}
		for a, want := range facts.Q2[name] {
			if got := res.CV.Path[a].Q2; math.Abs(got-want) > 0.05 {
				t.Errorf("%s, %d components: Q² %.3f, want %.3f ± 0.05", name, a+1, got, want)
			}
		}
	}
}

// What the checks make of measured rice: hardness is not told by pasting, and every
// direction is open; adhesiveness is, no published rule of ours covers it, and a
// laboratory's own two rules are confirmed.
func TestWholeRiceVerdicts(t *testing.T) {
	joined := riceTable(t)
	fit := func(response string, own ...direction.Rule) *FitResult {
		res, err := Fit(context.Background(), testEnv(), FitRequest{Table: joined.Joined.Table, Response: response, Kind: "pls", Repeats: 10, Permutations: 199, Rules: own})
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	outcome := func(r *FitResult, check string) string {
		for _, c := range r.Verdict.Checks {
			if c.Name == check {
				return c.Outcome
			}
		}
		return ""
	}
	rules := func(text string) []direction.Rule {
		own, found, err := direction.ReadRules("own.csv", []byte("id,product,feature,solvent,response,kind,sign,standing,evidence,source\n"+text))
		if err != nil || len(own) != 2 {
			t.Fatal(err, found)
		}
		return own
	}
	h := fit("hardness_N", rules(`own-3,cooked-rice,peak_mPas,any,hardness_N,instrumental,-,established,own data,laboratory notebook
own-4,cooked-rice,breakdown_mPas,any,hardness_N,instrumental,-,established,own data,laboratory notebook
`)...)
	if h.Verdict.Standing != verdict.NotFitForUse || math.Abs(h.CV.Q2) > 0.1 {
		t.Errorf("hardness (Q² %.2f) is %s: pasting values do not tell it here", h.CV.Q2, h.Verdict.Standing)
	}
	asked := 0
	for _, d := range h.Directions {
		if d.Applies {
			asked++
		}
		if d.Outcome != direction.CannotTell {
			t.Errorf("hardness: %s is %s, want cannot tell", d.Rule.ID, d.Outcome)
		}
	}
	if asked != 2 {
		t.Errorf("hardness: %d rules applied, want the laboratory's two", asked)
	}
	a := fit("adhesiveness_Ns")
	if a.Verdict.Standing != verdict.Provisional || a.Verdict.Grade != verdict.RanksLots || outcome(a, verdict.CheckCovered) != verdict.Caution {
		t.Errorf("adhesiveness: %s, grade %q; want provisional, ranks lots, a caution that no rule covers it", a.Verdict.Standing, a.Verdict.Grade)
	}
	if a.CV.Q2 < 0.2 || a.CV.Q2 > 0.4 {
		t.Errorf("adhesiveness: Q² %.2f, want about 0.3", a.CV.Q2)
	}
	b := fit("adhesiveness_Ns", rules(`own-1,cooked-rice,setback_peak_mPas,any,adhesiveness_Ns,instrumental,-,contextual,own data,laboratory notebook
own-2,cooked-rice,breakdown_mPas,any,adhesiveness_Ns,instrumental,+,contextual,own data,laboratory notebook
`)...)
	confirmed := 0
	for _, d := range b.Directions {
		if strings.HasPrefix(d.Rule.ID, "own-") && d.Outcome == direction.Confirmed {
			confirmed++
			if want := map[string]float64{"own-1": -0.56, "own-2": 0.41}[d.Rule.ID]; math.Abs(*d.R-want) > 0.01 || d.N != 106 {
				t.Errorf("%s: r %.3f over %d lots, want %.2f over 106", d.Rule.ID, *d.R, d.N, want)
			}
		}
	}
	if confirmed != 2 || outcome(b, verdict.CheckCovered) != verdict.Pass {
		t.Errorf("%d of the laboratory's two rules confirmed: %+v", confirmed, b.Directions)
	}
}

// TestFitReadsAnyTable: a scientist's own table, first column the lot.
func TestFitReadsAnyTable(t *testing.T) {
	path := filepath.Join(t.TempDir(), "own.csv")
	text := "batch,a,b,y\n"
	for i := range 24 {
		x, z := float64(i%7), float64((i*5)%11)
		text += "B" + string(rune('a'+i)) + "," + num(x) + "," + num(z) + "," + num(3+2*x-z+0.1*float64(i%3)) + "\n"
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	tab, found, err := tablefile.Read(path, "")
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "m.json")
	res, err := Fit(context.Background(), testEnv(), FitRequest{Table: tab, TableFindings: found, Response: "y", Kind: "ols", Out: out})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(res.Coefficients["a"]-2) > 0.1 || math.Abs(res.Coefficients["b"]+1) > 0.1 || res.N != 24 {
		t.Errorf("coefficients %v of %d rows", res.Coefficients, res.N)
	}
	if res.OLSFigures == nil || res.StandardErrors["(intercept)"] <= 0 || res.R2 < 0.99 {
		t.Errorf("least-squares figures %+v", res.OLSFigures)
	}
	c, err := card.Read(out)
	if err != nil {
		t.Fatal(err)
	}
	if c.Response != "y" || len(c.Training) != 24 {
		t.Errorf("model file: response %s, %d rows", c.Response, len(c.Training))
	}
}

func num(v float64) string { data, _ := json.Marshal(v); return string(data) }
