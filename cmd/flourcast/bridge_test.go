package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// twoInstruments are 30 lots on A and B, two runs each: B reads 100 + 0.9·A, with a
// lot's own deviation of SD own.
func twoInstruments(t *testing.T, own float64) string {
	t.Helper()
	r := rand.New(rand.NewPCG(11, 12))
	var b strings.Builder
	b.WriteString("lot,instrument,replicate,peak_mPas\n")
	for i := range 30 {
		x, d := 1900+42*float64(i), own*r.NormFloat64()
		for k := range 2 {
			fmt.Fprintf(&b, "P%d,A,%d,%.0f\nP%d,B,%d,%.0f\n", i, k+1, x+10*r.NormFloat64(), i, k+1, 100+0.9*x+d+10*r.NormFloat64())
		}
	}
	path := filepath.Join(t.TempDir(), "pairs.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A lot's figure on B is forecast as it would be on A, with a wider interval; outside of
// the paired range it is held; two that do not go together are refused.
func TestBridge(t *testing.T) {
	fit, _ := validationTables(t, 0)
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	model, bridge := filepath.Join(dir, "m.json"), filepath.Join(dir, "b.json")
	if _, errs, code := call(t, "fit", fit, "--response", "hardness_N", "--kind", "pls", "--features", "peak_mPas", "--permutations", "0", "--repeats", "1", "-o", model); code != 0 {
		t.Fatal(errs)
	}
	page := filepath.Join(dir, "b.html")
	out, errs, code := call(t, "bridge", twoInstruments(t, 15), "--from", "B", "--to", "A", "--model", model, "-o", bridge, "--page", page, "--json", "--strict")
	if code != 0 {
		t.Fatal(errs)
	}
	var got struct {
		Schema string
		Bridge struct {
			Lots     int
			Features []struct {
				Slope, Intercept struct{ Value, Low, High float64 }
			}
		}
		Serves struct {
			Widening float64
			Serves   bool
		}
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if f := got.Bridge.Features; got.Schema != "flourcast.bridge/1" || got.Bridge.Lots != 30 || len(f) != 1 || math.Abs(f[0].Slope.Value-1/0.9) > 0.03 || !got.Serves.Serves || got.Serves.Widening <= 1 {
		t.Errorf("%s", out)
	}
	if data, err := os.ReadFile(page); err != nil || !strings.Contains(string(data), "<svg") {
		t.Errorf("no page with pictures: %v", err)
	}
	type forecasts struct {
		Bridge    struct{ Widening float64 }
		Forecasts []struct {
			Value, Low, High *float64
			Decision         string
			BridgeError      *float64 `json:"bridge_error"`
			Reasons          []string
		}
	}
	ask := func(peak float64, flags ...string) (f forecasts) {
		table := file("new.csv", fmt.Sprintf("lot,product,peak_mPas\nN,white-salted-noodle,%.0f\n", peak))
		out, errs, code := call(t, append([]string{"forecast", model, table, "--json"}, flags...)...)
		if code != 0 {
			t.Fatal(errs)
		}
		if err := json.Unmarshal([]byte(out), &f); err != nil {
			t.Fatal(err)
		}
		return f
	}
	plain, over := ask(2500), ask(100+0.9*2500, "--bridge", bridge)
	a, b := plain.Forecasts[0], over.Forecasts[0]
	if math.Abs(*a.Value-*b.Value) > 0.05 || *b.High-*b.Low <= *a.High-*a.Low || b.BridgeError == nil || a.BridgeError != nil || over.Bridge.Widening != got.Serves.Widening {
		t.Errorf("on A %+v; over the bridge %+v", a, b)
	}
	if f := ask(1700, "--bridge", bridge).Forecasts[0]; f.Decision != "hold" || !strings.Contains(strings.Join(f.Reasons, " "), "outside of what was paired") {
		t.Errorf("outside of the pairs: %+v", f)
	}

	poor := filepath.Join(dir, "poor.json")
	out, _, code = call(t, "bridge", twoInstruments(t, 400), "--from", "B", "--to", "A", "--model", model, "-o", poor, "--strict")
	if _, err := os.Stat(poor); code != shell.ExitShort || err == nil || !strings.Contains(out, "times as wide") {
		t.Errorf("a poor bridge: code %d, file written: %v\n%s", code, err == nil, out)
	}
	// Without the model it is made; forecast refuses it.
	if _, errs, code := call(t, "bridge", twoInstruments(t, 400), "--from", "B", "--to", "A", "-o", poor); code != 0 {
		t.Fatal(errs)
	}
	if _, errs, code := call(t, "forecast", model, file("new.csv", "lot,product,peak_mPas\nN,white-salted-noodle,2500\n"), "--bridge", poor); code != shell.ExitUsage || !strings.Contains(errs, "widens the interval") {
		t.Errorf("code %d: %s", code, errs)
	}
	data, err := os.ReadFile(bridge)
	if err != nil {
		t.Fatal(err)
	}
	if _, errs, code := call(t, "forecast", model, file("new.csv", "lot,peak_mPas\nN,2500\n"), "--bridge", file("changed.json", strings.Replace(string(data), `"B"`, `"C"`, 1))); code != shell.ExitFailed || !strings.Contains(errs, "SHA-256") {
		t.Errorf("changed: code %d, %s", code, errs)
	}
	for _, bad := range [][]string{{"--from", "B"}, {"--from", "B", "--to", "B"}, {"--from", "B", "--to", "A", "--by", "site"}} {
		if _, _, code := call(t, append([]string{"bridge", twoInstruments(t, 15)}, bad...)...); code != shell.ExitUsage {
			t.Errorf("%v: code %d", bad, code)
		}
	}
	if _, _, code := call(t, "bridge", twoInstruments(t, 15), "--from", "B", "--to", "Z"); code != shell.ExitNothing {
		t.Errorf("nobody's lots: code %d", code)
	}
}

func TestChoose(t *testing.T) {
	fit, _ := validationTables(t, 0)
	data, err := os.ReadFile(fit)
	if err != nil {
		t.Fatal(err)
	}
	table := filepath.Join(t.TempDir(), "t.csv")
	if err := os.WriteFile(table, []byte(string(data)+"S1,white-salted-noodle,4600,9.5,\nS2,white-salted-noodle,2600,9.5,\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	out, errs, code := call(t, "choose", "1", table, "--response", "hardness_N", "--features", "peak_mPas,protein_pct", "--random", "1", "--json")
	var got struct {
		Schema string
		Chosen []struct{ Lot, By, Feature string }
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != 0 {
		t.Fatal(err, errs)
	}
	if c := got.Chosen; got.Schema != "flourcast.choose/1" || len(c) != 2 || c[0].Lot != "S1" || c[0].Feature != "peak_mPas" || c[1].Lot != "S2" || c[1].By != "random" {
		t.Errorf("%+v", got)
	}
	for _, bad := range [][]string{{"many", table, "--response", "hardness_N", "--features", "peak_mPas"}, {"1", table}, {"0", table, "--response", "hardness_N", "--features", "peak_mPas"}} {
		if _, _, code := call(t, append([]string{"choose"}, bad...)...); code != shell.ExitUsage {
			t.Errorf("%v: code %d", bad, code)
		}
	}
}
