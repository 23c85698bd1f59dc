package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/labbook/server/servertest"
)

// scratch is the folder of what the tests of this package share.
var scratch string

// built is flourcast as built for users and what its `demo mill` wrote and said: made
// once for all tests of this package, those under the race detector too.
type built struct{ program, mill, said string }

var build = sync.OnceValues(func() (built, error) {
	b := built{program: filepath.Join(scratch, "flourcast"), mill: filepath.Join(scratch, "mill")}
	if said, err := exec.Command("go", "build", "-buildvcs=false", "-o", b.program, ".").CombinedOutput(); err != nil {
		return b, fmt.Errorf("go build: %w\n%s", err, said)
	}
	var stdout, stderr bytes.Buffer
	cmd := exec.Command(b.program, "demo", "mill")
	cmd.Dir, cmd.Stdout, cmd.Stderr = scratch, &stdout, &stderr
	if err := cmd.Run(); err != nil {
		return b, fmt.Errorf("flourcast demo mill: %w\n%s", err, stderr.String())
	}
	b.said = stdout.String() + stderr.String()
	return b, nil
})

func TestMain(m *testing.M) {
	if line := os.Getenv(addEnv); line != "" { // flourcast itself, for those who kill it
		os.Exit(run(context.Background(), strings.Split(line, "\n"), nil, os.Stdout, os.Stderr))
	}
	var err error
	if scratch, err = os.MkdirTemp("", "flourcast-test-"); err != nil {
		panic(err)
	}
	code := m.Run()
	servertest.Stop()
	os.RemoveAll(scratch)
	os.Exit(code)
}

