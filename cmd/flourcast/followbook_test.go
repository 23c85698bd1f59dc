package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// The same answer from the lab book as from files: forecasts as the book kept them, and
// outcomes added later. A forecast made only after its outcome was written down does
// not count.
func TestWholeFollowReadsTheLabBook(t *testing.T) {
	dir := t.TempDir()
	mill, book, kept := filepath.Join(dir, "mill"), filepath.Join(dir, "book"), filepath.Join(dir, "kept.json")
	at := func(name string) string { return filepath.Join(mill, filepath.FromSlash(name)) }
	do := func(epoch string, args ...string) string {
		t.Helper()
		t.Setenv("SOURCE_DATE_EPOCH", epoch)
		out, errs, code := call(t, args...)
		if code != shell.ExitDone {
			t.Fatalf("%v: %s", args, errs)
		}
		return out
	}
	model := at("models/soft-bite-hardness.json")
	do("1790000000", "demo", mill)
	do("1790000000", "init", book)
	if _, errs, code := call(t, "follow", model, "--book", book, "--unmeasured"); code != shell.ExitNothing || !strings.Contains(errs, "waits for its measurement") {
		t.Errorf("an empty book: code %d, %s", code, errs)
	}
	do("1790000000", "add", at("raw/season/lots.csv"), at("raw/season/curves.csv"), "--book", book)
	var incoming struct {
		Status   string
		Counts   map[string]int
		Incoming *struct{ Lots int }
	}
	unmeasured := func() {
		t.Helper()
		incoming.Incoming = nil
		if err := json.Unmarshal([]byte(do("1790000000", "follow", model, "--book", book, "--unmeasured", "--json")), &incoming); err != nil {
			t.Fatal(err)
		}
	}
	if unmeasured(); incoming.Incoming == nil || incoming.Incoming.Lots != 32 || incoming.Counts["read"] != 0 || incoming.Status != "no outcome yet" {
		t.Errorf("before any forecast: %+v", incoming)
	}
	if out := do("1790000000", "forecast", model, "--book", book, "--keep", kept, "--spec", "hardness_N=..3.9"); !strings.Contains(out, "32 forecasts written down") || !strings.Contains(out, "16 accept, 15 hold, 1 reject") {
		t.Errorf("the forecast does not count its lots:\n%.800s", out)
	}
	if out := do("1790000000", "forecast", model, "--book", book, "--spec", "hardness_N=..3.9"); !strings.Contains(out, "nothing new") {
		t.Errorf("the same forecasts again:\n%.800s", out)
	}
	if unmeasured(); incoming.Incoming == nil || incoming.Incoming.Lots != 32 || incoming.Counts["waiting"] != 32 {
		t.Errorf("forecast and not measured: %+v", incoming)
	}
	// A supplier's claim beside a lot is no line of its own.
	var listed struct {
		Lots []struct{ Lot, Product string }
	}
	if err := json.Unmarshal([]byte(do("1790000000", "lots", "--book", book, "--json")), &listed); err != nil || len(listed.Lots) != 32 {
		t.Errorf("%d lots listed, %v", len(listed.Lots), err)
	}
	do("1793000000", "add", at("raw/season/texture.csv"), "--book", book)
	type answer struct {
		Status string
		Lots   []struct {
			Lot        string
			OutcomeRow int64 `json:"outcome_row"`
		}
		Counts  map[string]int
		Signals []struct{ Lot string }
	}
	read := func(text string) (a answer) {
		if err := json.Unmarshal([]byte(text), &a); err != nil {
			t.Fatal(err)
		}
		return a
	}
	a := read(do("1793000000", "follow", model, "--book", book, "--json"))
	b := read(do("1793000000", "follow", model, "--forecasts", kept, "--texture", at("raw/season/texture.csv"), "--lots", at("raw/season/lots.csv"), "--json"))
	if a.Status != "recalibrate" || a.Status != b.Status || a.Counts["followed"] != 32 || b.Counts["followed"] != 32 || len(a.Signals) == 0 || a.Signals[0] != b.Signals[0] {
		t.Errorf("book %+v, files %+v", a, b)
	}
	outcomesAnswer(t, book, a.Lots[0].Lot, a.Lots[0].OutcomeRow)
	if _, errs, code := call(t, "follow", model, "--book", book, "--forecasts", kept); code != shell.ExitUsage || !strings.Contains(errs, "--book") {
		t.Errorf("both: code %d, %s", code, errs)
	}

	if out := do("1793000000", "follow", model, "--book", book, "--unmeasured"); !strings.Contains(out, "[no-incoming]") || strings.Contains(out, "Incoming flours") {
		t.Errorf("all are measured:\n%s", out)
	}
	if _, errs, code := call(t, "follow", model, "--forecasts", kept, "--unmeasured"); code != shell.ExitUsage || !strings.Contains(errs, "--unmeasured") {
		t.Errorf("without a book: code %d, %s", code, errs)
	}

	late := filepath.Join(dir, "late")
	do("1790000000", "init", late)
	do("1790000000", "add", at("raw/season/lots.csv"), at("raw/season/curves.csv"), at("raw/season/texture.csv"), "--book", late)
	do("1793000000", "forecast", model, "--book", late, "--lot", "N26-101,N26-102,N26-103")
	c := read(do("1793000000", "follow", model, "--book", late, "--json"))
	if c.Counts["followed"] != 0 || c.Counts["left_out"] != 3 {
		t.Errorf("forecasts made after the outcome: %+v", c)
	}
}

// outcomesAnswer checks the outcome rows of a book: of one lot by row, then what a
// correction and a verification make of them.
func outcomesAnswer(t *testing.T, book, lot string, row int64) {
	t.Helper()
	type trail struct {
		Lines []struct {
			Row, Corrects int64
			Lot           string
		}
	}
	var before, after trail
	callJSON(t, &before, "log", "--book", book, "--kind", "outcome")
	if len(before.Lines) != 32 || row == 0 {
		t.Fatalf("%d outcome rows, want one for each of 32 lots; lot %s has row %d", len(before.Lines), lot, row)
	}
	for _, l := range before.Lines {
		if l.Lot == lot && l.Row != row {
			t.Errorf("lot %s has outcome row %d, followed by row %d", lot, l.Row, row)
		}
	}
	more := put(t, t.TempDir(), "more.csv", "lot,protocol,date,replicate,hardness_N\n"+lot+",another,2026-11-01,91,3.5\n")
	if _, errs, code := call(t, "add", more, "--book", book); code != 0 {
		t.Fatal(errs)
	}
	callJSON(t, &after, "log", "--book", book, "--kind", "outcome")
	if n := len(after.Lines); n != 33 || after.Lines[n-1].Corrects != row {
		t.Errorf("after a further reading: %+v", after.Lines)
	}
	if _, errs, code := call(t, "verify", "--book", book); code != 0 {
		t.Errorf("verify: %s", errs)
	}
}
