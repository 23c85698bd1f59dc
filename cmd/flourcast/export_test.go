package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// TestExport: the three formats together, what they are called in JSON, and exit codes.
func TestExport(t *testing.T) {
	dir := t.TempDir()
	fit := filepath.Join(mill(t), "models", "soft-bite-hardness.json")
	unfit := filepath.Join(mill(t), "models", "soft-bite-firmness.json")
	path := func(name string) string { return filepath.Join(dir, name) }
	var res struct {
		Schema, Standing string
		Files            []struct {
			Format, Path, SHA256 string
			Bytes                int
		}
		Findings []struct{ Code string }
	}
	callJSON(t, &res, "export", fit, "--pmml", path("m.pmml"), "--xlsx", path("m.xlsx"), "--csv", path("m.csv"), "--spec", "hardness_N=..3.9", "--strict")
	if res.Schema != "flourcast.export/1" || len(res.Files) != 3 || len(res.Findings) == 0 {
		t.Fatalf("%+v", res)
	}
	for k, start := range []string{"<?xml", "PK", "part,item"} {
		data, err := os.ReadFile(res.Files[k].Path)
		if err != nil || !bytes.HasPrefix(data, []byte(start)) || len(data) != res.Files[k].Bytes {
			t.Errorf("%+v: %v, %d bytes", res.Files[k], err, len(data))
		}
	}
	text, stderr, code := call(t, "export", unfit, "--pmml", path("u.pmml"), "--strict")
	if code != shell.ExitShort || !strings.Contains(text, "not fit for use") || !strings.Contains(stderr, "not fit") {
		t.Errorf("a model not fit for use: exit code %d\n%s%s", code, text, stderr)
	}
	if data, err := os.ReadFile(path("u.pmml")); err != nil || !strings.Contains(string(data), "VERDICT: NOT FIT FOR USE") || !strings.Contains(string(data), "invented") {
		t.Errorf("it was not written with its verdict: %v", err)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"export", fit}, shell.ExitUsage, "--pmml, --xlsx or --csv"},
		{[]string{"export", fit, "--csv", path("x.csv"), "--spec", "springiness=0.7.."}, shell.ExitUsage, "limits for springiness"},
		{[]string{"export", fit, "--csv", path("x.csv"), "--spec", "hardness_N=3,2.."}, shell.ExitUsage, "--spec"},
		{[]string{"export", fit, "--csv", path("x.csv"), "--level", "90"}, shell.ExitUsage, "between 0 and 1"},
		{[]string{"export", path("m.csv"), "--csv", path("x.csv")}, shell.ExitFailed, "model file"},
		{[]string{"export", fit, "--csv", path("none/x.csv")}, shell.ExitFailed, "none"},
	} {
		if _, stderr, code := call(t, c.args...); code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%q: exit code %d, %s", c.args, code, stderr)
		}
	}
	if _, err := os.Stat(path("x.csv")); err == nil {
		t.Error("a refused request wrote a file")
	}
}
