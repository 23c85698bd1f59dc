package demo

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"gonum.org/v1/gonum/stat"

	"flourcast/demo/grain"
)

// tree reads every file under a directory.
func tree(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(name)] = data
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func written(t *testing.T, seed uint64) (Mill, map[string][]byte) {
	t.Helper()
	dir := t.TempDir()
	m, err := Write(dir, seed)
	if err != nil {
		t.Fatal(err)
	}
	return m, tree(t, dir)
}

func digest(files map[string][]byte) string {
	h := sha256.New()
	names := make([]string, 0, len(files))
	for n := range files {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		fmt.Fprintf(h, "%s %d\n", n, len(files[n]))
		h.Write(files[n])
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

func TestSameSeedSameBytes(t *testing.T) {
	_, a := written(t, 1)
	_, b := written(t, 1)
	_, c := written(t, 2)
	if digest(a) != digest(b) {
		t.Error("the same seed wrote other bytes")
	}
	for name := range a {
		if string(a[name]) == string(c[name]) && !strings.Contains(name, "guest") && !strings.Contains(name, "events") {
			t.Errorf("%s does not depend on the seed", name)
		}
	}
	size := 0
	for _, data := range a {
		size += len(data)
	}
	if size > 12<<20 {
		t.Errorf("%d bytes, want at most 12 MiB", size)
	}
}

func TestFilesAreListedAndSayInvented(t *testing.T) {
	m, files := written(t, 1)
	listed := slices.Concat(m.Lots, m.Runs, m.Curves, m.Pasting, m.Texture, m.Bakes, m.Strands, m.Heights, m.Controls, m.Events, m.Production, []string{m.Readme, m.New.Lots, m.New.Curves, m.Season.Lots, m.Season.Curves, m.Season.Texture, m.Season.Pairs, m.Season.Stock, m.Season.Blends, m.Season.BlendRun})
	if len(listed) != len(files) {
		t.Errorf("%d files listed, %d written", len(listed), len(files))
	}
	for _, name := range listed {
		data, ok := files[name]
		if !ok {
			t.Errorf("%s is listed and not written", name)
		}
		// A curve file holds figures only, a workbook is packed: README.txt speaks for them.
		if strings.Contains(name, "curves") || strings.HasSuffix(name, ".xlsx") {
			continue
		}
		lines := strings.Split(strings.TrimSpace(string(data)), "\n")
		for i, line := range lines[min(1, len(lines)-1):] {
			if !strings.HasSuffix(name, ".txt") && !strings.Contains(line, invented) {
				t.Errorf("%s, line %d does not say that it is invented: %s", name, i+2, line)
			}
		}
	}
	if !strings.Contains(string(files[m.Readme]), "INVENTED DATA") {
		t.Error("README.txt does not say that all is invented")
	}
}

// line is a line of a file, counted from 1, in UTF-8.
func line(t *testing.T, files map[string][]byte, f Fault) string {
	t.Helper()
	data := files[f.File]
	if strings.Contains(f.File, "2023") && strings.Contains(f.File, "texture") {
		data, _ = charmap.Windows1252.NewDecoder().Bytes(data)
	}
	lines := strings.Split(string(data), "\n")
	if f.Row < 1 || f.Row > len(lines) {
		t.Fatalf("%v: the file has %d lines", f, len(lines))
	}
	return lines[f.Row-1]
}

// Every fault stands where Truth says, and README.txt names each of them.
func TestFaultsStandWhereTruthSays(t *testing.T) {
	m, files := written(t, 1)
	wants := map[string]string{ // what → a part of the line
		"a text in a number: the figure is left out, the lot stays": "about 10",
		"protein without a basis":                                   "N24-018",
		"a supplier's wrong protein: one's own figure stands":       "supplier,this lot",
		"a typical figure, kept apart from the lot's own":           "supplier,typical",
		"a lot entered twice":                                       "N23-070",
		"breakdown is not peak − trough":                            "N23-007",
		"a setback of unknown convention":                           "setback (cP)",
		"a text in a number":                                        "too soft",
		"a replicate entered twice":                                 "N24-009",
		"a near-miss of lot N24-005 (letter O for a zero): it waits, the name is proposed and not guessed": "N24-O05",
		"a force below zero":                                           "-3,1",
		"an unknown unit: no row of the file can be used":              "hardness (units)",
		"time runs backwards: the run is refused, its duplicate stays": "N23-045,noodle-water,2",
		"a text in a number: the point is refused":                     ",over",
		"a curve of a lot that nobody has entered: it waits":           "N25-099",
	}
	for _, f := range m.Truth.Faults {
		want, ok := wants[f.What]
		if !ok {
			t.Errorf("an unexpected fault: %v", f)
			continue
		}
		delete(wants, f.What)
		if got := line(t, files, f); !strings.Contains(got, want) {
			t.Errorf("%s, line %d: %q, want %q in it", f.File, f.Row, got, want)
		}
		if entry := fmt.Sprintf("%s, %d, %s: %s", strings.TrimPrefix(f.File, "raw/"), f.Row, cmp.Or(f.Column, "whole row"), f.What); !strings.Contains(string(files[m.Readme]), entry) {
			t.Errorf("README.txt does not name: %s", entry)
		}
	}
	for what := range wants {
		t.Errorf("not written: %s", what)
	}
}

func TestWriteRefusesToTouchFilesThatAreThere(t *testing.T) {
	dir := t.TempDir()
	keep := filepath.Join(dir, "raw", "mine.csv")
	if err := os.MkdirAll(filepath.Dir(keep), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(keep, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(dir, 1); err == nil {
		t.Fatal("Write took a directory that holds files")
	}
	if got := tree(t, dir); len(got) != 1 || string(got["raw/mine.csv"]) != "mine" {
		t.Errorf("left behind: %v", got)
	}
}

func TestWriteLeavesNothingBeside(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "raw"), 0o755); err != nil { // an empty one is welcome
		t.Fatal(err)
	}
	if _, err := Write(dir, 1); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 || entries[0].Name() != "raw" {
		t.Errorf("found %v (%v), want raw alone", entries, err)
	}
	if _, err := Write(filepath.Join(dir, "raw", "README.txt"), 1); err == nil {
		t.Error("Write took a file for a directory")
	}
}

func TestThePlanIsTheMillPromised(t *testing.T) {
	p := draw(1)
	count := map[string]int{}
	for _, l := range p.lots {
		if !l.cakes {
			count["noodle flours"]++
			count[l.supplier]++
			count[l.cropYear]++
		}
		if l.noodles {
			count[l.product+" with noodles"]++
		}
		if l.cakes {
			count["cake "+l.treatment]++
		}
	}
	for what, want := range map[string]int{"noodle flours": 240, softBite + " with noodles": 48, plainBite + " with noodles": 12, "cake none": 12, "cake heat": 12, "2023": 80, "2024": 80} {
		if count[what] != want {
			t.Errorf("%s: %d, want %d", what, count[what], want)
		}
	}
	if count[north] < 60 || count[south] < 60 {
		t.Errorf("suppliers: %d and %d lots, want at least 60 each", count[north], count[south])
	}
	for _, name := range p.truth.Sprouted {
		if fn := p.truth.Flours[name].FallingNumber(); fn > 220 {
			t.Errorf("sprouted lot %s has a falling number of %.0f s", name, fn)
		}
	}
	seen := map[[3]string]bool{}
	retests, voids := 0, 0
	for _, r := range p.runs {
		key := [3]string{r.lot, r.method, fmt.Sprint(r.replicate)}
		if seen[key] {
			t.Errorf("replicate twice: %v", key)
		}
		seen[key] = true
		if r.kind == "retest" {
			retests++
		}
		if r.status == "void" {
			voids++
		}
		if (r.kind == "retest" || r.status == "void") && r.reason == "" {
			t.Errorf("run %s: no reason", r.id)
		}
	}
	if len(p.truth.FailedLots) != 4 || voids != 5 || retests != 5 {
		t.Errorf("%d lots on the failed day, %d void runs, %d retests; want 4, 5, 5", len(p.truth.FailedLots), voids, retests)
	}
	for _, w := range wanted() {
		if w.Method != noodleWater && w.Method != cakeSucrose || !strings.HasSuffix(w.File, ".json") || w.Note == "" {
			t.Errorf("wanted model %+v", w)
		}
	}
}

// seen is what a mill would see of a product: one run and one mean noodle a lot.
type seen struct {
	peak, breakdown, hardness, springiness, firmness, protein []float64
	year                                                      []int
	sound                                                     []bool
}

func look(t *testing.T, seed uint64, product string) (s seen) {
	t.Helper()
	p := draw(seed)
	if err := p.test(); err != nil {
		t.Fatal(err)
	}
	for _, l := range p.lots {
		if !l.noodles || l.product != product {
			continue
		}
		i := slices.IndexFunc(p.runs, func(r run) bool { return r.lot == l.name && r.method == noodleWater && r.status == "valid" })
		v := p.runs[i].curve.Read()
		g := rng(seed, "noodles", l.name)
		dough := grain.Dough(g, grain.CookNoodle(l.flour))
		var n grain.Noodle
		for range batches {
			b := grain.Batch(g, dough)
			for range strands {
				x := grain.Strand(g, b)
				n = grain.Noodle{Hardness: n.Hardness + x.Hardness/9, Springiness: n.Springiness + x.Springiness/9, Firmness: n.Firmness + x.Firmness/9}
			}
		}
		s.peak, s.breakdown, s.protein = append(s.peak, v.Peak), append(s.breakdown, v.Peak-v.Trough), append(s.protein, l.flour.Protein)
		s.hardness, s.springiness, s.firmness = append(s.hardness, n.Hardness), append(s.springiness, n.Springiness), append(s.firmness, n.Firmness)
		s.year, s.sound = append(s.year, l.year), append(s.sound, l.flour.FallingNumber() > 250)
	}
	return s
}

// The mill's lots, sprouted ones and the silo blend among them, show what the
// demo is there to show, whatever the seed.
func TestTheMillShowsItsTruth(t *testing.T) {
	for seed := range uint64(6) {
		s := look(t, seed, softBite)
		if len(s.peak) != 48 {
			t.Fatalf("%d lots, want 48", len(s.peak))
		}
		if r := stat.Correlation(s.peak, s.hardness, nil); r > -0.5 || r < -0.92 {
			t.Errorf("seed %d: peak and hardness r %.2f, want around -0.75", seed, r)
		}
		if r := stat.Correlation(s.breakdown, s.hardness, nil); r > -0.5 {
			t.Errorf("seed %d: breakdown and hardness r %.2f, want below -0.5", seed, r)
		}
		if a, b := stat.Correlation(s.protein, s.firmness, nil), -stat.Correlation(s.peak, s.firmness, nil); a < b+0.15 {
			t.Errorf("seed %d: firmness goes with protein at %.2f and with peak at %.2f: want protein well ahead", seed, a, b)
		}
		if m := s.missed(s.springiness, shiftYear); m < 0.6 {
			t.Errorf("seed %d: springiness of %d lies %.2f SD off the line of the older harvests, want over 0.6", seed, shiftYear, m)
		}
		for _, y := range years {
			if m := s.missed(s.hardness, y); m > 0.5 {
				t.Errorf("seed %d: hardness of %d lies %.2f SD off the line of the other harvests, want below 0.5", seed, y, m)
			}
		}
		narrow := look(t, seed, plainBite)
		if a, b := stat.StdDev(narrow.peak, nil), stat.StdDev(s.peak, nil); len(narrow.peak) != 12 || a > 0.25*b {
			t.Errorf("seed %d: %d peaks of the narrow product spread by %.0f mPa·s, of the main one by %.0f", seed, len(narrow.peak), a, b)
		}
	}
}

// missed is how far the sound lots of a harvest lie, on average, from the line
// of y on peak through the sound lots of all other harvests, in SD of y.
func (s seen) missed(y []float64, out int) float64 {
	var x0, y0, x1, y1 []float64
	for i, x := range s.peak {
		switch {
		case !s.sound[i]:
		case s.year[i] == out:
			x1, y1 = append(x1, x), append(y1, y[i])
		default:
			x0, y0 = append(x0, x), append(y0, y[i])
		}
	}
	a, b := stat.LinearRegression(x0, y0, nil, false)
	return math.Abs(stat.Mean(y1, nil)-a-b*stat.Mean(x1, nil)) / stat.StdDev(y, nil)
}
