package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
	"flourcast/study"
)

// rawRuns are the flags that name the mill's runs and curves.
func rawRuns(t *testing.T, dir string) []string {
	t.Helper()
	curves, err := filepath.Glob(filepath.Join(dir, "raw", "curves", "*"))
	if err != nil || len(curves) == 0 {
		t.Fatal(err)
	}
	return append([]string{"--runs", filepath.Join(dir, "raw", "runs.tsv"), "--curves"}, curves...)
}

// The mill's can holder was loose on one day: that day is found, and no other.
func TestControlFindsTheFailedDay(t *testing.T) {
	var got study.ControlResult
	callJSON(t, &got, append([]string{"control"}, rawRuns(t, mill(t))...)...)
	if got.Schema != "flourcast.control/1" || len(got.Days) != 60 || got.DaysOut != 1 {
		t.Fatalf("%d days, %d out", len(got.Days), got.DaysOut)
	}
	for _, d := range got.Days {
		if (d.Standing == "out of control") != (d.Day == "2024-10-28") {
			t.Errorf("%s is %s", d.Day, d.Standing)
		}
	}
	lots := map[string]bool{}
	for _, m := range got.Marked {
		lots[m.Lot] = true
		if !strings.HasPrefix(m.TestedAt, "2024-10-28") || m.Status != "void" {
			t.Errorf("marked %+v", m)
		}
	}
	for _, lot := range []string{"N24-033", "N24-034", "N24-035", "N24-036"} {
		if !lots[lot] {
			t.Errorf("lot %s was run on that day and is not marked", lot)
		}
	}
}

func TestControlReport(t *testing.T) {
	out := filepath.Join(t.TempDir(), "control.html")
	events := filepath.Join(t.TempDir(), "events.csv")
	if err := os.WriteFile(events, []byte("date,instrument,kind,note\n2024-10-29,V1,canister,holder tightened\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, stderr, code := call(t, append([]string{"control", "--events", events, "-o", out, "--strict"}, rawRuns(t, mill(t))...)...)
	if code != shell.ExitShort || !strings.Contains(stderr, "out of control") {
		t.Errorf("code %d, %s", code, stderr)
	}
	page, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<svg", "canister 2024-10-29", "2024-10-28", "Nothing from such a day is accepted"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestRepeatabilityOfTheMill(t *testing.T) {
	dir := mill(t)
	var got study.RepeatabilityResult
	callJSON(t, &got, append([]string{"repeatability"}, rawRuns(t, dir)...)...)
	told := map[string]bool{}
	for _, g := range got.Groups {
		for _, f := range g.Features {
			if g.Method != "noodle-water" || g.Instrument != "V1" || f.RepeatSD == nil {
				continue
			}
			told[f.Feature] = *f.TellsApart
			if f.DF < 80 || *f.RepeatSD <= 0 || *f.RepeatSDLow >= *f.RepeatSD || *f.RepeatSDHigh <= *f.RepeatSD {
				t.Errorf("%+v", f)
			}
		}
	}
	// The invented flours differ in how far they swell, and hardly in when they peak.
	if !told["peak_mPas"] || !told["breakdown_mPas"] || told["peak_temp_C"] || told["peak_time_s"] {
		t.Errorf("tells apart: %v", told)
	}
	var table study.RepeatabilityResult
	callJSON(t, &table, "repeatability", filepath.Join(dir, "table.csv"))
	if table.Source != "table" || len(table.Groups) == 0 {
		t.Errorf("%+v", table)
	}
}

func TestMeasurementExitCodes(t *testing.T) {
	dir := mill(t)
	at := func(name string) string { return filepath.Join(dir, filepath.FromSlash(name)) }
	cases := []struct {
		name string
		args []string
		code int
		says string
	}{
		{"control without runs", []string{"control", "--curves", at("raw/curves/noodle-water-2024.csv")}, shell.ExitUsage, "--runs"},
		{"control without curves", []string{"control", "--runs", at("raw/runs.tsv")}, shell.ExitUsage, "--curves"},
		{"an unknown feature", append([]string{"control", "--features", "hardness_N"}, rawRuns(t, dir)...), shell.ExitUsage, "peak_mPas"},
		{"no control in the curves", []string{"control", "--runs", at("raw/runs.tsv"), "--curves", at("raw/curves/cake-water.csv")}, shell.ExitNothing, "kind control"},
		{"repeatability of nothing", []string{"repeatability"}, shell.ExitUsage, "table"},
		{"no duplicates", []string{"repeatability", "--runs", at("raw/runs.tsv"), "--curves", at("raw/curves/cake-water.csv")}, shell.ExitNothing, "duplicates"},
		{"missing events", append([]string{"control", "--events", at("none.csv")}, rawRuns(t, dir)...), shell.ExitFailed, "no such file"},
		{"policy", append([]string{"join", "--lots", at("raw/lots.csv"), "-o", filepath.Join(t.TempDir(), "t.csv"), "--control-policy", "perhaps"}, rawRuns(t, dir)...), shell.ExitUsage, "warn or refuse"},
	}
	for _, c := range cases {
		if _, stderr, code := call(t, c.args...); code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: exit code %d, want %d; stderr %q, want %q in it", c.name, code, c.code, stderr, c.says)
		}
	}
}
