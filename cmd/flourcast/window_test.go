package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// What scripts read of a window stands by its promised names, and the text and the
// page say the same.
func TestWindowPromises(t *testing.T) {
	dir, tmp := mill(t), t.TempDir()
	model := filepath.Join(dir, "models", "soft-bite-hardness.json")
	var line struct {
		Schema     string
		By         []string
		Others     []string `json:"other_features"`
		Thresholds struct{ Target, Acceptable float64 }
		Line       *struct {
			From, To  float64
			Stretches []struct {
				Zone     string
				From, To float64
			}
		}
		Map      *struct{ Contours []struct{ P float64 } }
		Lots     []struct{ Zone string }
		Backtest struct {
			ByWindow struct {
				RightAccepts *int `json:"right_accepts"`
			} `json:"by_window"`
			Window []struct{ Meets, Fails int }
		}
	}
	args := []string{"window", model, "--spec", "hardness_N=..3.9"}
	callJSON(t, &line, args...)
	if line.Schema != "flourcast.window/1" || line.Line == nil || line.Map != nil || len(line.Lots) != 48 || line.Thresholds.Target != 0.95 || line.Backtest.ByWindow.RightAccepts == nil {
		t.Fatalf("%+v", line)
	}
	if !strings.HasPrefix(line.By[0], "peak_mPas") || len(line.Others) != 6 {
		t.Errorf("by %v, others %v", line.By, line.Others)
	}
	sum := 0
	for _, z := range line.Backtest.Window {
		sum += z.Meets + z.Fails
	}
	if sum != 48 {
		t.Errorf("the back-test counts %d of 48 lots", sum)
	}
	page := filepath.Join(tmp, "w.html")
	if _, stderr, code := call(t, append(args, "--by", "peak_mPas,breakdown_mPas", "-o", page)...); code != 0 {
		t.Fatal(stderr)
	}
	html, err := os.ReadFile(page)
	if err != nil || !strings.Contains(string(html), "<svg") || !strings.Contains(string(html), "no lots around") || strings.Contains(string(html), "<script") {
		t.Errorf("page: %v", err)
	}
	line.Line = nil
	callJSON(t, &line, append(args, "--by", "peak_mPas,breakdown_mPas")...)
	if line.Map == nil || line.Line != nil || len(line.Map.Contours) == 0 {
		t.Errorf("a map: %+v", line.Map)
	}

	plant := filepath.Join(tmp, "plant.csv")
	if err := os.WriteFile(plant, []byte("lot,peak_mPas,ran\nA,2500,well\nB,2600,yes\nC,2700,ok\nD,2100,no\nE,2800,hm\nF,2900,\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var p struct {
		Schema                              string
		Rows, Well, Trouble, Refused, Needs int
		NotStated                           int `json:"not_stated"`
		Features                            []struct{ Normal *struct{ K float64 } }
	}
	callJSON(t, &p, "window", plant, "--ran-well", "ran")
	if p.Schema != "flourcast.window_production/1" || p.Rows != 6 || p.Well != 3 || p.Trouble != 1 || p.Refused != 1 || p.NotStated != 1 || p.Needs != 93 || p.Features[0].Normal == nil {
		t.Errorf("%+v", p)
	}

	bad := filepath.Join(dir, "models", "soft-bite-firmness.json")
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no spec":            {[]string{"window", model}, shell.ExitUsage, "--spec"},
		"both":               {[]string{"window", plant, "--ran-well", "ran", "--spec", "y=1.."}, shell.ExitUsage, "give one"},
		"feature not there":  {[]string{"window", model, "--spec", "hardness_N=..3.9", "--feature", "ash_pct"}, shell.ExitUsage, "one of the model's"},
		"both kinds":         {[]string{"window", model, "--spec", "hardness_N=..3.9", "--feature", "peak_mPas", "--by", "peak_mPas"}, shell.ExitUsage, "--by"},
		"not fit for use":    {[]string{"window", bad, "--spec", "firmness_N=..3"}, shell.ExitUsage, "--override"},
		"overridden":         {[]string{"window", bad, "--spec", "firmness_N=..3", "--override", "to talk it over"}, 0, ""},
		"column not there":   {[]string{"window", plant, "--ran-well", "line"}, shell.ExitUsage, "ran well"},
		"strict, a bad note": {[]string{"window", plant, "--ran-well", "ran", "--strict"}, shell.ExitShort, "note"},
		"strict, no target":  {[]string{"window", model, "--spec", "hardness_N=3.0..3.1", "--strict"}, shell.ExitShort, "target"},
	} {
		stdout, stderr, code := call(t, c.args...)
		if code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: exit code %d, %s", name, code, stderr)
		}
		if name == "overridden" && !strings.Contains(stdout, "Reason given: to") {
			t.Errorf("the reason is not printed:\n%s", stdout)
		}
	}
}
