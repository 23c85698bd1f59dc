package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// twoBites are the rows of a two-bite record of straight lines: h up in 2 s, down
// in 1 s, 0.04 h below zero for 0.5 s, 0.9 h up in 1.8 s, down in 0.8 s.
func twoBites(head string, h float64) string {
	var b strings.Builder
	corners := [][2]float64{{0, 0}, {2, 1}, {3, 0}, {3.25, -0.04}, {3.5, 0}, {6, 0}, {7.8, 0.9}, {8.6, 0}, {9, 0}}
	for k := range 1801 {
		t := float64(k) / 200
		i := 1
		for i < len(corners)-1 && corners[i][0] < t {
			i++
		}
		p, q := corners[i-1], corners[i]
		fmt.Fprintf(&b, "%s%g,%.6f\n", head, t, h*(p[1]+(q[1]-p[1])*(t-p[0])/(q[0]-p[0])))
	}
	return b.String()
}

func put(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

type textureResult struct {
	Schema string
	Runs   []struct {
		File, Lot, Replicate string
		Readings             map[string]float64
		Findings             []struct{ Code string }
	}
}

// TestTextureCommand: readings of the record worked out by hand from Bourne 1978,
// Food Technol 32(7):62.
func TestTextureCommand(t *testing.T) {
	dir := t.TempDir()
	file := put(t, dir, "two.csv", "lot,replicate,time_s,force_N\n"+twoBites("A,1,", 10)+twoBites("A,2,", 8))
	var res textureResult
	callJSON(t, &res, "texture", file)
	if res.Schema != "flourcast.texture/1" || len(res.Runs) != 2 || res.Runs[0].File != file || res.Runs[1].Replicate != "2" {
		t.Fatalf("%+v", res)
	}
	for id, want := range map[string]float64{"hardness_N": 10, "cohesiveness": 0.78, "cohesiveness_down_stroke": 0.81, "cohesiveness_net": 0.9, "springiness": 0.9, "resilience": 0.5,
		"adhesiveness_Ns": 0.1, "gumminess_N": 7.8, "chewiness_N": 7.02} {
		if got := res.Runs[0].Readings[id]; math.Abs(got-want) > 1e-4*want {
			t.Errorf("%s = %g, want %g", id, got, want)
		}
	}
	for _, id := range []string{"fracturability_N", "firmness_N"} {
		if _, there := res.Runs[0].Readings[id]; there {
			t.Errorf("%s is there", id)
		}
	}

	own := put(t, dir, "own.toml", "id = \"ours\"\ntest = \"two-bite\"\ncohesiveness = \"down-stroke\"\n")
	callJSON(t, &res, "texture", file, "--protocol", "ours", "--protocol-file", own)
	if got := res.Runs[0].Readings["cohesiveness"]; math.Abs(got-0.81) > 1e-4 {
		t.Errorf("cohesiveness by our protocol %g", got)
	}
	mapped := put(t, dir, "plain.txt", strings.ReplaceAll(twoBites("", 1000), ",", ";"))
	m := put(t, dir, "map.toml", "header = false\ndelimiter = \";\"\nfile_name = '^(?P<lot>.+)\\.txt$'\n[[column]]\nname = \"time_s\"\nposition = 1\n[[column]]\nname = \"force_N\"\nposition = 2\nunit = \"gf\"\n")
	callJSON(t, &res, "texture", mapped, "--map", m)
	if got := res.Runs[0]; got.Lot != "plain" || math.Abs(got.Readings["hardness_N"]-9.80665) > 1e-4 {
		t.Errorf("by an import map: %+v", got)
	}

	page := filepath.Join(dir, "page.html")
	bad := put(t, dir, "bad.csv", "lot,time_s,force_N\nB,0,1\n")
	if _, stderr, code := call(t, "texture", file, bad, "-o", page, "--strict"); code != shell.ExitShort {
		t.Errorf("--strict with a refused piece: %d %s", code, stderr)
	}
	data, err := os.ReadFile(page)
	for _, words := range []string{"<svg", "first stroke", "second stroke", "adhesion"} {
		if err != nil || !bytes.Contains(data, []byte(words)) {
			t.Errorf("the page lacks %q (%v)", words, err)
		}
	}
	for want, args := range map[int][]string{
		shell.ExitNothing: {"texture", bad}, shell.ExitUsage: {"texture"}, shell.ExitFailed: {"texture", filepath.Join(dir, "not-there.csv")},
	} {
		if _, stderr, code := call(t, args...); code != want {
			t.Errorf("%v: %d %s", args, code, stderr)
		}
	}
	one, _, _ := call(t, "texture", file, "--json", "--cores", "1")
	two, _, _ := call(t, "texture", file, "--json", "--cores", "2")
	if one != two {
		t.Error("one core and two give different readings")
	}
}

// TestJoinForceCurves: a texture file of force curves is a texture file; forces come
// to one thickness when asked for.
func TestJoinForceCurves(t *testing.T) {
	dir := t.TempDir()
	lots, past := "lot,product\n", "lot,method,peak_mPas,trough_mPas\n"
	curves := "lot,replicate,thickness_mm,time_s,force_N\n"
	for lot := range 4 {
		lots += fmt.Sprintf("L%d,noodle\n", lot)
		past += fmt.Sprintf("L%d,m,%d,1200\n", lot, 2000+100*lot)
		for rep := range 5 {
			thick := 2 + 0.1*float64(rep) + 0.03*float64(lot)
			scatter := 0.01 * float64((rep*3+lot)%4)
			curves += twoBites(fmt.Sprintf("L%d,%d,%g,", lot, rep, thick), 4+float64(lot)+2*(thick-2.2)+scatter)
		}
	}
	l, p, c := put(t, dir, "lots.csv", lots), put(t, dir, "past.csv", past), put(t, dir, "curves.csv", curves)
	out := filepath.Join(dir, "table.csv")
	var res struct {
		Read, Accepted, Rows int
		Thickness            []struct {
			Response  string
			Per_mm    float64
			Corrected bool
		}
	}
	args := []string{"join", "--lots", l, "--pasting", p, "--texture", c, "-o", out}
	callJSON(t, &res, args...)
	if res.Read != 8+20*1801 || res.Accepted != res.Read || res.Rows != 4 || res.Thickness[0].Response != "hardness_N" || math.Abs(res.Thickness[0].Per_mm-2) > 0.1 || res.Thickness[0].Corrected {
		t.Fatalf("%+v", res)
	}
	plain := figuresOf(t, out, "hardness_N")
	if n := figuresOf(t, out, "thickness_mm_n"); n[0] != 5 || figuresOf(t, out, "thickness_mm")[0] != 2.2 {
		t.Errorf("thickness of %g readings", n[0])
	}
	callJSON(t, &res, append(args, "--thickness-to", "2.2")...)
	corrected := figuresOf(t, out, "hardness_N")
	for lot := range 4 {
		if want := 4 + float64(lot) + 0.02; !res.Thickness[0].Corrected || math.Abs(corrected[lot]-want) > 0.03 || math.Abs(plain[lot]-want-0.06*float64(lot)) > 0.03 {
			t.Errorf("lot %d: %g, corrected %g, want %g", lot, plain[lot], corrected[lot], want)
		}
	}
	if _, stderr, code := call(t, append(args, "--thickness-to", "0")...); code != shell.ExitUsage {
		t.Errorf("a thickness of 0: %d %s", code, stderr)
	}
	// The screen tells the slope of hardness, about 2 N per mm, in gram-force; the table stays in N.
	stdout, _, _ := call(t, append(args, "--force", "gf")...)
	if !regexp.MustCompile(`hardness .* 20[0-9] gf `).MatchString(stdout) || !slices.Equal(figuresOf(t, out, "hardness_N"), plain) {
		t.Errorf("join --force gf: %s", stdout)
	}
}

// TestForcesOnAReport: a report and its forecasts in gram-force state no force in N
// beside them, but for findings and definitions.
func TestForcesOnAReport(t *testing.T) {
	dir, page := mill(t), filepath.Join(t.TempDir(), "r.html")
	model, curves := filepath.Join(dir, "models", "soft-bite-hardness.json"), filepath.Join(dir, "raw", "new", "curves.csv")
	if _, stderr, code := call(t, "report", model, "--curves", curves, "--spec", "hardness_N=..3.9", "--force", "gf", "-o", page); code != shell.ExitDone {
		t.Fatal(stderr)
	}
	data, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for _, want := range []string{"measured hardness, gf", "predicted hardness, gf", "RMSECV 25.7 gf"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	if m := regexp.MustCompile(`[0-9] N\b|[a-z], N\b[^(]{3}`).FindString(strings.ReplaceAll(text, "Hardness, N (instrumental)", "")); m != "" {
		t.Errorf("a force in N: %q", m)
	}
	stdout, _, code := call(t, "forecast", model, curves, filepath.Join(dir, "raw", "new", "lots.csv"), "--force", "gf", "--spec", "hardness_N=..3.9")
	if code != shell.ExitDone || !strings.Contains(stdout, "at most 398 gf") || strings.Contains(stdout, "90 N") {
		t.Errorf("exit code %d: %s", code, stdout)
	}
	for _, command := range [][]string{{"report", model}, {"forecast", model, curves}, {"texture", curves}, {"join", "-o", page}} {
		if _, stderr, code := call(t, append(command, "--force", "lbf")...); code != shell.ExitUsage || !strings.Contains(stderr, "N or gf") {
			t.Errorf("%v: exit code %d, %s", command, code, stderr)
		}
	}
}

// figuresOf reads a column of figures of a table.
func figuresOf(t *testing.T, path, name string) (out []float64) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for k, head := range rows[0] {
		for _, row := range rows[1:] {
			if head == name {
				v, err := strconv.ParseFloat(row[k], 64)
				if err != nil {
					t.Fatal(err)
				}
				out = append(out, v)
			}
		}
	}
	return out
}
