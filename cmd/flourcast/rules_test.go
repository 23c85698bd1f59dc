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

// TestBakeMethodsInTheJoin: two names for one method are one, another pan or oven is
// not pooled, and the pan of the method fills in what a row does not state: 100·(425 −
// 383)/425 = 9.88 % lost in the oven.
func TestBakeMethodsInTheJoin(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	lots := write("lots.csv", "lot,product\nA,layer-cake\n")
	pasting := write("p.csv", "lot,method,replicate,peak_mPas\nA,cake-sucrose50,1,2000\n")
	method := func(id, oven string) string {
		return write(id+".toml", "id = \""+id+"\"\nfamily = \"bake\"\nproduct = \"layer-cake\"\nclass = \"high-ratio layer\"\nwater_pct = 120\nbatter_g = 425\ningredients = [{ name = \"sugar\", flour_pct = 140 }]\npan = { diameter_mm = 203, depth_mm = 38 }\noven = { temperature_C = "+oven+", time_min = 25 }\n")
	}
	one, same, hot := method("ours", "190"), method("ours-again", "190"), method("ours-hot", "205")
	for _, c := range []struct{ name, rows, want, code string }{
		{"one method under two names", "ours,1,383,900,\nours-again,2,383,920,", "910,2,", ""},
		{"another oven", "ours,1,383,900,\nours,2,383,910,\nours-hot,3,383,990,", "905,2,", "pooled-differs"},
		{"another pan stated", "ours,1,383,900,203\nours,2,383,910,\nours,3,383,990,229", "905,2,", "method-not-kept"},
	} {
		bakes := write("b.csv", "lot,protocol,replicate,mass_g,volume_mL,pan_diameter_mm\nA,"+strings.ReplaceAll(c.rows, "\n", "\nA,")+"\n")
		table := filepath.Join(dir, "t.csv")
		var j struct {
			Findings []struct{ Code, Found string }
		}
		callJSON(t, &j, "join", "--lots", lots, "--pasting", pasting, "--bakes", bakes, "--bake-method-file", one, "--bake-method-file", same, "--bake-method-file", hot, "-o", table)
		data, err := os.ReadFile(table)
		if err != nil || !strings.Contains(string(data), c.want) || !strings.Contains(string(data), "9.88") {
			t.Errorf("%s: %v\n%s", c.name, err, data)
		}
		codes := fmt.Sprint(j.Findings)
		if c.code != "" && !strings.Contains(codes, c.code) || strings.Contains(codes, "pooled-differs") != (c.code != "") {
			t.Errorf("%s: %v", c.name, codes)
		}
	}
	if _, _, code := call(t, "join", "--lots", lots, "--pasting", pasting, "--bake-method", "nobody", "-o", filepath.Join(dir, "n.csv")); code != 2 {
		t.Errorf("a bake method that is not there: exit code %d", code)
	}
}
