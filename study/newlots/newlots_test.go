package newlots

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/column"
	"flourcast/study/card"
	"flourcast/study/job"
)

func lotOf(method string, figures map[string]float64) Lot {
	return Lot{Name: "L1", Method: method, Figure: func(c string) (float64, bool) { v, ok := figures[c]; return v, ok }}
}

// A feature is found by whichever of its names the source has, and never by another
// method's.
func TestFind(t *testing.T) {
	for _, c := range []struct {
		lot            Lot
		feature, model string
		want           float64
		by             string
		ok             bool
	}{
		{lotOf("a", map[string]float64{"peak_mPas": 2500}), "peak_mPas", "a", 2500, "", true},
		{lotOf("", map[string]float64{"peak_mPas@a": 2500, "peak_mPas@b": 1900}), "peak_mPas", "a", 2500, "a", true},
		{lotOf("a", map[string]float64{"peak_mPas": 2500}), "peak_mPas@a", "", 2500, "a", true},
		{lotOf("b", map[string]float64{"peak_mPas": 1900}), "peak_mPas@a", "", 0, "", false},
		{lotOf("", map[string]float64{"peak_mPas@b": 1900}), "peak_mPas", "a", 0, "a", false},
		{lotOf("a", nil), "peak_mPas", "", 0, "", false},
	} {
		s, by, ok := c.lot.Find(c.feature, c.model)
		if ok != c.ok || ok && (s.Mean != c.want || by != c.by) {
			t.Errorf("%s for a model of %q: %v by %q, %v; want %v by %q, %v", c.feature, c.model, s.Mean, by, ok, c.want, c.by, c.ok)
		}
	}
}

// folder is an empty folder, and what writes a file into it and gives its path.
func folder(t *testing.T) (dir string, write func(name, text string) string) {
	dir = t.TempDir()
	return dir, func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
}

// A table's rows are lots, a lots file adds what the table lacks, and what the source
// states against the model's rows is said.
func TestReadTable(t *testing.T) {
	_, write := folder(t)
	c := &card.Card{Product: "layer-cake", Features: []string{"peak_mPas", "protein_pct"}, Treatment: "none", Where: []column.Condition{{Column: "site", Value: "east"}}}
	found, err := Read(context.Background(), job.Env{}, c, Files{
		Paths: []string{write("t.csv", "lot,product,site,treatment,peak_mPas\nA,layer-cake,east,none,2500\nB,sponge-cake,west,heat,2600\nC,layer-cake,east,,2700\n")},
		Lots:  write("lots.csv", "lot,protein_pct,protein_basis\nA,9.1,14 %\n,8,14 %\n"),
	})
	if err != nil || len(found.Lots) != 3 || found.Refused != 1 {
		t.Fatalf("%v: %d lots, %d refused; want 3, and the row without a lot refused", err, len(found.Lots), found.Refused)
	}
	a, b, last := found.Lots[0], found.Lots[1], found.Lots[2]
	if p, _, ok := a.Find("protein_pct", ""); !ok || p.Mean != 9.1 {
		t.Errorf("protein of A %v, %v; want 9.1 of the lots file", p.Mean, ok)
	}
	if _, _, ok := b.Find("protein_pct", ""); ok {
		t.Error("B has a protein that nobody measured")
	}
	if got := b.OtherRows(c); len(got) != 2 || !b.OfAnother(c.Product) {
		t.Errorf("B: %q; want its treatment and its site, and another product", got)
	}
	if got := append(a.OtherRows(c), last.OtherRows(c)...); len(got) != 0 || a.OfAnother(c.Product) {
		t.Errorf("A and C: %q; what is not stated is not held against a lot", got)
	}
}

// A lots file among the files is recognised by its columns and does what Lots does;
// it is no file of tests, and its lots are not held for want of a pasting feature.
func TestLotsFileAmongPaths(t *testing.T) {
	dir, write := folder(t)
	values := write("values.csv", "lot,run,replicate,peak_mPas\nA,R1,1,2500\nB,R2,1,-3\n")
	lots := write("lots.csv", "lot,protein_pct,protein_basis\nA,9.1,14 %\nB,8.0,14 %\nC,8.8,14 %\n")
	c := &card.Card{Method: "noodle-water", Features: []string{"peak_mPas", "protein_pct"}}
	for name, q := range map[string]Files{"path": {Paths: []string{lots, values}}, "Lots": {Paths: []string{values}, Lots: lots}} {
		found, err := Read(context.Background(), job.Env{}, c, q)
		if err != nil || len(found.Lots) != 2 || found.Refused != 1 {
			t.Fatalf("%s: %v: %d lots, %d rows refused; want A, and B whose run is refused\n%v", name, err, len(found.Lots), found.Refused, found.Findings)
		}
		a, b := found.Lots[0], found.Lots[1]
		if p, _, ok := a.Find("protein_pct", ""); !ok || p.Mean != 9.1 || len(a.Problems) != 0 {
			t.Errorf("%s: A: %v, %v, %q", name, p.Mean, ok, a.Problems)
		}
		if len(b.Problems) != 1 || !strings.HasPrefix(b.Problems[0], "run R2: ") || strings.Contains(b.Problems[0], dir) {
			t.Errorf("%s: B: %q; want one sentence on run R2, without the file's path", name, b.Problems)
		}
	}
}
