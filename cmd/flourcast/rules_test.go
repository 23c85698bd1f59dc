package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/demo/grain"
)

const twoSecondRule = `id = "ours"
test = "two-bite"
strain_pct = 70
pause_s = 2
speed_mm_per_s = 1
`

// TestProtocolRulesAreHeld: the curves wait 2 s between bites of 2.1 mm at 1 mm/s. A
// protocol that asks for 5 s, or a strain that thickness tells or the file records, is a
// finding, and the piece is not pooled with those that kept the rule.
func TestProtocolRulesAreHeld(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	b := grain.TwoBites(rand.New(rand.NewPCG(1, 2)), grain.Noodle{Hardness: 3, Springiness: 0.9, Cohesiveness: 0.65}, false)
	curves := func(extra, header string) string {
		var s strings.Builder
		s.WriteString("lot,replicate,protocol,time_s,force_N,distance_mm" + header + "\n")
		for k, more := range strings.Split(extra, ";") {
			for i := range b.TimeS {
				fmt.Fprintf(&s, "A,%d,ours,%.2f,%.4f,%.2f%s\n", k+1, b.TimeS[i], b.ForceN[i], b.DistanceMM[i], more)
			}
		}
		return s.String()
	}
	rule := write("ours.toml", twoSecondRule)
	for _, c := range []struct {
		name, extra, header, rules string
		missed                     []int // pieces
		words                      string
	}{
		{"kept, by thickness", ",3.0;,3.0", ",thickness_mm", rule, nil, ""},
		{"thickness tells a strain of about 50 %", ",3.0;,4.0", ",thickness_mm", rule, []int{1}, "strain 49 %"},
		{"a recorded strain comes first", ",3.0,50;,3.0,70", ",thickness_mm,strain_pct", rule, []int{0}, "strain 50 %"},
		{"a pause read off the curve", ",3.0", ",thickness_mm", write("five.toml", strings.Replace(twoSecondRule, "pause_s = 2", "pause_s = 5", 1)), []int{0}, "pause 2"},
		{"a recorded pause", ",8;,2", ",pause_s", rule, []int{0}, "pause 8 s"},
	} {
		var r struct {
			Runs []struct {
				Protocol string
				Findings []struct{ Code, Found string }
			}
			Lots []struct{ Pieces int }
		}
		callJSON(t, &r, "texture", write("c.csv", curves(c.extra, c.header)), "--protocol-file", c.rules)
		var missed []int
		for i, run := range r.Runs {
			for _, f := range run.Findings {
				if f.Code == "rule-missed" {
					missed = append(missed, i)
					if !strings.HasPrefix(f.Found, c.words) || !strings.HasPrefix(run.Protocol, "ours run at "+c.words) {
						t.Errorf("%s: %+v by %q", c.name, f, run.Protocol)
					}
				}
			}
		}
		groups := 1
		if len(missed) > 0 && len(missed) < len(r.Runs) {
			groups = 2
		}
		if fmt.Sprint(missed) != fmt.Sprint(c.missed) || len(r.Lots) != groups {
			t.Errorf("%s: missed by pieces %v, want %v; %d groups, want %d", c.name, missed, c.missed, len(r.Lots), groups)
		}
	}
	// The join sets readings by other rules aside.
	lots := write("lots.csv", "lot,product\nA,white-salted-noodle\n")
	pasting := write("p.csv", "lot,method,replicate,peak_mPas\nA,noodle-water,1,2000\n")
	table := filepath.Join(dir, "t.csv")
	var j struct {
		Findings []struct{ Code, Found string }
	}
	readings := write("r.csv", "lot,protocol,replicate,hardness_N,strain_pct\nA,ours,1,3.0,70\nA,ours,2,3.1,70\nA,ours,3,2.0,50\n")
	callJSON(t, &j, "join", "--lots", lots, "--pasting", pasting, "--texture", readings, "--protocol-file", rule, "-o", table)
	codes := fmt.Sprint(j.Findings)
	if data, err := os.ReadFile(table); err != nil || !strings.Contains(string(data), "3.05,2,") || !strings.Contains(codes, "rule-missed") || !strings.Contains(codes, "pooled-differs") {
		t.Errorf("%v\n%s\n%v", err, data, codes)
	}
}
