package measurement

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"flourcast/dataset"
	"flourcast/study/job"
)

func near(t *testing.T, what string, got *float64, want, tol float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > tol {
		t.Errorf("%s: got %v, want %v ± %v", what, shown(got), want, tol)
	}
}

func shown(v *float64) any {
	if v == nil {
		return "nothing"
	}
	return *v
}

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// duplicates are four lots with two runs each, and runs that must not count: a
// retest far off, a void run, another day.
const runsFile = `run,lot,method,tested_at,instrument,kind,status,reason
1,A,m,2025-01-01,V1,first,,
2,A,m,2025-01-01,V1,duplicate,,
3,B,m,2025-01-01,V1,first,,
4,B,m,2025-01-01,V1,duplicate,,
5,C,m,2025-01-02,V1,first,,
6,C,m,2025-01-02,V1,duplicate,,
7,D,m,2025-01-02,V1,first,,
8,D,m,2025-01-02,V1,duplicate,,
9,A,m,2025-01-01,V1,retest,,doubted
10,B,m,2025-01-01,V1,first,void,spilt
11,E,m,2025-01-03,V2,first,,
`

const values = `run,peak_mPas
1,2100
2,2150
3,2200
4,2230
5,2050
6,2090
7,2180
8,2120
9,9000
10,100
11,5000
`

// Figures by the formulas of ISO 5725-2 (from memory), computed by us by hand, as in
// package precision: mean 2140, s_r 32.7872, r 91.8041, s_L² 3079.1667.
func TestRepeatabilityOfRuns(t *testing.T) {
	q := RepeatabilityRequest{Files: dataset.Files{Runs: []string{write(t, "runs.csv", runsFile)}, Pasting: []string{write(t, "values.csv", values)}}}
	res, err := Repeatability(context.Background(), job.Env{}, q)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Groups) != 2 || res.Groups[0].Instrument != "V1" || res.Groups[1].Instrument != "V2" || len(res.Groups[0].Features) != 1 {
		t.Fatalf("groups %+v", res.Groups)
	}
	f := res.Groups[0].Features[0]
	near(t, "mean", &f.Mean, 2140, 1e-9)
	near(t, "s_r", f.RepeatSD, 32.7872, 5e-5)
	near(t, "r", f.RepeatLimit, 91.8041, 5e-5)
	near(t, "CV", f.CVPct, 100*32.7872/2140, 1e-4)
	near(t, "between", f.BetweenSD, math.Sqrt(3079.1667), 1e-4)
	near(t, "ratio", f.Ratio, math.Sqrt(3079.1667)/32.7872, 1e-4)
	if f.DF != 4 || f.Duplicated != 4 || f.TellsApart == nil || *f.TellsApart || len(f.Suspects) != 0 {
		t.Errorf("%+v", f)
	}
	alone := res.Groups[1].Features[0]
	if alone.RepeatSD != nil || alone.TellsApart != nil || alone.CVPct != nil || alone.Lots != 1 {
		t.Errorf("one run has repeatability: %+v", alone)
	}
	aside := map[string]int{}
	for _, a := range res.Aside {
		aside[a.Reason] = a.Runs
	}
	if aside["retest"] != 1 || aside["void"] != 1 {
		t.Errorf("set aside %v", res.Aside)
	}
}

// The same figures from a table; a lot that stands twice, for two products, counts once.
func TestRepeatabilityOfTable(t *testing.T) {
	table := "lot,product,method,peak_mPas,peak_mPas_n,peak_mPas_sd,peak_mPas_se\n"
	for lot, pair := range [][2]float64{{2100, 2150}, {2200, 2230}, {2050, 2090}, {2180, 2120}} {
		for _, product := range []string{"x", "y"} {
			sd := math.Abs(pair[0]-pair[1]) / math.Sqrt2
			table += fmt.Sprintf("L%d,%s,m,%v,2,%v,%v\n", lot, product, (pair[0]+pair[1])/2, sd, sd/math.Sqrt2)
		}
	}
	res, err := Repeatability(context.Background(), job.Env{}, RepeatabilityRequest{Table: write(t, "table.csv", table)})
	if err != nil {
		t.Fatal(err)
	}
	f := res.Groups[0].Features[0]
	near(t, "s_r", f.RepeatSD, 32.7872, 5e-5)
	near(t, "between", f.BetweenSD, math.Sqrt(3079.1667), 1e-4)
	if f.DF != 4 || res.Groups[0].Lots != 4 || res.Groups[0].Runs != 8 || !res.Findings.Has("session-not-stated") {
		t.Errorf("%+v of %+v", f, res.Groups[0])
	}
}

// A lot whose duplicates disagree is named, and its figures stay in s_r.
func TestSuspectsAreNamedAndKept(t *testing.T) {
	runs, rows := "run,lot,method,tested_at,instrument,kind\n", "run,peak_mPas\n"
	ss := 0.0
	for i := range 20 {
		a, b := 2000+30*float64(i), 2000+30*float64(i)+10+float64(i%3)
		if i == 7 {
			b = a + 300
		}
		ss += (a - b) * (a - b) / 2
		runs += fmt.Sprintf("a%d,L%d,m,2025-01-01,V1,first\nb%d,L%d,m,2025-01-01,V1,duplicate\n", i, i, i, i)
		rows += fmt.Sprintf("a%d,%v\nb%d,%v\n", i, a, i, b)
	}
	q := RepeatabilityRequest{Files: dataset.Files{Runs: []string{write(t, "runs.csv", runs)}, Pasting: []string{write(t, "values.csv", rows)}}}
	res, err := Repeatability(context.Background(), job.Env{}, q)
	if err != nil {
		t.Fatal(err)
	}
	f := res.Groups[0].Features[0]
	near(t, "s_r of all", f.RepeatSD, math.Sqrt(ss/20), 1e-9)
	near(t, "s_r without", f.SDWithoutOutliers, math.Sqrt((ss-45000)/19), 1e-9)
	if len(f.Suspects) != 1 || f.Suspects[0].Lot != "L7" || f.Suspects[0].Test != "Cochran" || f.Suspects[0].Standing != "outlier" || f.DF != 20 {
		t.Errorf("%+v", f)
	}
}

func TestMeasurementRefuses(t *testing.T) {
	ctx, env := context.Background(), job.Env{}
	single := dataset.Files{Pasting: []string{write(t, "v.csv", "lot,method,peak_mPas\nA,m,1000\nB,m,1100\n")}}
	var request *job.RequestError
	var nothing *job.NothingUsableError
	if _, err := Repeatability(ctx, env, RepeatabilityRequest{}); !errors.As(err, &request) {
		t.Error("neither table nor files: ", err)
	}
	if _, err := Repeatability(ctx, env, RepeatabilityRequest{Table: "t.csv", Files: single}); !errors.As(err, &request) {
		t.Error("table and files: ", err)
	}
	if _, err := Repeatability(ctx, env, RepeatabilityRequest{Files: single}); !errors.As(err, &nothing) {
		t.Error("no duplicates: ", err)
	}
	if _, err := Control(ctx, env, ControlRequest{Files: single}); !errors.As(err, &nothing) {
		t.Error("no control: ", err)
	}
	if _, err := Control(ctx, env, ControlRequest{Files: single, Features: []string{"hardness_N"}}); !errors.As(err, &request) {
		t.Error("no feature of a curve: ", err)
	}
	if _, err := Control(ctx, env, ControlRequest{Files: single, Base: -1}); !errors.As(err, &request) {
		t.Error("base below 0: ", err)
	}
}