func flourcast(t *testing.T) built {
	t.Helper()
	b, err := build()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// mill is the folder of the invented mill, for tests that only read it.
func mill(t *testing.T) string {
	t.Helper()
	return flourcast(t).mill
}

// call runs a command line and returns what it printed and its exit code.
func call(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(context.Background(), args, nil, &out, &errs)
	return out.String(), errs.String(), code
}

// callJSON runs a command line that must succeed and decodes its JSON.
func callJSON(t *testing.T, into any, args ...string) {
	t.Helper()
	stdout, stderr, code := call(t, append(args, "--json")...)
	if code != 0 {
		t.Fatalf("%s: exit code %d: %s", strings.Join(args, " "), code, stderr)
	}
	if err := json.Unmarshal([]byte(stdout), into); err != nil {
		t.Fatalf("%s: %v in %.200s", strings.Join(args, " "), err, stdout)
	}
}

func TestExitCodes(t *testing.T) {
	dir := mill(t)
	at := func(name string) string { return filepath.Join(dir, filepath.FromSlash(name)) }
	tmp := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(tmp, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	empty := write("empty.csv", "")
	flat := write("flat.csv", "lot,method,replicate,time_s,temperature_C,viscosity_mPas\nA,noodle-water,1,0,50,10\nA,noodle-water,1,4,50,10\n")
	model := at("models/soft-bite-hardness.json")
	unfit := at("models/white-salted-hardness.json")
	tampered := write("tampered.json", "")
	data, err := os.ReadFile(model)
	if err != nil {
		t.Fatal(err)
	}
	write("tampered.json", strings.Replace(string(data), `"standing": "fit for use"`, `"standing": "provisional"`, 1))
	cases := []struct {
		name string
		args []string
		code int
		says string // on stderr
	}{
		{"version", []string{"version"}, shell.ExitDone, ""},
		{"help", []string{"--help"}, shell.ExitDone, ""},
		{"verdict of an unfit model without --strict", []string{"verdict", unfit}, shell.ExitDone, ""},
		{"missing file", []string{"verdict", at("models/none.json")}, shell.ExitFailed, "no such file"},
		{"changed model file", []string{"verdict", tampered}, shell.ExitFailed, "SHA-256"},
		{"a table for a model", []string{"verdict", at("table.csv")}, shell.ExitFailed, "a model file"},
		{"unknown command", []string{"predict"}, shell.ExitUsage, "unknown command"},
		{"unknown flag", []string{"fit", at("table.csv"), "--respons", "x"}, shell.ExitUsage, "unknown flag"},
		{"missing flag", []string{"fit", at("table.csv"), "--kind", "pls"}, shell.ExitUsage, "response"},
		{"missing argument", []string{"verdict"}, shell.ExitUsage, "arg"},
		{"unknown kind", []string{"fit", at("table.csv"), "--response", "hardness_N", "--kind", "forest"}, shell.ExitUsage, "pls"},
		{"unknown column", []string{"fit", at("table.csv"), "--response", "hardnes_N", "--kind", "pls"}, shell.ExitUsage, "hardness_N"},
		{"components", []string{"fit", at("table.csv"), "--response", "hardness_N", "--kind", "pls", "--components", "two"}, shell.ExitUsage, "--components"},
		{"folds", []string{"fit", at("table.csv"), "--response", "hardness_N", "--kind", "mean", "--folds", "k=1"}, shell.ExitUsage, "k=N"},
		{"spec", []string{"forecast", model, at("raw/new/curves.csv"), "--spec", "hardness_N=4..3"}, shell.ExitUsage, "spec"},
		{"spec of another response", []string{"forecast", model, at("raw/new/curves.csv"), "--spec", "springiness=0.8.."}, shell.ExitUsage, "hardness_N"},
		{"join without lots", []string{"join", "--curves", flat, "-o", filepath.Join(tmp, "t.csv")}, shell.ExitUsage, "--lots"},
		{"nothing usable in a curve", []string{"features", flat}, shell.ExitNothing, "flat.csv"},
		{"nothing in an empty file", []string{"features", empty}, shell.ExitNothing, "empty.csv"},
		{"nothing to join", []string{"join", "--lots", at("raw/lots.csv"), "--curves", flat, "-o", filepath.Join(tmp, "t.csv")}, shell.ExitNothing, ""},
		{"strict verdict", []string{"verdict", unfit, "--strict"}, shell.ExitShort, "not fit for use"},
		{"strict forecast", []string{"forecast", model, at("raw/new/curves.csv"), "--lots", at("raw/new/lots.csv"), "--spec", "hardness_N=..3.9", "--strict"}, shell.ExitShort, "held"},
		{"strict features", []string{"features", at("raw/curves/noodle-water-2023.csv"), "--strict"}, shell.ExitShort, "refused"},
		{"demo into a used folder", []string{"demo", dir}, shell.ExitFailed, "nothing was written"},
	}
	for _, c := range cases {
		_, stderr, code := call(t, c.args...)
		if code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: exit code %d, want %d; stderr %q, want %q in it", c.name, code, c.code, stderr, c.says)
		}
	}
	if _, err := os.Stat(filepath.Join(tmp, "t.csv")); err == nil {
		t.Error("a join of nothing wrote a table")
	}
}

func TestInterruptLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var out, errs bytes.Buffer
	table := filepath.Join(mill(t), "table.csv")
	model := filepath.Join(dir, "m.json")
	if code := run(ctx, []string{"fit", table, "--response", "hardness_N", "--kind", "pls", "--product", "soft-bite-noodle", "--method", "noodle-water", "-o", model}, nil, &out, &errs); code != shell.ExitInterrupted {
		t.Errorf("exit code %d, want %d; %s", code, shell.ExitInterrupted, errs.String())
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) > 0 {
		t.Errorf("left %v, %v", left, err)
	}
}

