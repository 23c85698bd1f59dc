package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// Forecasts are kept, the table of outcomes read, and the answer is in control for
// lots like the calibrated ones and not for lots that moved; kept forecasts are not
// written over.
func TestFollow(t *testing.T) {
	for _, k := range []struct {
		shift  float64
		status string
		code   int
	}{{0, "in control", shell.ExitDone}, {1.2, "recalibrate", shell.ExitShort}} {
		fit, fresh := validationTables(t, k.shift)
		dir := t.TempDir()
		model, kept, page := filepath.Join(dir, "m.json"), filepath.Join(dir, "kept.json"), filepath.Join(dir, "f.html")
		if _, errs, code := call(t, "fit", fit, "--response", "hardness_N", "--kind", "pls", "--permutations", "0", "--repeats", "1", "-o", model); code != 0 {
			t.Fatal(errs)
		}
		if _, errs, code := call(t, "forecast", model, fresh, "--keep", kept); code != 0 {
			t.Fatal(errs)
		}
		if _, errs, code := call(t, "forecast", model, fresh, "--keep", kept); code != shell.ExitFailed || !strings.Contains(errs, "not written over") {
			t.Errorf("kept again: code %d, %s", code, errs)
		}
		out, errs, code := call(t, "follow", model, "--forecasts", kept, "--table", fresh, "--strict", "--json", "-o", page)
		if code != k.code {
			t.Fatalf("shift %v: code %d, %s", k.shift, code, errs)
		}
		var got struct {
			Schema, Status string
			Why            []string
			Counts         struct {
				Read, Followed, Waiting, Refused int
				LeftOut                          int `json:"left_out"`
			}
			Limits struct {
				False float64 `json:"false_alarms"`
			}
			Figures struct{ N int }
		}
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		if c := got.Counts; got.Schema != "flourcast.follow/1" || got.Status != k.status || len(got.Why) == 0 || c.Read != c.Followed+c.Waiting+c.LeftOut+c.Refused || c.Followed != got.Figures.N || got.Limits.False > 0.10 || got.Limits.False == 0 {
			t.Errorf("%+v", got)
		}
		if data, err := os.ReadFile(page); err != nil || !strings.Contains(string(data), "<svg") {
			t.Errorf("no page with a picture: %v", err)
		}
	}
	fit, _ := validationTables(t, 0)
	if _, _, code := call(t, "follow", fit); code != shell.ExitFailed {
		t.Errorf("a table in place of the model: code %d", code)
	}
}
