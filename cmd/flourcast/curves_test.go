package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
	"flourcast/study"
)

// straight is a run of straight pieces with corners at multiples of 12 s, at the
// temperatures of the 13-minute profile (from memory), and its viscosity.
func straight(t float64) (celsius, mPas float64) {
	celsius = 50 + 45*(max(0, min(t, 282)-60)/222-max(0, min(t, 660)-432)/228)
	return celsius, 60 + 14*max(0, min(t, 372)-192) - 8*max(0, min(t, 480)-372) + 5*max(0, t-480)
}

// runFile writes runs of lots, each straight times a factor, every 4 s.
func runFile(t *testing.T, name string, method string, lots map[string][]float64, order ...string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("lot,method,replicate,time_s,temperature_C,viscosity_mPas\n")
	for _, lot := range order {
		for k, factor := range lots[lot] {
			for s := 0.0; s <= 780; s += 4 {
				c, v := straight(s)
				fmt.Fprintf(&b, "%s,%s,%d,%g,%.4f,%.4f\n", lot, method, k+1, s, c, factor*v)
			}
		}
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func readCSV(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

type laid struct {
	Schema, Method, On, By, First, Last string
	Columns, Rows, Absent               int
	Runs                                []struct {
		Lot    string
		Absent int
	}
	Findings []struct{ Code string }
}

// TestCurvesOnTime: a run of straight pieces comes back exactly at every time of
// the grid, a row a run or the mean of a lot's runs.
func TestCurvesOnTime(t *testing.T) {
	file := runFile(t, "runs.csv", "general-13min", map[string][]float64{"A": {1, 1.1}, "B": {2}}, "A", "B")
	out := filepath.Join(t.TempDir(), "whole.csv")
	for by, factors := range map[string][]float64{"run": {1, 1.1, 2}, "lot": {1.05, 2}} {
		var res laid
		callJSON(t, &res, "curves", file, "--grid", "6s", "--by", by, "-o", out)
		if res.Schema != "flourcast.curves/1" || res.Columns != 131 || res.First != "v_0000s" || res.Last != "v_0780s" || res.Rows != len(factors) || res.Absent != 0 || res.By != by || len(res.Runs) != 3 {
			t.Errorf("%+v", res)
		}
		rows := readCSV(t, out)
		if len(rows) != len(factors)+1 || len(rows[0]) != 3+131 {
			t.Fatalf("%d rows of %d columns", len(rows), len(rows[0]))
		}
		for i, f := range factors {
			for k, cell := range rows[i+1][3:] {
				_, want := straight(float64(k) * 6)
				if got, err := strconv.ParseFloat(cell, 64); err != nil || math.Abs(got-f*want) > 1e-3 { // the file has 4 decimals
					t.Fatalf("by %s, row %d, %s: %s, want %g", by, i+1, rows[0][3+k], cell, f*want)
				}
			}
		}
	}
}

// TestCurvesOnTemperature: on heating the viscosity of a temperature follows from
// the profile.
func TestCurvesOnTemperature(t *testing.T) {
	file := runFile(t, "runs.csv", "general-13min", map[string][]float64{"A": {1}}, "A")
	out := filepath.Join(t.TempDir(), "whole.csv")
	var res laid
	callJSON(t, &res, "curves", file, "--on", "temperature", "--grid", "5C", "-o", out)
	if res.First != "v_heat_55C" || res.Rows != 1 {
		t.Errorf("%+v", res)
	}
	rows := readCSV(t, out)
	for k, name := range rows[0] {
		celsius, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimPrefix(name, "v_heat_"), "C"), 64)
		if err != nil {
			continue
		}
		_, want := straight(60 + (celsius-50)*222/45)
		if got, err := strconv.ParseFloat(rows[1][k], 64); err != nil || math.Abs(got-want) > 15 { // a corner between two points 4 s apart: at most 14·4/4
			t.Errorf("%s = %s, want %g", name, rows[1][k], want)
		}
	}
}

// TestWholeCurvesBesideTable: the columns join a table lot by lot, a model takes them
// by their star, and they are no default features.
func TestWholeCurvesBesideTable(t *testing.T) {
	dir := mill(t)
	raw := func(name string) string { return filepath.Join(dir, "raw", name) }
	out := filepath.Join(t.TempDir(), "whole.csv")
	var res laid
	callJSON(t, &res, "curves", raw("curves/noodle-water-2023.csv"), raw("curves/noodle-water-2024.csv"), raw("curves/noodle-water-2025.csv"),
		"--lots", raw("lots.csv"), "--lots", raw("lots-late.csv"), "--runs", raw("runs.tsv"), "--grid", "60s", "--table", filepath.Join(dir, "table.csv"), "-o", out)
	was, is := readCSV(t, filepath.Join(dir, "table.csv")), readCSV(t, out)
	if res.Rows != len(was)-1 || len(is) != len(was) || len(is[0]) != len(was[0])+14 || res.By != "lot" {
		t.Fatalf("%+v: %d rows of %d columns became %d of %d", res, len(was), len(was[0]), len(is), len(is[0]))
	}
	var fit struct{ Features []string }
	callJSON(t, &fit, "fit", out, "--response", "hardness_N", "--product", "soft-bite-noodle", "--kind", "pls", "--features", "v_*", "--permutations", "19", "--repeats", "1", "-o", filepath.Join(t.TempDir(), "m.json"))
	if len(fit.Features) != 14 || fit.Features[0] != "v_0000s@noodle-water" {
		t.Errorf("features %v", fit.Features)
	}
	callJSON(t, &fit, "fit", filepath.Join(dir, "table.csv"), "--response", "hardness_N", "--product", "soft-bite-noodle", "--method", "noodle-water", "--kind", "pls", "--permutations", "19", "--repeats", "1", "-o", filepath.Join(t.TempDir(), "m.json"))
	pasting := 0
	for _, f := range fit.Features {
		if strings.HasSuffix(f, "@noodle-water") {
			pasting++
		}
	}
	if pasting != 10 {
		t.Errorf("%d pasting features by default: %v", pasting, fit.Features)
	}
}

// TestCurvesRefuse: what cannot be laid is a fault of the command line, and
// nothing is written.
func TestCurvesRefuse(t *testing.T) {
	a := runFile(t, "a.csv", "general-13min", map[string][]float64{"A": {1}}, "A")
	b := runFile(t, "b.csv", "noodle-water", map[string][]float64{"A": {1}}, "A")
	own := runFile(t, "own.csv", "ours", map[string][]float64{"A": {1}}, "A")
	out := filepath.Join(t.TempDir(), "whole.csv")
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no grid":          {[]string{a}, shell.ExitUsage, "--grid"},
		"no unit":          {[]string{a, "--grid", "4"}, shell.ExitUsage, "4s"},
		"°C on time":       {[]string{a, "--grid", "4C"}, shell.ExitUsage, "4s"},
		"two methods":      {[]string{a, b, "--grid", "4s"}, shell.ExitUsage, "--only"},
		"no programme":     {[]string{own, "--grid", "4s"}, shell.ExitUsage, "programme"},
		"odd rows":         {[]string{a, "--grid", "4s", "--by", "year"}, shell.ExitUsage, "run or lot"},
		"odd policy":       {[]string{a, "--grid", "4s", "--policy", "gap=maybe"}, shell.ExitUsage, "CODE=refuse"},
		"none of a method": {[]string{a, "--grid", "4s", "--only", "noodle-water"}, shell.ExitNothing, "noodle-water"},
	} {
		_, stderr, code := call(t, append(append([]string{"curves"}, c.args...), "-o", out)...)
		if _, err := os.Stat(out); code != c.code || !strings.Contains(stderr, c.says) || err == nil {
			t.Errorf("%s: exit code %d, want %d: %s", name, code, c.code, stderr)
		}
	}
	if _, stderr, code := call(t, "curves", a, b, "--grid", "4s", "--only", "noodle-water", "-o", out); code != shell.ExitDone {
		t.Errorf("--only: %d %s", code, stderr)
	}
}

