package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"flourcast/dataset/labbook/server/servertest"
)

// labFiles are one laboratory's files: lots P0 to P29 run on instruments A and B, some
// with the inhibitor, texture by days, force curves and cakes.
func labFiles(t *testing.T) (lots, pasting, texture, force, bakes string) {
	t.Helper()
	dir := t.TempDir()
	var l, p, x strings.Builder
	l.WriteString("lot,product,family,treatment\n")
	p.WriteString("lot,method,instrument,tested_at,replicate,peak_mPas,trough_mPas,final_mPas\n")
	x.WriteString("lot,protocol,tested_at,replicate,hardness_N\n")
	for i := range 30 {
		fmt.Fprintf(&l, "P%d,soft-bite-noodle,F%d,none\n", i, i)
		for k := range 2 {
			peak := 1900 + 42*i + 7*(k+i)%11
			fmt.Fprintf(&p, "P%d,noodle-water,A,2026-01-10,%d,%d,%d,%d\n", i, k+1, peak, peak-500, peak+900)
			b := 100 + peak*9/10 + (i*i)%17
			fmt.Fprintf(&p, "P%d,noodle-water,B,2026-01-11,%d,%d,%d,%d\n", i, k+3, b, b-450, b+800)
			fmt.Fprintf(&p, "P%d,noodle-inhibited,A,2026-01-12,%d,%d,%d,%d\n", i, k+1, peak+60+10*(i%7), peak-400, peak+950)
			for day := 10; day < 12; day++ {
				fmt.Fprintf(&x, "P%d,strand,2026-01-%d,%d,%.3f\n", i, day, k+1, 3.5+0.02*float64(i)+0.01*float64((i*day+k*3)%7))
			}
		}
	}
	return put(t, dir, "lots.csv", l.String()), put(t, dir, "pasting.csv", p.String()), put(t, dir, "texture.csv", x.String()),
		put(t, dir, "force.csv", "lot,replicate,protocol,time_s,force_N\n"+twoBites("P1,1,noodle-two-bite,", 10)+twoBites("P2,1,noodle-two-bite,", 8)),
		put(t, dir, "cakes.csv", "lot,replicate,mass_g,seed_volume_mL,treatment\nP1,1,400,1000,none\nP1,2,402,1010,none\nP2,1,398,980,none\n")
}

// without takes fields out of an answer that name files.
func without(v any, fields ...string) any {
	switch n := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for k, x := range n {
			out[k] = without(x, fields...)
		}
		for _, f := range fields {
			delete(out, f)
		}
		return out
	case []any:
		out := make([]any, len(n))
		for i, x := range n {
			out[i] = without(x, fields...)
		}
		return out
	}
	return v
}

// Every job that takes files or a table gives the same answer from a lab book, be it in
// a folder or on a server.
func TestWholeJobsReadTheLabBook(t *testing.T) {
	t.Run("folder", func(t *testing.T) { jobsReadTheLabBook(t, filepath.Join(t.TempDir(), "book")) })
	t.Run("server", func(t *testing.T) { jobsReadTheLabBook(t, servertest.URL(t)) })
}

func jobsReadTheLabBook(t *testing.T, book string) {
	lots, pasting, texture, force, bakes := labFiles(t)
	table := filepath.Join(t.TempDir(), "table.csv")
	for _, args := range [][]string{
		{"init", book},
		{"add", lots, pasting, texture, force, bakes, "--book", book},
		{"join", "--lots", lots, "--pasting", pasting, "--texture", texture, "--bakes", bakes, "-o", table, "--pool", "instrument"},
	} {
		if _, errs, code := call(t, args...); code != 0 {
			t.Fatalf("%v: %s", args, errs)
		}
	}
	answer := func(args ...string) any {
		t.Helper()
		var v any
		out, errs, code := call(t, append(args, "--json")...)
		if code != 0 {
			t.Fatalf("%v: %s", args, errs)
		}
		if err := json.Unmarshal([]byte(out), &v); err != nil {
			t.Fatal(err)
		}
		return without(v, "file", "source", "made", "row", "findings")
	}
	for _, c := range []struct {
		name string
		file []string
		args []string
	}{
		{"texture", []string{force}, nil},
		{"cake", []string{bakes}, nil},
		{"pairs", []string{table}, []string{"--kind", "amylase"}},
		{"bridge", []string{pasting}, []string{"--from", "B", "--to", "A", "--method", "noodle-water", "--features", "peak_mPas"}},
	} {
		fromFile := answer(append(append([]string{c.name}, c.file...), c.args...)...)
		fromBook := answer(append([]string{c.name, "--book", book}, c.args...)...)
		if !reflect.DeepEqual(fromFile, fromBook) {
			t.Errorf("%s: from the file\n%v\nfrom the book\n%v", c.name, fromFile, fromBook)
		}
		if _, _, code := call(t, append([]string{c.name, c.file[0], "--book", book}, c.args...)...); code != 2 {
			t.Errorf("%s of a file and a book: exit code %d, want 2", c.name, code)
		}
	}
	// The book has all readings, so those of force curves beside those of the file.
	fromFile := answer("variance", texture, "--response", "hardness_N", "--by", "lot,tested_at").(map[string]any)
	fromBook := answer("variance", "--book", book, "--response", "hardness_N", "--by", "protocol,lot").(map[string]any)
	if fromFile["n"] != 120.0 || fromBook["n"] != 122.0 {
		t.Errorf("variance: %v readings in the file, %v in the book, want 120 and 122", fromFile["n"], fromBook["n"])
	}
	if _, errs, code := call(t, "bands", "--book", book, "--figure", "volume_mL", "--dose", "pH"); code != 2 && code != 3 || strings.Contains(errs, "column") {
		t.Errorf("bands of cakes without chlorination: exit code %d, %s", code, errs)
	}
	if _, errs, code := call(t, "verify", "--book", book); code != 0 {
		t.Errorf("verify: %s", errs)
	}
}

