package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// ownTable is a scientist's table without a single trait of the glossary but
// protein: y follows a, and b is twice a plus one.
func ownTable(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("batch,site,protein_pct,peak_mPas,ratio,y\n")
	for i := range 40 {
		a, c := float64(i%7), float64((i*5)%11)
		fmt.Fprintf(&b, "B%02d,%c,%.2f,%.0f,%.3f,%.3f\n", i, "ab"[i%2], 10+0.1*c, 2000+100*a, 2*a+1, 3-0.4*a+0.05*c+0.2*math.Sin(float64(7*i)))
	}
	path := filepath.Join(t.TempDir(), "own.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestSurveyCommands(t *testing.T) {
	path := ownTable(t)
	var related struct {
		Schema    string
		Relations []struct {
			Feature      string
			N            int
			R            float64
			P            *float64
			PAdjusted    *float64 `json:"p_adjusted"`
			GivenProtein *struct{ R, Low, High float64 }
		}
	}
	callJSON(t, &related, "relate", path, "--response", "y")
	if related.Schema != "flourcast.relate/1" || len(related.Relations) != 2 || related.Relations[1].Feature != "peak_mPas" || related.Relations[1].R > -0.9 || related.Relations[1].N != 40 ||
		related.Relations[1].P == nil || *related.Relations[1].PAdjusted < *related.Relations[1].P {
		t.Errorf("%+v", related)
	}
	var compared struct {
		Schema        string
		Candidates    []struct{ Name string }
		BeyondProtein *struct{ Value, Low, High float64 } `json:"beyond_protein"`
		Chosen        struct{ Q2 float64 }
	}
	callJSON(t, &compared, "compare", path, "--response", "y", "--features", "protein_pct,peak_mPas,ratio", "--repeats", "2")
	if compared.Schema != "flourcast.compare/1" || len(compared.Candidates) != 8 || compared.BeyondProtein == nil || compared.BeyondProtein.Low <= 0 || compared.Chosen.Q2 < 0.8 {
		t.Errorf("%+v", compared)
	}
	var planned struct {
		Schema  string
		Curve   []struct{ Lots int }
		ForSpec *struct{ Lots *int } `json:"for_spec"`
	}
	callJSON(t, &planned, "plan", path, "--response", "y", "--spec", "y=0..3")
	if planned.Schema != "flourcast.plan/1" || len(planned.Curve) != 6 || planned.ForSpec == nil || planned.ForSpec.Lots == nil {
		t.Errorf("%+v", planned)
	}
	for _, job := range []string{"relate", "compare", "plan"} {
		page := filepath.Join(t.TempDir(), job+".html")
		stdout, stderr, code := call(t, job, path, "--response", "y", "-o", page)
		data, err := os.ReadFile(page)
		if code != shell.ExitDone || err != nil || !bytes.Contains(data, []byte("<svg")) || stdout == "" {
			t.Errorf("%s: exit code %d, %v, %s", job, code, err, stderr)
		}
		for _, args := range [][]string{{path}, {path, "--response", "nothing"}, {path, "--response", "y", "--features", "none"}, {"--response", "y"}} {
			if _, _, code := call(t, append([]string{job}, args...)...); code != shell.ExitUsage {
				t.Errorf("%s %v: exit code %d", job, args, code)
			}
		}
		var chosen struct {
			Rows  int
			Where []struct{ Column, Value string }
		}
		if callJSON(t, &chosen, job, path, "--response", "y", "--where", "site=b"); chosen.Rows != 20 || len(chosen.Where) != 1 || chosen.Where[0].Value != "b" {
			t.Errorf("%s --where: %+v, want the 20 rows of site b", job, chosen)
		}
		if _, _, code := call(t, job, path, "--response", "y", "--where", "site"); code != shell.ExitUsage {
			t.Errorf("%s --where site: exit code %d", job, code)
		}
		if _, _, code := call(t, job, path+"x", "--response", "y"); code != shell.ExitFailed {
			t.Errorf("%s on no file: exit code %d", job, code)
		}
	}
	for _, args := range [][]string{{"--spec", "y=1"}, {"--spec", "y=..3"}, {"--kind", "forest"}, {"--components", "0"}} {
		if _, _, code := call(t, append([]string{"plan", path, "--response", "y"}, args...)...); code != shell.ExitUsage {
			t.Errorf("plan %v: exit code %d", args, code)
		}
	}
}
