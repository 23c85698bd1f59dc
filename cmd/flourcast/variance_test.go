package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// TestVarianceCommand: Cook's cakes (see stat/components/testdata/SOURCE.md). The
// components are worked out in exact fractions there.
func TestVarianceCommand(t *testing.T) {
	cakes := filepath.Join(moduleRoot, "stat", "components", "testdata", "cake.csv")
	var res struct {
		Schema     string
		N          int
		Components []struct {
			Name            string
			Variance, Share float64
			Raw             float64
		}
		Plan struct {
			Rows []struct{ SE float64 }
		}
	}
	callJSON(t, &res, "variance", cakes, "--response", "angle", "--by", "recipe,replicate,temp", "--want-se", "4")
	want := map[string]float64{"recipe": 0, "replicate": 41.837037037, "temp": 8.8769382716, "recipe:temp": 0.0084585538, "residual": 20.4708994709}
	total := 0.0
	for _, v := range want {
		total += v
	}
	if res.Schema != "flourcast.variance/1" || res.N != 270 || len(res.Components) != len(want) || len(res.Plan.Rows) == 0 {
		t.Fatalf("%+v", res)
	}
	for _, c := range res.Components {
		if math.Abs(c.Variance-want[c.Name]) > 1e-8 || math.Abs(c.Share-want[c.Name]/total) > 1e-9 {
			t.Errorf("%+v, want %g", c, want[c.Name])
		}
	}
	page := filepath.Join(t.TempDir(), "variance.html")
	stdout, stderr, code := call(t, "variance", cakes, "--response", "angle", "--by", "recipe,replicate,temp", "-o", page)
	if data, err := os.ReadFile(page); code != shell.ExitDone || err != nil || !bytes.Contains(data, []byte("<svg")) || stdout == "" {
		t.Errorf("exit code %d, %v, %s", code, err, stderr)
	}
	for _, args := range [][]string{
		{"variance", cakes, "--by", "recipe"},
		{"variance", cakes, "--response", "angle"},
		{"variance", cakes, "--response", "angel", "--by", "recipe"},
		{"variance", cakes, "--response", "angle", "--by", "recipe", "--want-se", "0"},
		{"variance", cakes, "--response", "angle", "--by", "recipe,replicate", "--crossed", "temp"},
	} {
		if _, _, code := call(t, args...); code != shell.ExitUsage {
			t.Errorf("%v: exit code %d", args, code)
		}
	}
}
