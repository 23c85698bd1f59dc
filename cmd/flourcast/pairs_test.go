package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// TestPairsAmylase: the mill's sprouted lots, and no other, are found by their pairs.
func TestPairsAmylase(t *testing.T) {
	table := filepath.Join(mill(t), "table.csv")
	var res struct {
		Schema  string
		Amylase struct {
			Water, Inhibited string
			Lots             []struct {
				Lot, Governed    string
				Water, Inhibited struct{ Mean float64 }
				Index            struct {
					Value     float64
					Low, High *float64
				}
			}
		}
		Cautions []struct{ Topic string }
		Findings []struct{ Code string }
	}
	callJSON(t, &res, "pairs", table, "--kind", "amylase")
	if res.Schema != "flourcast.pairs/1" || res.Amylase.Water != "peak_mPas@noodle-water" || res.Amylase.Inhibited != "peak_mPas@noodle-inhibited" {
		t.Fatalf("%s of %s and %s", res.Schema, res.Amylase.Water, res.Amylase.Inhibited)
	}
	var governed []string
	for _, l := range res.Amylase.Lots {
		if l.Governed == "confirmed" {
			governed = append(governed, l.Lot)
		}
		if want := 1 - l.Water.Mean/l.Inhibited.Mean; math.Abs(l.Index.Value-want) > 1e-12 || l.Index.Low == nil || *l.Index.Low >= want || *l.Index.High <= want {
			t.Errorf("lot %s: %+v, want %g within its interval", l.Lot, l.Index, want)
		}
	}
	slices.Sort(governed)
	if want := []string{"N24-021", "N24-022", "N24-041", "N24-043", "N24-062"}; !slices.Equal(governed, want) {
		t.Errorf("amylase governs %v; the mill's sprouted lots are %v", governed, want)
	}
	if len(res.Findings) != 1 || res.Findings[0].Code != "amylase-governs" { // both methods have duplicates
		t.Errorf("findings %v, want amylase-governs alone", res.Findings)
	}
	if !slices.ContainsFunc(res.Cautions, func(c struct{ Topic string }) bool { return c.Topic == "Silver nitrate" }) {
		t.Errorf("no caution of silver nitrate: %v", res.Cautions)
	}
	page := filepath.Join(t.TempDir(), "amylase.html")
	text, _, code := call(t, "pairs", table, "--kind", "amylase", "-o", page)
	if data, err := os.ReadFile(page); code != shell.ExitDone || err != nil || !bytes.Contains(data, []byte("<svg")) || !strings.Contains(text, "no proof of amylase") {
		t.Errorf("exit code %d, %v", code, err)
	}
}

// TestPairsTreatment: the mill's heat-treated cake flours rise, peak and end higher in
// sucrose; in water nothing can be told without duplicates.
func TestPairsTreatment(t *testing.T) {
	table := filepath.Join(mill(t), "table.csv")
	type figure struct {
		Column, Method, Answer string
		Pairs                  []struct{}
		Expectation            *struct{ Sign int }
	}
	answers := func(args ...string) map[string]string {
		var res struct {
			Treatment struct {
				Pairs  []struct{ Untreated, Treated string }
				Groups []struct{ Figures []figure }
			}
		}
		callJSON(t, &res, append([]string{"pairs", table, "--kind", "treatment"}, args...)...)
		if len(res.Treatment.Groups) != 1 {
			t.Fatalf("%+v", res.Treatment)
		}
		out := map[string]string{}
		for _, f := range res.Treatment.Groups[0].Figures {
			if !strings.HasPrefix(f.Method, "cake-") || strings.HasSuffix(f.Method, "_n") || len(f.Pairs) != len(res.Treatment.Pairs) {
				t.Errorf("%s by %s of %d pairs", f.Column, f.Method, len(f.Pairs))
			}
			if f.Expectation != nil {
				out[f.Column] = f.Answer
			}
		}
		if len(args) == 0 && len(res.Treatment.Pairs) != 12 {
			t.Errorf("%d pairs, the mill has 12", len(res.Treatment.Pairs))
		}
		return out
	}
	found := answers()
	for column, want := range map[string]string{"peak_mPas@cake-sucrose50": "confirmed", "final_mPas@cake-sucrose50": "confirmed", "rise_rate_mPas_per_s@cake-sucrose50": "confirmed",
		"peak_mPas@cake-water": "cannot tell", "rise_rate_mPas_per_s@cake-water": "cannot tell"} {
		if found[column] != want {
			t.Errorf("%s: %q, want %q", column, found[column], want)
		}
	}
	if got := answers("--repeatability", "peak_mPas@cake-water=40")["peak_mPas@cake-water"]; got != "contradicted" {
		t.Errorf("the peak in water, of a stated repeatability: %q", got)
	}
	page := filepath.Join(t.TempDir(), "treatment.html")
	_, stderr, code := call(t, "pairs", table, "--kind", "treatment", "-o", page)
	if data, err := os.ReadFile(page); code != shell.ExitDone || err != nil || !bytes.Contains(data, []byte("<svg")) {
		t.Errorf("page: exit code %d, %v, %s", code, err, stderr)
	}
	if got := answers("--pair", "C23-001=C23-002")["peak_mPas@cake-sucrose50"]; got != "confirmed" {
		t.Errorf("one pair: %q", got)
	}
}

