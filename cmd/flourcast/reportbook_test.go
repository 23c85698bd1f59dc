package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// A report from the lab book carries the chapters it is asked for, each as the command
// of its name has it, and refuses what they cannot be made from.
func TestWholeReportCarriesTheBook(t *testing.T) {
	dir, tmp := mill(t), t.TempDir()
	raw := func(name string) string { return filepath.Join(dir, "raw", filepath.FromSlash(name)) }
	model, book, page := filepath.Join(dir, "models", "soft-bite-hardness.json"), filepath.Join(tmp, "book"), filepath.Join(tmp, "all.html")
	for _, args := range [][]string{{"init", book},
		{"add", "--book", book, raw("season/lots.csv"), raw("season/curves.csv"), raw("new/lots.csv"), raw("new/curves.csv"), raw("lots.csv"), raw("runs.tsv"), raw("curves/noodle-water-2024.csv"), raw("production.csv")},
		{"forecast", model, "--book", book, "--spec", "hardness_N=..3.9"},
		{"add", "--book", book, raw("season/texture.csv")}} {
		if _, errs, code := call(t, args...); code != shell.ExitDone {
			t.Fatalf("%v: %s", args, errs)
		}
	}
	// What was wrong with the run of a lot stands below its forecast, and of no other's.
	if out, errs, code := call(t, "forecast", model, "--book", book, "--unrecorded"); code != shell.ExitDone || !strings.Contains(out, "[record-short]") || strings.Contains(out, "C24-") {
		t.Errorf("findings of the runs: code %d, %s\n%s", code, errs, out[max(0, len(out)-1500):])
	}
	if out, _, _ := call(t, "forecast", model, "--book", book, "--unrecorded", "--lot", "N26-001"); strings.Contains(out, "record-short") {
		t.Error("a lot's forecast shows findings of another lot's run")
	}
	var summary struct{ Chapters []string }
	callJSON(t, &summary, "report", model, "--book", book, "--lot", "N26-001", "--spec", "hardness_N=..3.9", "--follow", "--production", "--choose", "3",
		"--bridge", raw("season/two-instruments.csv"), "--from", "V2", "--to", "V1", "-o", page)
	html, err := os.ReadFile(page)
	if err != nil || len(summary.Chapters) != 6 {
		t.Fatalf("%v, %v", summary.Chapters, err)
	}
	for _, text := range append(summary.Chapters, "Recalibrate", "Incoming flours", "Had the limits been used", "In the order of choice", "Does it serve?", "N26-001") {
		if !strings.Contains(string(html), text) {
			t.Errorf("the page does not say %q", text)
		}
	}
	callJSON(t, &summary, "report", model, "-o", page)
	if len(summary.Chapters) != 0 {
		t.Errorf("nothing was asked for: %v", summary.Chapters)
	}
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"follow without a book":   {[]string{"--follow"}, "--book"},
		"choose without a book":   {[]string{"--choose", "3"}, "--book"},
		"choose less than none":   {[]string{"--book", book, "--choose", "-1"}, "--choose"},
		"bridge without two ends": {[]string{"--bridge", raw("season/two-instruments.csv")}, "--from"},
		"ends without a bridge":   {[]string{"--from", "V2", "--to", "V1"}, "--bridge"},
	} {
		if _, errs, code := call(t, append([]string{"report", model, "-o", page}, c.args...)...); code != shell.ExitUsage || !strings.Contains(errs, c.says) {
			t.Errorf("%s: code %d, %s", name, code, errs)
		}
	}
	// A model that is a row of the book serves choose as well.
	if _, errs, code := call(t, "choose", "2", "--book", book, "--model", "1"); code == shell.ExitDone || !strings.Contains(errs, "model") {
		t.Errorf("a row that is no model: code %d, %s", code, errs)
	}
}
