package pairing

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/forecast/pairs"
	"flourcast/study/job"
)

func run(t *testing.T, text string, q Request) (*Result, error) {
	t.Helper()
	q.File = filepath.Join(t.TempDir(), "table.csv")
	if err := os.WriteFile(q.File, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return Pairs(context.Background(), job.Env{}, q)
}

const peaks = `lot,falling_number_s,peak_mPas@noodle-water,peak_mPas@noodle-water_n,peak_mPas@noodle-water_sd,peak_mPas@noodle-inhibited,peak_mPas@noodle-inhibited_n,peak_mPas@noodle-inhibited_sd
SOUND,350,2700,2,20,3000,2,20
WAXY,180,2650,2,20,3000,2,20
RAIN,120,1500,2,20,3000,2,20
ALONE,150,1600,2,20,,,
ODD,400,3300,2,20,3000,2,20
`

// A lot that a low falling number accuses is acquitted, convicted, or asked for its
// pair; an inhibited peak below that in water is doubted.
func TestAmylaseFindings(t *testing.T) {
	res, err := run(t, peaks, Request{Kind: Amylase})
	if err != nil {
		t.Fatal(err)
	}
	answers := map[string]pairs.Answer{}
	for _, l := range res.Amylase.Lots {
		answers[l.Lot] = l.Governed
	}
	if len(answers) != 4 || answers["SOUND"] != pairs.Contradicted || answers["WAXY"] != pairs.Contradicted || answers["RAIN"] != pairs.Confirmed {
		t.Errorf("%v", answers)
	}
	if res.Amylase.Lots[0].Lot != "RAIN" || !slices.Equal(res.Amylase.Unpaired, []string{"ALONE"}) {
		t.Errorf("first %s, unpaired %v", res.Amylase.Lots[0].Lot, res.Amylase.Unpaired)
	}
	for _, code := range []string{"amylase-governs", "falling-number-not-amylase", "falling-number-unpaired", "inhibited-lower"} {
		if !res.Findings.Has(code) {
			t.Errorf("no %s in %v", code, res.Findings)
		}
	}
	if res.Findings.Has("repeatability-carried-over") || res.Findings.Has("repeatability-unknown") {
		t.Errorf("both columns have duplicates: %v", res.Findings)
	}
}

// Without duplicates there is no interval and no answer; stated repeatability gives
// both back, of one column or the other.
func TestRepeatabilityIsNeeded(t *testing.T) {
	const single = "lot,peak_mPas@noodle-water,peak_mPas@noodle-inhibited\nRAIN,1500,3000\n"
	res, err := run(t, single, Request{Kind: Amylase})
	if err != nil || res.Amylase.Lots[0].Index.Low != nil || res.Amylase.Lots[0].Governed != pairs.CannotTell || !res.Findings.Has("repeatability-unknown") {
		t.Errorf("%+v, %v", res, err)
	}
	res, err = run(t, single, Request{Kind: Amylase, Repeatability: map[string]float64{"peak_mPas@noodle-water": 20, "peak_mPas@noodle-inhibited": 30}})
	if err != nil || res.Amylase.Lots[0].Governed != pairs.Confirmed || res.Findings.Count(finding.Doubt) != 1 {
		t.Errorf("stated: %+v, %v", res, err)
	}
	res, err = run(t, "lot,peak_mPas@noodle-water,peak_mPas@noodle-water_n,peak_mPas@noodle-water_sd,peak_mPas@noodle-inhibited\nRAIN,1500,2,20,3000\nSUN,2000,2,25,2300\n", Request{Kind: Amylase})
	if err != nil || res.Amylase.Lots[0].Governed != pairs.Confirmed || !res.Findings.Has("repeatability-carried-over") {
		t.Errorf("duplicates in water alone: %+v, %v", res, err)
	}
}

// Twins are found by family; a lot without one untreated twin is named, and a
// chlorinated flour brings its caution.
func TestTwins(t *testing.T) {
	const table = `lot,treatment,family,peak_mPas@cake-sucrose50,peak_mPas@cake-sucrose50_n,peak_mPas@cake-sucrose50_sd
A,none,A,1000,2,10
A-cl,chlorinated pH 4.7,A,1400,2,10
B,untreated,B,1100,2,12
B-cl,chlorinated,B,1500,2,12
C-cl,chlorinated,C,1500,2,9
D,,D,1200,2,9
D-heat,heat,D,1500,2,9
`
	res, err := run(t, table, Request{Kind: Treatment})
	if err != nil {
		t.Fatal(err)
	}
	if want := []Twins{{"A", "A-cl", treatment.Chlorinated, "chlorinated pH 4.7"}, {"B", "B-cl", treatment.Chlorinated, "chlorinated"}}; !slices.Equal(res.Treatment.Pairs, want) {
		t.Errorf("%v", res.Treatment.Pairs)
	}
	if n := len(res.Findings.With(finding.Doubt)); n != 2 || !res.Findings.Has("twin-not-found") {
		t.Errorf("C-cl and D-heat have no untreated twin: %v", res.Findings)
	}
	if f := res.Treatment.Groups[0].Figures; len(f) != 1 || len(f[0].Pairs) != 2 || f[0].Answer != pairs.Confirmed || f[0].Together.Difference != 400 {
		t.Errorf("%+v", f)
	}
	if c := res.Cautions[len(res.Cautions)-1]; c.Text != treatment.Caution {
		t.Errorf("last caution %+v", c)
	}
	var nothing *job.NothingUsableError
	if _, err := run(t, "lot,treatment,family,peak_mPas\nA,none,A,1\nB,none,B,2\n", Request{Kind: Treatment}); !errors.As(err, &nothing) {
		t.Errorf("no treated lot: %v", err)
	}
}

func TestSeriesRows(t *testing.T) {
	const table = "lot,dose,peak_mPas\nA,0,10\nA,1,8\nA,2,6.1\nA,3,4\nB,0,11\nX,,5\nX,,\n"
	var request *job.RequestError
	if _, err := run(t, table, Request{Kind: Dose, Feature: "peak_mPas"}); !errors.As(err, &request) {
		t.Errorf("two lots with doses: %v", err)
	}
	res, err := run(t, table, Request{Kind: Dose, Feature: "peak_mPas", Lot: "A"})
	if err != nil || len(res.Dose.Points) != 4 || len(res.Dose.Screened) != 1 || res.Dose.Screened[0].N != 1 || !res.Findings.Has("row-without-figure") || !res.Findings.Has("doses-not-repeated") {
		t.Errorf("%+v, %v", res, err)
	}
}
