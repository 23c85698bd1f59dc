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

// validationTables are 40 lots to fit on, and a table with 5 of them, one of them
// under another name, 25 new ones, one new one without a peak, one of another
// product and one not measured. shift moves the new measurements.
func validationTables(t *testing.T, shift float64) (fit, fresh string) {
	t.Helper()
	row := func(name, product string, i int, shift float64) string {
		peak := 2000 + 37*float64((i*17)%31)
		return fmt.Sprintf("%s,%s,%.0f,%.2f,%.3f\n", name, product, peak, 9+0.1*float64((i*7)%23), 14-peak/400+0.3*math.Sin(float64(3*i))+shift)
	}
	var a, b strings.Builder
	for _, s := range []*strings.Builder{&a, &b} {
		s.WriteString("lot,product,peak_mPas,protein_pct,hardness_N\n")
	}
	for i := range 40 {
		a.WriteString(row(fmt.Sprint("T", i), "white-salted-noodle", i, 0))
	}
	for i := range 4 {
		b.WriteString(row(fmt.Sprint("T", i), "white-salted-noodle", i, 0))
	}
	b.WriteString(row("renamed", "white-salted-noodle", 9, 0))
	for i := 50; i < 75; i++ {
		b.WriteString(row(fmt.Sprint("V", i), "white-salted-noodle", i, shift))
	}
	b.WriteString("nopeak,white-salted-noodle,,9.9,7.7\nother,layer-cake,2500,9.9,7.7\nnew,white-salted-noodle,2500,9.9,\n")
	dir := t.TempDir()
	fit, fresh = filepath.Join(dir, "fit.csv"), filepath.Join(dir, "fresh.csv")
	for path, s := range map[string]*strings.Builder{fit: &a, fresh: &b} {
		if err := os.WriteFile(path, []byte(s.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return fit, fresh
}

func TestValidate(t *testing.T) {
	fit, fresh := validationTables(t, 0)
	model := filepath.Join(t.TempDir(), "m.json")
	if _, errs, code := call(t, "fit", fit, "--response", "hardness_N", "--kind", "pls", "--permutations", "0", "--repeats", "1", "-o", model); code != 0 {
		t.Fatal(errs)
	}
	var got struct {
		Schema  string
		N       int
		Other   int `json:"other_products"`
		Bias    struct{ Value, Limit float64 }
		LeftOut []struct{ Lot, Reason string } `json:"left_out"`
		Lots    []struct {
			Lot      string
			Forecast float64
			Low      float64
			High     float64
		}
		Coverage struct {
			Inside int
			Kind   string `json:"interval_kind"`
		}
	}
	callJSON(t, &got, "validate", model, fresh)
	if got.Schema != "flourcast.validate/1" || got.N != 25 || len(got.Lots) != 25 || got.Other != 1 || len(got.LeftOut) != 6 || got.Coverage.Kind != "cv+" || got.Coverage.Inside < 20 {
		t.Fatalf("%+v", got)
	}
	for lot, why := range map[string]string{"T0": "made from this lot", "renamed": "lot T9", "nopeak": "no figure for peak viscosity"} {
		found := false
		for _, l := range got.LeftOut {
			found = found || l.Lot == lot && strings.Contains(l.Reason, why)
		}
		if !found {
			t.Errorf("%s: not left out because %q: %+v", lot, why, got.LeftOut)
		}
	}
	// validate and forecast say the same of the same lot.
	var forecasts struct {
		Forecasts []struct {
			Lot              string
			Value, Low, High float64
		}
	}
	callJSON(t, &forecasts, "forecast", model, fresh)
	same := 0
	for _, f := range forecasts.Forecasts {
		for _, l := range got.Lots {
			if f.Lot == l.Lot && f.Value == l.Forecast && f.Low == l.Low && f.High == l.High {
				same++
			}
		}
	}
	if same != 25 {
		t.Errorf("forecast agrees on %d of 25 lots", same)
	}
	page := filepath.Join(t.TempDir(), "v.html")
	out, errs, code := call(t, "validate", model, fresh, "--strict", "-o", page)
	if code != 0 || !strings.Contains(out, "Nothing speaks against the model") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
	if html, err := os.ReadFile(page); err != nil || !strings.Contains(string(html), "<svg") {
		t.Errorf("the page has no figure (%v)", err)
	}
}

// A new lot of a silo from which the model has a lot is named and does not count,
// unless it is meant to.
func TestValidateRelatives(t *testing.T) {
	fit, fresh := validationTables(t, 0)
	for _, path := range []string{fit, fresh} {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(data)), "\n")
		for i := range lines {
			switch {
			case i == 0:
				lines[i] += ",family"
			case strings.HasPrefix(lines[i], "T7,") || strings.HasPrefix(lines[i], "V50,"):
				lines[i] += ",silo 3"
			default:
				lines[i] += ","
			}
		}
		if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	model := filepath.Join(t.TempDir(), "m.json")
	if _, errs, code := call(t, "fit", fit, "--response", "hardness_N", "--kind", "ols", "--permutations", "0", "--repeats", "1", "-o", model); code != 0 {
		t.Fatal(errs)
	}
	var got struct {
		N        int
		Related  []struct{ Lot, Of, Family string }
		Findings []struct{ Code string }
	}
	callJSON(t, &got, "validate", model, fresh)
	if got.N != 24 || len(got.Related) != 1 || got.Related[0].Lot != "V50" || got.Related[0].Of != "T7" || len(got.Findings) == 0 || got.Findings[len(got.Findings)-1].Code != "family-in-training" {
		t.Errorf("%+v", got)
	}
	if callJSON(t, &got, "validate", model, fresh, "--relatives"); got.N != 25 || len(got.Related) != 1 {
		t.Errorf("with relatives: %+v", got)
	}
	if out, _, _ := call(t, "validate", model, fresh, "--relatives"); !strings.Contains(out, "Related lots are counted") || !strings.Contains(out, "family-in-training") {
		t.Error(out)
	}
}

// Lots that came out softer speak against the model; a table of training lots only
// is refused.
func TestValidateSpeaksUp(t *testing.T) {
	fit, fresh := validationTables(t, -1)
	model := filepath.Join(t.TempDir(), "m.json")
	if _, errs, code := call(t, "fit", fit, "--response", "hardness_N", "--kind", "ols", "--permutations", "0", "--repeats", "1", "-o", model); code != 0 {
		t.Fatal(errs)
	}
	out, _, code := call(t, "validate", model, fresh, "--strict")
	if code != shell.ExitShort || !strings.Contains(out, "too high by 0.995 N") || !strings.Contains(out, "only 0 of 25") {
		t.Errorf("code %d: %s", code, out)
	}
	if _, errs, code := call(t, "validate", model, fit); code != shell.ExitNothing || !strings.Contains(errs, "made from this lot") {
		t.Errorf("training lots: code %d: %s", code, errs)
	}
	if _, _, code := call(t, "validate", model, fresh, "--level", "90"); code != shell.ExitUsage {
		t.Errorf("level 90: code %d", code)
	}
}
