package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

func TestWeighExitCodes(t *testing.T) {
	broken := filepath.Join(t.TempDir(), "broken.toml")
	if err := os.WriteFile(broken, []byte("id = \"ours\"\nsolids = 4\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	cases := []struct {
		args string
		code int
		says string // on stderr
	}{
		{"--method noodle-water --moisture 12", shell.ExitDone, ""},
		{"--method noodle-water --moisture 12 --weighed-flour 4.545", shell.ExitDone, ""},
		{"--method noodle-water --moisture 16 --weighed-flour 4.545", shell.ExitDone, ""},
		{"--method noodle-water --moisture 16 --weighed-flour 4.545 --strict", shell.ExitShort, "out of tolerance"},
		{"--method noodle-water --moisture 12 --weighed-flour 4.545 --strict", shell.ExitDone, ""},
		{"--method noodle-water", shell.ExitUsage, "--moisture"},
		{"--moisture 12", shell.ExitUsage, "noodle-water"},
		{"--method noodles --moisture 12", shell.ExitUsage, "noodle-water"},
		{"--method noodle-water --moisture 100", shell.ExitUsage, "0 to 60"},
		{"--method noodle-water --moisture NaN", shell.ExitUsage, "NaN"},
		{"--method noodle-water --moisture -3", shell.ExitUsage, "moisture of -3"},
		{"--method noodle-water --moisture 13,8", shell.ExitUsage, "13,8"},
		{"--method noodle-water --moisture 12 --moisture-basis as-is", shell.ExitUsage, "dry"},
		{"--method noodle-water --moisture 12 --solids 0", shell.ExitUsage, "solids of 0"},
		{"--method noodle-water --moisture 12 --altitude 2000", shell.ExitUsage, "would boil"},
		{"--method noodle-water --moisture 12 --altitude 2000 --cap", shell.ExitDone, ""},
		{"--method noodle-water --moisture 12 --altitude 2000 --pressure 800", shell.ExitUsage, "one of the two"},
		{"--method-file " + broken + " --moisture 12", shell.ExitFailed, "broken.toml, line 2, solids"},
		{"--method-file none.toml --moisture 12", shell.ExitFailed, "none.toml"},
	}
	for _, c := range cases {
		stdout, stderr, code := call(t, append([]string{"weigh"}, strings.Fields(c.args)...)...)
		if code != c.code || !strings.Contains(stderr, c.says) || (code == shell.ExitUsage && stdout != "") {
			t.Errorf("weigh %s: code %d, %s; want %d, %q", c.args, code, stderr, c.code, c.says)
		}
	}
}

// TestWeighTextAndJSONAgree: the same figures in both, by one result.
func TestWeighTextAndJSONAgree(t *testing.T) {
	args := []string{"weigh", "--method", "noodle-inhibited", "--moisture", "13.8", "--pressure", "990"}
	var r struct {
		Schema  string `json:"schema"`
		WeighIn struct {
			Method map[string]any `json:"by_the_method"`
			Other  map[string]any `json:"by_the_other_convention"`
		} `json:"weigh_in"`
		Boiling   map[string]any      `json:"boiling"`
		AsWeighed any                 `json:"as_weighed"`
		Cautions  []map[string]string `json:"cautions"`
		Findings  []map[string]any    `json:"findings"`
		Readings  []any               `json:"readings"`
	}
	callJSON(t, &r, args...)
	if r.Schema != "flourcast.weigh/1" || r.AsWeighed != nil || r.Readings == nil || len(r.Findings) == 0 {
		t.Errorf("%+v", r)
	}
	text, _, _ := call(t, args...)
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{
		fmt.Sprintf("flour as it is, g %.3f %.3f", r.WeighIn.Method["flour_g"], r.WeighIn.Other["flour_g"]),
		fmt.Sprintf("solvent, g %.3f %.3f", r.WeighIn.Method["solvent_g"], r.WeighIn.Other["solvent_g"]),
		fmt.Sprintf("total fill, g %.3f %.3f", r.WeighIn.Method["total_fill_g"], r.WeighIn.Other["total_fill_g"]),
		fmt.Sprintf("Water boils at %.1f °C (pressure at the bench, 990 hPa)", r.Boiling["water_boils_C"]),
	} {
		if !strings.Contains(flat, want) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
	for _, c := range r.Cautions {
		if !strings.Contains(flat, c["topic"]) {
			t.Errorf("the text lacks the caution on %s", c["topic"])
		}
	}
}
