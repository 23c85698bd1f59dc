package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// What scripts read of a window stands by its promised names, and the text and the
// page say the same.
func TestWholeWindowPromises(t *testing.T) {
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

// The report with a specification holds both windows; without one, or of a model
// that is not fit for use, none.
func TestReportHoldsTheWindows(t *testing.T) {
	dir, tmp := mill(t), t.TempDir()
	for name, c := range map[string]struct {
		args []string
		want bool
		says string
	}{
		"with":    {[]string{"soft-bite-hardness.json", "--spec", "hardness_N=..3.9"}, true, "Had the window of peak viscosity and breakdown been used"},
		"without": {[]string{"soft-bite-hardness.json"}, false, ""},
		"not fit": {[]string{"soft-bite-firmness.json", "--spec", "firmness_N=..3"}, false, "None: the model is not fit for use."},
	} {
		page := filepath.Join(tmp, name+".html")
		args := append([]string{"report", filepath.Join(dir, "models", c.args[0]), "-o", page}, c.args[1:]...)
		if _, stderr, code := call(t, args...); code != 0 {
			t.Fatalf("%s: %s", name, stderr)
		}
		html, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		if has := strings.Contains(string(html), "Had the window of"); has != c.want || !strings.Contains(string(html), c.says) {
			t.Errorf("%s: windows %v, want %v", name, has, c.want)
		}
	}
	if _, _, code := call(t, "report", filepath.Join(dir, "models", "soft-bite-hardness.json"), "--spec", "hardness_N", "-o", filepath.Join(tmp, "x.html")); code != shell.ExitUsage {
		t.Errorf("a faulty spec: exit code %d", code)
	}
}

// Production notes go into the lab book as notes, not as lots, and come out in its
// table.
func TestNotesInTheBook(t *testing.T) {
	t.Chdir(t.TempDir())
	for name, text := range map[string]string{"lots.csv": "lot,product\nA,soft-bite-noodle\nB,soft-bite-noodle\n", "p.csv": "lot,method,peak_mPas,trough_mPas,final_mPas\nA,noodle-water,2500,1800,3800\nB,noodle-water,2600,1850,3900\n",
		"n.csv": "lot,date,ran,trouble\nA,2026-01-02,well,\nB,2026-01-03,trouble,sticky\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, args := range [][]string{{"init", "b"}, {"add", "lots.csv", "p.csv", "n.csv", "--book", "b"}, {"join", "--book", "b", "-o", "t.csv"}} {
		if stdout, stderr, code := call(t, args...); code != 0 {
			t.Fatalf("%v: %s%s", args, stdout, stderr)
		}
	}
	table, err := os.ReadFile("t.csv")
	if err != nil || !strings.Contains(string(table), ",well,") || !strings.Contains(string(table), ",trouble,sticky,") || strings.Count(string(table), "\n") != 3 {
		t.Errorf("%s (%v)", table, err)
	}
	stdout, stderr, code := call(t, "window", "t.csv", "--ran-well", "ran")
	if code != 0 || !strings.Contains(stdout, "1 ran well, 1 had trouble") {
		t.Errorf("window: %d, %s%s", code, stdout, stderr)
	}
}

// With a lab book the model may be a row of it, and notes of production are the book's.
func TestWholeWindowOfTheBook(t *testing.T) {
	dir, book := mill(t), filepath.Join(t.TempDir(), "book")
	raw := func(name string) string { return filepath.Join(dir, "raw", name) }
	curves, err := filepath.Glob(raw("curves/noodle-water-*.csv"))
	if err != nil || len(curves) == 0 {
		t.Fatal(err)
	}
	files := append(curves, raw("lots.csv"), raw("runs.tsv"), raw("production.csv"), raw("texture-2024.csv"), raw("texture-2025.csv"))
	for _, args := range [][]string{{"init", book}, append([]string{"add", "--book", book}, files...)} {
		if _, errs, code := call(t, args...); code != 0 {
			t.Fatalf("%v: %s", args, errs)
		}
	}
	var p struct {
		File          string
		Well, Trouble int
		Features      []struct {
			Feature string
			Past    *struct {
				In  int `json:"well_inside"`
				Out int `json:"well_outside"`
			}
		}
	}
	callJSON(t, &p, "window", "--book", book, "--ran-well", "ran", "--feature", "peak_mPas")
	if p.Well < 150 || p.Trouble < 10 || p.Features[0].Past == nil || p.Features[0].Past.In+p.Features[0].Past.Out != p.Well || !strings.Contains(p.File, book) {
		t.Errorf("%+v", p)
	}
	if _, errs, code := call(t, "fit", "--book", book, "--response", "hardness_N", "--kind", "pls", "--product", "soft-bite-noodle", "--features", "peak_mPas,breakdown_mPas,protein_pct", "-o", filepath.Join(t.TempDir(), "m.json")); code != 0 {
		t.Fatal(errs)
	}
	var models struct{ Lines []struct{ Row int64 } }
	callJSON(t, &models, "log", "--book", book, "--kind", "model")
	if len(models.Lines) != 1 {
		t.Fatalf("%+v", models)
	}
	var line struct{ Lots []struct{ Zone string } }
	callJSON(t, &line, "window", fmt.Sprint(models.Lines[0].Row), "--book", book, "--spec", "hardness_N=..3.9")
	if len(line.Lots) < 20 {
		t.Errorf("%d lots on the window", len(line.Lots))
	}
	asked := []string{"window", fmt.Sprint(models.Lines[0].Row), "--book", book, "--customer", "Noodle house"}
	if _, errs, code := call(t, asked...); code != shell.ExitUsage || !strings.Contains(errs, "no specification of Noodle house") {
		t.Errorf("a customer without a specification: code %d, %s", code, errs)
	}
	if _, errs, code := call(t, "spec", "add", "--book", book, "--customer", "Noodle house", "--product", "soft-bite-noodle", "--limits", "hardness_N=..3.9", "--revision", "1", "--valid-from", "2020-01-01"); code != 0 {
		t.Fatal(errs)
	}
	if out, errs, code := call(t, asked...); code != 0 || !strings.Contains(out, "hardness at most 3.9 N") || !strings.Contains(out, "of the lab book") {
		t.Errorf("a customer's window: code %d, %s%s", code, errs, out)
	}
	if _, errs, code := call(t, append(asked, "--spec", "hardness_N=..3.9")...); code != shell.ExitUsage || !strings.Contains(errs, "--customer") {
		t.Errorf("limits twice: code %d, %s", code, errs)
	}
	if _, errs, code := call(t, "window", "1", "--book", book, "--spec", "hardness_N=..3.9"); code == 0 || !strings.Contains(errs, "model") {
		t.Errorf("a row that is no model: code %d, %s", code, errs)
	}
}