// TestWholeDemoIsTheSameBytes makes the mill a second time, on one core.
func TestWholeDemoIsTheSameBytes(t *testing.T) {
	first, second := mill(t), filepath.Join(t.TempDir(), "again")
	if _, stderr, code := call(t, "demo", second, "--cores", "1"); code != 0 {
		t.Fatal(stderr)
	}
	files := 0
	err := filepath.WalkDir(first, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		rel, err := filepath.Rel(first, path)
		if err != nil {
			return err
		}
		a, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		b, err := os.ReadFile(filepath.Join(second, rel))
		if err != nil {
			return err
		}
		if !bytes.Equal(a, b) {
			t.Errorf("%s differs", rel)
		}
		return nil
	})
	if err != nil || files < 15 {
		t.Errorf("%d files compared, %v", files, err)
	}
	var other struct{ Models []any }
	third := filepath.Join(t.TempDir(), "other")
	callJSON(t, &other, "demo", third, "--seed", "2")
	a, errA := os.ReadFile(filepath.Join(first, "table.csv"))
	b, errB := os.ReadFile(filepath.Join(third, "table.csv"))
	if errA != nil || errB != nil || bytes.Equal(a, b) {
		t.Errorf("another seed gave the same table (%v, %v)", errA, errB)
	}
}

// TestJSONKeepsItsPromises checks the fields that scripts rely on.
func TestJSONKeepsItsPromises(t *testing.T) {
	dir := mill(t)
	at := func(name string) string { return filepath.Join(dir, filepath.FromSlash(name)) }
	tmp := t.TempDir()
	has := func(what string, object map[string]any, fields ...string) {
		t.Helper()
		for _, f := range fields {
			if _, ok := object[f]; !ok {
				t.Errorf("%s lacks %s", what, f)
			}
		}
	}
	inner := func(object map[string]any, field string) map[string]any {
		t.Helper()
		switch v := object[field].(type) {
		case map[string]any:
			return v
		case []any:
			if len(v) > 0 {
				if m, ok := v[0].(map[string]any); ok {
					return m
				}
			}
		}
		t.Errorf("%s is %T, expected an object or a list of them", field, object[field])
		return nil
	}
	var features, joined, fit, verdict, forecast map[string]any
	callJSON(t, &features, "features", at("raw/new/curves.csv"))
	has("features", features, "schema", "runs", "findings")
	has("a run", inner(features, "runs"), "file", "lot", "method", "replicate", "features", "findings")

	callJSON(t, &joined, "join", "--lots", at("raw/lots.csv"), "--curves", at("raw/curves/noodle-water-2023.csv"), at("raw/curves/noodle-water-2024.csv"),
		"--texture", at("raw/texture-2023.csv"), "-o", filepath.Join(tmp, "t.csv"))
	has("join", joined, "schema", "rows", "waiting", "refused", "unpaired", "findings")
	has("a finding", inner(joined, "findings"), "code", "severity", "file", "row", "column", "found", "want", "do")
	if joined["read"].(float64) != joined["accepted"].(float64)+joined["waiting"].(float64)+joined["refused"].(float64) {
		t.Errorf("accepted + waiting + refused is not read: %v %v %v %v", joined["accepted"], joined["waiting"], joined["refused"], joined["read"])
	}

	callJSON(t, &fit, "fit", at("table.csv"), "--response", "hardness_N", "--kind", "pls", "--product", "soft-bite-noodle", "--method", "noodle-water",
		"--features", "peak_mPas,breakdown_mPas,final_mPas", "--permutations", "49", "-o", filepath.Join(tmp, "m.json"))
	has("fit", fit, "schema", "kind", "n", "features", "response", "components", "intercept", "coefficients", "cv", "verdict", "findings")
	cv := inner(fit, "cv")
	has("cv", cv, "scheme", "rmsecv", "q2", "rmsecv_by_components", "predictions")
	has("a prediction", inner(cv, "predictions"), "lot", "measured", "predicted")
	v := inner(fit, "verdict")
	has("verdict", v, "standing", "grade", "checks")
	has("a check", inner(v, "checks"), "name", "outcome", "figure", "threshold", "detail", "cure")
	if n := len(cv["rmsecv_by_components"].([]any)); n != 3 {
		t.Errorf("%d errors by components for 3 features", n)
	}

	var ols map[string]any
	callJSON(t, &ols, "fit", at("table.csv"), "--response", "hardness_N", "--kind", "ols", "--product", "soft-bite-noodle", "--features", "peak_mPas,protein_pct", "--method", "noodle-water", "--permutations", "0")
	has("ols", ols, "standard_errors", "r2", "sigma", "condition")

	callJSON(t, &verdict, "verdict", filepath.Join(tmp, "m.json"))
	has("verdict", verdict, "schema", "standing", "grade", "checks", "directions")
	page := filepath.Join(tmp, "verdict.html")
	if _, errs, code := call(t, "verdict", filepath.Join(tmp, "m.json"), "-o", page); code != shell.ExitDone {
		t.Error(errs)
	}
	if html, err := os.ReadFile(page); err != nil || !strings.Contains(string(html), "better than the mean") || !strings.Contains(string(html), "OECD") || !strings.Contains(string(html), "TRIPOD") || !strings.Contains(string(html), "<svg") {
		t.Errorf("the verdict's page lacks checks, model card or picture (%v)", err)
	}

	callJSON(t, &forecast, "forecast", at("models/soft-bite-hardness.json"), at("raw/new/curves.csv"), "--lots", at("raw/new/lots.csv"), "--spec", "hardness_N=..3.9")
	has("a forecast", inner(forecast, "forecasts"), "lot", "response", "value", "low", "high", "level", "domain", "domain_by", "nearest", "decision", "reasons")
	decisions := map[string]string{}
	for _, f := range forecast["forecasts"].([]any) {
		f := f.(map[string]any)
		decisions[f["lot"].(string)] = f["decision"].(string)
	}
	want := map[string]string{"N26-001": "accept", "N26-004": "hold", "N26-005": "hold"}
	for lot, decision := range want {
		if decisions[lot] != decision {
			t.Errorf("lot %s: %q, want %q", lot, decisions[lot], decision)
		}
	}
}