// A method that came with --method-file once is kept in the book, and used without.
func TestMethodsAreKeptInTheLabBook(t *testing.T) {
	dir := t.TempDir()
	book := filepath.Join(dir, "book")
	builtin, err := os.ReadFile(filepath.Join(moduleRoot, "dataset/method/builtin/noodle-water.toml"))
	if err != nil {
		t.Fatal(err)
	}
	own := put(t, dir, "ours.toml", strings.Replace(string(builtin), `"noodle-water"`, `"ours"`, 1))
	file := runFile(t, "curves.csv", "ours", map[string][]float64{"A": {1, 1.02}}, "A")
	lots := put(t, dir, "lots.csv", "lot,product\nA,soft-bite-noodle\n")
	for _, args := range [][]string{{"init", book}, {"add", lots, file, "--book", book, "--method-file", own}, {"add", lots, "--book", book, "--method-file", own}} {
		if _, errs, code := call(t, args...); code != 0 {
			t.Fatalf("%v: %s", args, errs)
		}
	}
	var trail struct{ Lines []struct{ What string } }
	callJSON(t, &trail, "log", "--book", book, "--kind", "method")
	if len(trail.Lines) != 1 || trail.Lines[0].What != "ours" {
		t.Errorf("methods of the book: %+v", trail.Lines)
	}
	var with, kept any
	callJSON(t, &with, "features", "--book", book, "--method-file", own)
	callJSON(t, &kept, "features", "--book", book)
	if !reflect.DeepEqual(with, kept) || !strings.Contains(fmt.Sprint(kept), "ours") || strings.Contains(fmt.Sprint(kept), "method-unknown") {
		t.Errorf("with the file\n%v\nfrom the book\n%v", with, kept)
	}
}

// Texture protocols and bake methods that came with their files once are kept in the
// book, in each wording, and used without; a copy of the book has them, and verify holds
// with them. What is given by hand stands before the book's.
func TestProtocolsAndBakeMethodsAreKeptInTheLabBook(t *testing.T) {
	dir := t.TempDir()
	book, spare, again := filepath.Join(dir, "book"), filepath.Join(dir, "spare"), filepath.Join(dir, "again")
	rule := func(strain string) string {
		return put(t, dir, "rule"+strain+".toml", strings.Replace(twoSecondRule, "70", strain, 1))
	}
	bake := put(t, dir, "bake.toml", "id = \"our-bake\"\nfamily = \"bake\"\nproduct = \"layer-cake\"\nclass = \"high-ratio layer\"\nwater_pct = 120\nbatter_g = 425\ningredients = [{ name = \"sugar\", flour_pct = 140 }]\npan = { diameter_mm = 203, depth_mm = 38 }\noven = { temperature_C = 190, time_min = 25 }\n")
	lots := put(t, dir, "lots.csv", "lot,product\nA,white-salted-noodle\nB,layer-cake\n")
	pasting := put(t, dir, "p.csv", "lot,method,replicate,peak_mPas\nA,noodle-water,1,2000\nB,noodle-water,1,2100\n")
	readings := put(t, dir, "r.csv", "lot,protocol,replicate,hardness_N,strain_pct\nA,ours,1,3.0,70\nA,ours,2,3.1,70\nA,ours,3,2.0,50\n")
	bakes := put(t, dir, "b.csv", "lot,protocol,replicate,mass_g,volume_mL\nB,our-bake,1,383,900\n")
	run := func(args ...string) {
		t.Helper()
		if _, errs, code := call(t, args...); code != 0 {
			t.Fatalf("%v: %s", args, errs)
		}
	}
	run("init", book)
	run("add", lots, pasting, readings, bakes, "--book", book, "--protocol-file", rule("70"), "--bake-method-file", bake)
	joined := func(more ...string) string {
		t.Helper()
		out := filepath.Join(dir, "t.csv")
		run(append([]string{"join", "-o", out}, more...)...)
		data, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	files := joined("--lots", lots, "--pasting", pasting, "--texture", readings, "--bakes", bakes, "--protocol-file", rule("70"), "--bake-method-file", bake)
	if kept := joined("--book", book); kept != files || !strings.Contains(kept, "3.05,2,") || !strings.Contains(kept, "9.88") {
		t.Errorf("from the files\n%s\nfrom the book\n%s", files, kept)
	}
	if hand := joined("--book", book, "--protocol-file", rule("50")); hand == files {
		t.Errorf("another protocol by hand changes nothing:\n%s", hand)
	}
	// Another wording is a row of its own, which counts from then on.
	more := put(t, dir, "r2.csv", "lot,protocol,replicate,hardness_N,strain_pct\nA,ours,4,2.1,50\nA,ours,5,2.2,50\n")
	run("add", more, "--book", book, "--protocol-file", rule("50"), "--bake-method-file", bake)
	if now := joined("--book", book); !strings.Contains(now, "2.1,3,") {
		t.Errorf("by the later wording:\n%s", now)
	}
	run("verify", "--book", book)
	run("backup", spare, "--book", book)
	run("restore", spare, again)
	run("verify", "--book", again)
	if a, b := joined("--book", book), joined("--book", again); a != b {
		t.Errorf("the book\n%s\nand its copy\n%s", a, b)
	}
	for kind, want := range map[string]int{"protocol": 2, "bake-method": 1} {
		var trail struct{ Lines []struct{ What string } }
		if callJSON(t, &trail, "log", "--book", again, "--kind", kind); len(trail.Lines) != want {
			t.Errorf("%s: %+v", kind, trail.Lines)
		}
	}
}