const series = `lot,dose,peak_mPas
S,0,3000
S,0,3010
S,1,2702
S,1,2698
S,2,2405
S,2,2395
S,3,2102
S,3,2098
FIELD,,2550
FIELD,,2550
WORST,,400
`

func TestPairsDose(t *testing.T) {
	path := filepath.Join(t.TempDir(), "series.csv")
	if err := os.WriteFile(path, []byte(series), 0o600); err != nil {
		t.Fatal(err)
	}
	var res struct {
		Dose struct {
			Curve string
			Dose  struct{ Value, Low, High float64 }

			Screened []struct {
				Lot        string
				N          int
				Equivalent *struct{ Value float64 }
				Reason     string
			}
		}
		Cautions []struct{ Topic string }
	}
	callJSON(t, &res, "pairs", path, "--kind", "dose", "--feature", "peak_mPas", "--target", "2550")
	d := res.Dose
	if d.Curve != "line" || math.Abs(d.Dose.Value-1.5) > 0.02 || d.Dose.Low > 1.5 || d.Dose.High < 1.5 || d.Dose.High-d.Dose.Low > 0.1 {
		t.Errorf("%+v: the line falls by 300 a unit from 3000", d)
	}
	if len(d.Screened) != 2 || d.Screened[0].N != 2 || d.Screened[0].Equivalent == nil || math.Abs(d.Screened[0].Equivalent.Value-1.5) > 0.02 || d.Screened[1].Equivalent != nil || d.Screened[1].Reason == "" {
		t.Errorf("screened: %+v", d.Screened)
	}
	if !slices.ContainsFunc(res.Cautions, func(c struct{ Topic string }) bool { return c.Topic == "Enzyme" }) {
		t.Errorf("no caution of the enzyme: %v", res.Cautions)
	}
	if text, _, code := call(t, "pairs", path, "--kind", "dose", "--feature", "peak_mPas", "-o", filepath.Join(t.TempDir(), "dose.html")); code != shell.ExitDone || !strings.Contains(text, "nothing is extrapolated") {
		t.Errorf("without a target: exit code %d\n%s", code, text)
	}
}

func TestPairsRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "series.csv")
	if err := os.WriteFile(path, []byte(series), 0o600); err != nil {
		t.Fatal(err)
	}
	dose := []string{"pairs", path, "--kind", "dose", "--feature", "peak_mPas"}
	for _, c := range []struct {
		args []string
		code int
	}{
		{[]string{"pairs", path}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "other"}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "amylase"}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "treatment"}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "treatment", "--pair", "S"}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "treatment", "--pair", "S=X"}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "dose"}, shell.ExitUsage},
		{[]string{"pairs", path, "--kind", "dose", "--feature", "breakdown_mPas"}, shell.ExitUsage},
		{append(slices.Clone(dose), "--target", "1000"), shell.ExitUsage},
		{append(slices.Clone(dose), "--level", "95"), shell.ExitUsage},
		{append(slices.Clone(dose), "--dose-column", "lot"), shell.ExitUsage},
		{append(slices.Clone(dose), "--repeatability", "peak_mPas"), shell.ExitUsage},
		{append(slices.Clone(dose), "--repeatability", "peak_mPas=-1"), shell.ExitUsage},
		{append(slices.Clone(dose), "--lot", "FIELD"), shell.ExitNothing},
		{[]string{"pairs", filepath.Join(t.TempDir(), "none.csv"), "--kind", "dose", "--feature", "peak_mPas"}, shell.ExitFailed},
	} {
		if stdout, stderr, code := call(t, c.args...); code != c.code || stdout != "" || stderr == "" {
			t.Errorf("%v: exit code %d, want %d; %s", c.args[2:], code, c.code, stderr)
		}
	}
}