// TestTextAndJSONShowTheSameNumbers compares the terminal's forecast with JSON's.
func TestTextAndJSONShowTheSameNumbers(t *testing.T) {
	dir := mill(t)
	args := []string{"verdict", filepath.Join(dir, "models", "soft-bite-hardness.json")}
	var res struct {
		Standing string
		Sentence string
		Checks   []struct{ Name, Outcome string }
	}
	callJSON(t, &res, args...)
	text, _, _ := call(t, args...)
	flat := strings.Join(strings.Fields(text), " ")
	flat = strings.ReplaceAll(flat, "│ ", "")
	if !strings.Contains(strings.ToLower(flat), res.Standing) || !strings.Contains(flat, res.Sentence) {
		t.Errorf("the text lacks the standing %q or the sentence %q:\n%s", res.Standing, res.Sentence, flat)
	}
	for _, c := range res.Checks {
		i := slices.IndexFunc(strings.Split(text, "\n"), func(line string) bool {
			return strings.HasPrefix(line, c.Name) && strings.Contains(line, c.Outcome)
		})
		if i < 0 {
			t.Errorf("the text has no line for %s: %s", c.Name, c.Outcome)
		}
	}
}

func TestReportIsOneFile(t *testing.T) {
	dir := mill(t)
	out := filepath.Join(t.TempDir(), "r.html")
	if _, stderr, code := call(t, "report", filepath.Join(dir, "models", "soft-bite-hardness.json"), "--curves", filepath.Join(dir, "raw", "new", "curves.csv"), "-o", out); code != 0 {
		t.Fatal(stderr)
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	for _, want := range []string{"<!doctype html>", "invented", "Verdict", "measured against predicted", "<svg", "Published directions", "N26-001", "releases nothing"} {
		if !strings.Contains(page, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	for _, never := range []string{"src=\"http", "href=\"http", "url(http", "<script"} {
		if strings.Contains(page, never) {
			t.Errorf("the report has %q: it must stand alone", never)
		}
	}
}
