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

// decided is what a script reads of a forecast.
type decided struct {
	Lot                  string
	Value, Average       *float64
	Probability          *float64
	AcceptTo             *float64 `json:"accept_to"`
	ReplicateError       *float64 `json:"replicate_error"`
	Decision, Class      string
	Reasons              []string
	Classes              []struct{ Probability float64 }
	Contributions        []struct{ Contribution float64 }
	Replicates           []struct{ N int }
	Low, High            *float64
	StandardError        *float64 `json:"standard_error"`
	ProbabilityFromError *float64 `json:"probability_from_errors"`
}

// A morning's runs with replicates: an agreeing pair decides, a disagreeing pair is
// held, a lot's contributions add up, the risks move the decision.
func TestMorningOfNewLots(t *testing.T) {
	dir, tmp := mill(t), t.TempDir()
	model := filepath.Join(dir, "models", "soft-bite-hardness.json")
	write := func(name, text string) string {
		path := filepath.Join(tmp, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	lots := write("lots.csv", "lot,protein_pct,protein_basis,falling_number_s\nM1,8.9,14 %,330\nM2,9.4,14 %,310\n")
	runs := write("runs.csv", "lot,method,replicate,pasting_temp_C,peak_time_s,peak_mPas,trough_mPas,final_mPas\n"+
		"M1,noodle-water,1,66.7,313,3300,2260,4470\nM1,noodle-water,2,66.8,312,3352,2278,4506\n"+
		"M2,noodle-water,1,67.3,321,2330,1742,3705\nM2,noodle-water,2,67.2,322,2710,1935,4010\n")
	bands := write("bands.toml", "response = \"hardness_N\"\n[[band]]\nname = \"soft bite\"\nbelow = 3.2\n[[band]]\nname = \"firm bite\"\n")
	var got struct {
		Rule      struct{ Accept, Reject float64 }
		Forecasts []decided
	}
	args := []string{"forecast", model, runs, "--lots", lots, "--spec", "hardness_N=..3.9", "--bands", bands}
	callJSON(t, &got, args...)
	if len(got.Forecasts) != 2 || got.Rule.Accept != 0.95 || got.Rule.Reject != 0.05 {
		t.Fatalf("%+v", got)
	}
	m1, m2 := got.Forecasts[0], got.Forecasts[1]
	if m1.Decision != "accept" || m2.Decision != "hold" || !strings.Contains(m2.Reasons[0], "repeatability limit") || m2.ReplicateError == nil {
		t.Errorf("M1 %s, M2 %s because %v", m1.Decision, m2.Decision, m2.Reasons)
	}
	for _, f := range got.Forecasts {
		sum := *f.Average
		for _, c := range f.Contributions {
			sum += c.Contribution
		}
		if math.Abs(sum-*f.Value) > 1e-9 || len(f.Contributions) == 0 {
			t.Errorf("lot %s: average and contributions come to %v, the forecast is %v", f.Lot, sum, *f.Value)
		}
		if len(f.Classes) != 2 || math.Abs(f.Classes[0].Probability+f.Classes[1].Probability-1) > 1e-9 || f.Class == "" {
			t.Errorf("lot %s: classes %+v, %q", f.Lot, f.Classes, f.Class)
		}
		if f.Replicates[0].N != 2 {
			t.Errorf("lot %s: %d runs", f.Lot, f.Replicates[0].N)
		}
	}
	if !(*m1.AcceptTo < 3.9 && *m1.AcceptTo > *m1.Value) {
		t.Errorf("forecasts are accepted up to %v of 3.9", *m1.AcceptTo)
	}
	callJSON(t, &got, append(args, "--alpha", "0.0001")...)
	if d := got.Forecasts[0].Decision; d != "hold" {
		t.Errorf("at a risk of 0.0001 the lot is %s", d)
	}
	for _, bad := range [][]string{{"--alpha", "1.5"}, {"--alpha", "0.6", "--beta", "0.5"}, {"--bands", "hardness_N=a"}, {"--bands", "springiness=a..1..b"}} {
		if _, stderr, code := call(t, append([]string{"forecast", model, runs}, bad...)...); code != shell.ExitUsage {
			t.Errorf("%v: exit code %d, %s", bad, code, stderr)
		}
	}
}

// Many lots at once, in their order, 500 on a page of text. What is kept has the bytes of
// what is printed; where it cannot be kept, nothing is printed.
func TestManyLotsAtOnce(t *testing.T) {
	const lots = 510
	var b strings.Builder
	b.WriteString("lot,method,pasting_temp_C,peak_time_s,peak_mPas,trough_mPas,final_mPas,protein_pct,falling_number_s\n")
	for i := range lots {
		fmt.Fprintf(&b, "L%03d,noodle-water,66.%d,312,%d,%d,%d,9.2,310\n", i, i%10, 2400+2*i, 1800+i, 3800+i)
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "many.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	var one, two struct{ Forecasts []decided }
	args := []string{"forecast", filepath.Join(mill(t), "models", "soft-bite-hardness.json"), path, "--spec", "hardness_N=..3.9"}
	callJSON(t, &one, append(args, "--cores", "1")...)
	callJSON(t, &two, append(args, "--cores", "2")...)
	if len(one.Forecasts) != lots || len(two.Forecasts) != lots {
		t.Fatal(len(one.Forecasts), len(two.Forecasts))
	}
	for i, f := range one.Forecasts {
		if f.Lot != fmt.Sprintf("L%03d", i) || f.Lot != two.Forecasts[i].Lot || (f.Value == nil) != (two.Forecasts[i].Value == nil) || f.Value != nil && *f.Value != *two.Forecasts[i].Value {
			t.Fatalf("lot %d: %s and %s", i, f.Lot, two.Forecasts[i].Lot)
		}
	}
	keep := filepath.Join(dir, "kept.json")
	printed, stderr, code := call(t, append(args, "--json", "--keep", keep)...)
	kept, err := os.ReadFile(keep)
	if err != nil || code != 0 || string(kept) != printed {
		t.Errorf("exit code %d, %d bytes printed, %d kept, %v; %s", code, len(printed), len(kept), err, stderr)
	}
	for _, face := range [][]string{{"--json"}, nil} {
		if printed, stderr, code := call(t, append(append(args, "--keep", keep), face...)...); code != shell.ExitFailed || printed != "" || !strings.Contains(stderr, "is there already") {
			t.Errorf("kept twice: exit code %d, %d bytes printed; %s", code, len(printed), stderr)
		}
	}
	text, _, _ := call(t, args...)
	for _, want := range []string{"Lots 1 to 500 of 510", "Lots 501 to 510 of 510"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in the text", want)
		}
	}
}