// TestFeaturesConformity: JSON, terminal and page say how a run kept to its
// method, and a policy refuses it.
func TestFeaturesConformity(t *testing.T) {
	file := runFile(t, "runs.csv", "general-13min", map[string][]float64{"A": {1}}, "A")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")
	gap := filepath.Join(t.TempDir(), "gap.csv")
	if err := os.WriteFile(gap, []byte(strings.Join(append(lines[:120:120], lines[130:]...), "\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	var res struct {
		Counts struct{ Refused int }
		Runs   []struct {
			Features   map[string]float64
			Conformity struct {
				Stages     []struct{ Name string }
				Deviations []struct {
					Code, Stage, Effect string
					Size                float64
					Affects             []string
				}
			}
		}
	}
	callJSON(t, &res, "features", gap)
	c := res.Runs[0].Conformity
	if len(c.Stages) != 5 || len(c.Deviations) != 1 || c.Deviations[0].Code != "gap" || c.Deviations[0].Size != 44 || c.Deviations[0].Stage != "cooling" || len(c.Deviations[0].Affects) == 0 || res.Counts.Refused != 0 {
		t.Errorf("%+v", res)
	}
	page := filepath.Join(t.TempDir(), "runs.html")
	text, stderr, code := call(t, "features", gap, "-o", page)
	if code != shell.ExitDone || !strings.Contains(text, "heating 50 to 95 °C") || !strings.Contains(text, "pasting_temp_tangent_C") {
		t.Errorf("exit code %d: %s%s", code, text, stderr)
	}
	html, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<svg", "hot hold", "programme", ">gap<", ">onset<", "trough"} {
		if !strings.Contains(string(html), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if _, stderr, code = call(t, "features", gap, "--policy", "gap=refuse"); code != shell.ExitNothing || !strings.Contains(stderr, "refused by the policy") {
		t.Errorf("--policy gap=refuse: %d %s", code, stderr)
	}
	if _, _, code = call(t, "features", gap, "--policy", "refuse,gap=warn"); code != shell.ExitDone {
		t.Errorf("--policy refuse,gap=warn: %d", code)
	}
	if _, stderr, code = call(t, "join", "--lots", gap, "--curves", gap, "--policy", "gapp=refuse", "-o", filepath.Join(t.TempDir(), "t.csv")); code != shell.ExitUsage {
		t.Errorf("join with an odd policy: %d %s", code, stderr)
	}
}

// The runs of features --json are written as they come: the bytes are those of the
// result in one piece, on any number of cores, and a file that is not there leaves
// nothing written, wherever it stands.
func TestFeaturesJSONByPieces(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(mill(t), "raw", "curves", "*.csv"))
	if err != nil || len(paths) < 3 {
		t.Fatalf("%v, %v", paths, err)
	}
	paths = paths[:3]
	a := shell.New(io.Discard, io.Discard)
	res, err := study.Features(context.Background(), a.Env(), study.FeaturesRequest{Paths: paths})
	if err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	a.Stdout = &want
	if err := a.WriteJSON(res); err != nil {
		t.Fatal(err)
	}
	for _, cores := range []string{"1", "4"} {
		if got, stderr, code := call(t, append([]string{"features", "--json", "--cores", cores}, paths...)...); code != 0 || got != want.String() {
			t.Errorf("%s cores: exit code %d, %d bytes, want %d; %s", cores, code, len(got), want.Len(), stderr)
		}
	}
	for _, at := range []int{0, 1, len(paths)} {
		got, stderr, code := call(t, append([]string{"features", "--json"}, slices.Insert(slices.Clone(paths), at, "missing.csv")...)...)
		if code != shell.ExitFailed || got != "" || !strings.Contains(stderr, "missing.csv") {
			t.Errorf("file %d is not there: exit code %d, %d bytes; %s", at, code, len(got), stderr)
		}
	}
}
