package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// TestShow: text and JSON of a saved model, and what is refused.
func TestShow(t *testing.T) {
	model := filepath.Join(mill(t), "models", "soft-bite-hardness.json")
	var res struct {
		Schema, Kind, Standing string
		Rows                   int
		File                   struct {
			Schema      string
			HashMatches bool `json:"hash_matches"`
		}
		Features []struct{ Feature, Unit string }
		Lots     []struct{ Lot string }
	}
	callJSON(t, &res, "show", model)
	if res.Schema != "flourcast.show/1" || res.File.Schema != "flourcast.model/1" || !res.File.HashMatches || res.Kind != "pls" || res.Rows != len(res.Lots) || len(res.Features) == 0 {
		t.Errorf("got %+v", res)
	}
	text, stderr, code := call(t, "show", model)
	if code != shell.ExitDone {
		t.Fatal(stderr)
	}
	for _, want := range []string{"invented", "peak viscosity", "mPa·s", res.Standing, res.Lots[0].Lot, "lots_pass", "releases nothing"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q", want)
		}
	}
	data, err := os.ReadFile(model)
	if err != nil {
		t.Fatal(err)
	}
	for says, change := range map[string][2]string{"SHA-256": {`"kind": "pls"`, `"kind": "ols"`}, `schema "flourcast.model/7"`: {"flourcast.model/1", "flourcast.model/7"}} {
		path := filepath.Join(t.TempDir(), "changed.json")
		if err := os.WriteFile(path, []byte(strings.Replace(string(data), change[0], change[1], 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, stderr, code := call(t, "show", path); code != shell.ExitFailed || !strings.Contains(stderr, says) || !strings.Contains(stderr, "changed.json") {
			t.Errorf("%s: exit code %d, %s", says, code, stderr)
		}
	}
}
