package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

func TestCakeCommand(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "cakes.csv")
	text := "lot,replicate,A_mm,B_mm,C_mm,D_mm,E_mm,mass_g,seed_volume_mL\nC1,1,22,38,45,37,21,400,1100\nC1,2,2.2,3.8,4.5,3.7,2.1,400,1100\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var res struct {
		Schema string
		Runs   []struct {
			File, Lot, Replicate string
			Readings             map[string]float64
			Findings             []struct{ Code string }
		}
	}
	callJSON(t, &res, "cake", file)
	if res.Schema != "flourcast.cake/1" || len(res.Runs) != 2 || res.Runs[0].File != file || res.Runs[0].Lot != "C1" || res.Runs[0].Replicate != "1" {
		t.Fatalf("%+v", res)
	}
	for id, want := range map[string]float64{"volume_mL": 1100, "specific_volume_mL_per_g": 2.75, "volume_index_mm": 120, "symmetry_index_mm": 15, "uniformity_index_mm": 1} {
		if got := res.Runs[0].Readings[id]; got != want {
			t.Errorf("%s = %g, want %g", id, got, want)
		}
	}
	if len(res.Runs[1].Readings) != 0 || res.Runs[1].Findings[0].Code != "height-unit" {
		t.Errorf("%+v", res.Runs[1])
	}
	page := filepath.Join(dir, "cakes.html")
	if _, stderr, code := call(t, "cake", file, "--method", "layer-203", "-o", page, "--strict"); code != shell.ExitShort {
		t.Errorf("--strict with a refused row: %d %s", code, stderr)
	}
	data, err := os.ReadFile(page)
	for _, words := range []string{"<svg", "left edge", "centre", "rim of the pan", "banned in some countries"} {
		if err != nil || !bytes.Contains(data, []byte(words)) {
			t.Errorf("the page lacks %q (%v)", words, err)
		}
	}
	own := filepath.Join(dir, "own.toml")
	if err := os.WriteFile(own, []byte("id = \"ours\"\nfamily = \"pasting\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
	}{
		{[]string{"cake"}, shell.ExitUsage}, {[]string{"cake", file, "--method", "bread"}, shell.ExitUsage}, {[]string{"cake", filepath.Join(dir, "gone.csv")}, shell.ExitFailed},
		{[]string{"cake", file, "--method-file", own}, shell.ExitFailed},
	} {
		if _, _, code := call(t, c.args...); code != c.code {
			t.Errorf("%v: exit code %d, want %d", c.args, code, c.code)
		}
	}
}
