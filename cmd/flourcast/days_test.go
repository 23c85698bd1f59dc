package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// TestDayControl: the table of a join with and without a control; an unknown
// control or way is the request's fault, and nothing is written.
func TestDayControl(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	out := filepath.Join(dir, "table.csv")
	args := []string{"join", "--lots", write("lots.csv", "lot,product\nA,layer-cake\nB,layer-cake\n"), "--pasting", write("pasting.csv", "lot,method,peak_mPas\nA,cake-water,2000\nB,cake-water,2100\n"),
		"--bakes", write("bakes.csv", "lot,date,mass_g,seed_volume_mL\nCAKE,2026-03-02,400,1000\nA,2026-03-02,400,1100\nCAKE,2026-03-03,400,1050\nB,2026-03-03,400,1100\n"), "-o", out}
	for _, bad := range [][]string{{"--day-control", "CAKF"}, {"--day-control", "CAKE", "--day-control-by", "median"}} {
		if _, stderr, code := call(t, append(args, bad...)...); code != shell.ExitUsage {
			t.Errorf("%v: exit code %d: %s", bad, code, stderr)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%v: a table was written", bad)
		}
	}
	var res struct {
		Shifts []struct {
			Response, Day string
			By            float64
		} `json:"day_shifts"`
		Findings []struct{ Code, Found string }
	}
	callJSON(t, &res, append(args, "--day-control", "CAKE")...)
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(data), "\n")
	for i, want := range []string{"1125", "1075"} { // the control is usually 1025
		if !strings.Contains(","+lines[i+1]+",", ","+want+",") {
			t.Errorf("no volume of %s in %s", want, lines[i+1])
		}
	}
	told := false
	for _, f := range res.Findings {
		told = told || f.Code == "day-shifted" && strings.Contains(f.Found, "volume +25 mL")
	}
	if len(res.Shifts) != 4 || res.Shifts[0].Response != "volume_mL" || math.Abs(res.Shifts[0].By-25) > 1e-9 || !told {
		t.Errorf("%+v", res)
	}
}
