package cakes

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
	"flourcast/study/job"
)

type tb interface {
	Helper()
	Fatal(...any)
}

func write(t tb, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func cake(q Request) (*Result, error) { return Cake(context.Background(), job.Env{}, q) }

const head = "lot,replicate,A_mm,B_mm,C_mm,D_mm,E_mm,mass_g,seed_volume_mL\n"

// TestCake: B 38, C 45, D 37 mm give 120, +15, +1, and 40, 36, 41 give 117, −9, −1
// (definitions of AACC 10-91 from memory; worked by us); 1100 mL of 400 g, 2.75 mL/g.
func TestCake(t *testing.T) {
	res, err := cake(Request{Paths: []string{write(t, t.TempDir(), "cakes.csv", head+"C1,1,22,38,45,37,21,400,1100\nC2,a,24,40,36,41,25,401,1010\n")}})
	if err != nil {
		t.Fatal(err)
	}
	want := []map[string]float64{
		{"volume_mL": 1100, "specific_volume_mL_per_g": 2.75, "volume_index_mm": 120, "symmetry_index_mm": 15, "uniformity_index_mm": 1, "unevenness_mm": 1, "height_a_mm": 22},
		{"volume_mL": 1010, "specific_volume_mL_per_g": 1010.0 / 401, "volume_index_mm": 117, "symmetry_index_mm": -9, "uniformity_index_mm": -1, "unevenness_mm": 1},
	}
	for i, run := range res.Runs {
		for id, v := range want[i] {
			if got, ok := run.Readings[id]; !ok || math.Abs(got-v) > 1e-12 {
				t.Errorf("cake %d, %s: %g, want %g", i, id, got, v)
			}
		}
		if len(run.Findings) > 0 || run.Row != i+2 {
			t.Errorf("%+v", run)
		}
	}
	if res.Runs[1].Replicate != "a" || res.Counts != (Counts{2, 2, 0}) || len(res.Findings) > 0 {
		t.Errorf("%+v", res)
	}
}

// TestWrittenOtherwise: semicolons, decimal commas, centimetres, a unit in brackets,
// the container's seed; the figures are the same.
func TestWrittenOtherwise(t *testing.T) {
	text := "lot;A (cm);B (cm);C (cm);D (cm);E (cm);mass (kg);container volume (L);seed beside cake (L)\nC1;2,2;3,8;4,5;3,7;2,1;0,4;1,75;0,65\nC1;2,2;3,8;4,5;3,7;2,1;0,4;1,75;0,65\n"
	res, err := cake(Request{Paths: []string{write(t, t.TempDir(), "cm.csv", text)}})
	if err != nil {
		t.Fatal(err)
	}
	for id, v := range map[string]float64{"volume_mL": 1100, "specific_volume_mL_per_g": 2.75, "volume_index_mm": 120, "symmetry_index_mm": 15, "uniformity_index_mm": 1} {
		if got := res.Runs[0].Readings[id]; math.Abs(got-v) > 1e-9 {
			t.Errorf("%s: %g, want %g", id, got, v)
		}
		if s := res.Lots[0].Readings[id]; s.N != 2 || s.SD == nil || math.Abs(s.Mean-v) > 1e-9 {
			t.Errorf("%s: %+v", id, s)
		}
	}
	if res.Runs[0].Replicate != "1" || res.Runs[1].Replicate != "2" {
		t.Errorf("replicates %q %q", res.Runs[0].Replicate, res.Runs[1].Replicate)
	}
}

// TestMethodAndTreatment: the method's pan and batter fill in; its caution and that
// of chlorinated flour are said once; cakes of two methods are not pooled.
func TestMethodAndTreatment(t *testing.T) {
	text := "lot,replicate,protocol,treatment,height_a_mm,height_c_mm,height_e_mm,mass_g\nC1,1,,none,22,45,20,400\nC1,2,sponge,none,22,45,20,200\nC2,1,,chlorinated pH 4.7,22,45,20,400\nC2,2,,chlorinated pH 4.7,22,45,20,402\n"
	res, err := cake(Request{Paths: []string{write(t, t.TempDir(), "m.csv", text)}, Method: "layer-203"})
	if err != nil {
		t.Fatal(err)
	}
	if r := res.Runs[0]; r.Method != "layer-203" || r.Readings["edge_shrinkage_mm"] != 17 || math.Abs(r.Readings["bake_loss_pct"]-100*25.0/425) > 1e-9 {
		t.Errorf("%+v", r)
	}
	if r := res.Runs[1]; r.Method != "sponge" || r.Readings["pan_diameter_mm"] != 152 {
		t.Errorf("%+v", r)
	}
	all := strings.Join(res.Cautions, "\n")
	if len(res.Cautions) != 3 || strings.Count(all, "European Union") != 1 || !strings.Contains(all, "allergen") {
		t.Errorf("%q", res.Cautions)
	}
	codes := map[string]int{}
	for _, f := range res.Findings {
		codes[f.Code]++
	}
	if codes["pooled-differs"] != 1 || codes["treatments-differ"] != 1 || res.Lots[0].Cakes != 1 || res.Lots[1].Cakes != 2 {
		t.Errorf("%v %+v", res.Findings, res.Lots)
	}
	var request *job.RequestError
	if _, err := cake(Request{Paths: []string{"x.csv"}, Method: "bread"}); !errors.As(err, &request) || !strings.Contains(err.Error(), "layer-203") {
		t.Error(err)
	}
}

// TestBadRows: every bad row is a finding with its place and cure; none is lost.
func TestBadRows(t *testing.T) {
	text := head + "C1,1,22,38,45,37,21,400,1100\n,2,22,38,45,37,21,400,1100\nC1,1,22,38,45,37,21,400,1100\nC1,3,2.2,3.8,4.5,3.7,2.1,400,1100\nC1,4,22,high,45,37,21,400,1100\nC1,5,,,,,,,\nC1,6,22,38,45,37,21,0,1100\nC1,7,22,38,45\n"
	res, err := cake(Request{Paths: []string{write(t, t.TempDir(), "bad.csv", text)}})
	if err != nil {
		t.Fatal(err)
	}
	if res.Counts.Read != res.Counts.Accepted+res.Counts.Refused || res.Counts.Read != 8 || res.Counts.Accepted != 2 {
		t.Errorf("%+v", res.Counts)
	}
	codes := map[string]bool{}
	all := res.Findings
	for _, r := range res.Runs {
		all = append(all, r.Findings...)
	}
	for _, f := range all {
		codes[f.Code] = true
		if f.At.File == "" || f.At.Row == 0 || f.Do == "" {
			t.Errorf("%+v", f)
		}
	}
	for _, want := range []string{"lot-missing", "replicate-twice", "height-unit", "number-not-read", "no-readings", "value-range", "row-ragged"} {
		if !codes[want] {
			t.Errorf("no %s among %v", want, codes)
		}
	}
	if _, ok := res.Runs[2].Readings["volume_index_mm"]; ok {
		t.Errorf("an index without B: %+v", res.Runs[2])
	}
	var nothing *job.NothingUsableError
	if _, err := cake(Request{Paths: []string{write(t, t.TempDir(), "none.csv", head)}}); !errors.As(err, &nothing) {
		t.Error(err)
	}
	if _, err := cake(Request{Paths: []string{"gone.csv"}}); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
}

// TestRowsAddUp: whatever stands in the cells, read = accepted + refused, a refused
// cake says why, and readings are finite.
func TestRowsAddUp(t *testing.T) {
	dir := t.TempDir()
	cell := rapid.OneOf(rapid.SampledFrom([]string{"", "38", "-1", "0", "3,8", "1e400", "NaN", "x", "4.5", "\"", "999999"}), rapid.StringMatching(`[0-9]{1,3}(\.[0-9])?`))
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(rt, "rows")
		var b strings.Builder
		b.WriteString(head)
		for i := range n {
			fmt.Fprintf(&b, "C%d,%d", i%2, i)
			for range 7 {
				b.WriteString("," + cell.Draw(rt, "cell"))
			}
			b.WriteString("\n")
		}
		check(rt, write(rt, dir, "any.csv", b.String()))
	})
}

type checker interface{ Fatalf(string, ...any) }

func check(t checker, path string) {
	res, err := cake(Request{Paths: []string{path}, Method: "layer-203"})
	if err != nil {
		var nothing *job.NothingUsableError
		if !errors.As(err, &nothing) {
			t.Fatalf("%v", err)
		}
		return
	}
	if res.Counts.Read != res.Counts.Accepted+res.Counts.Refused || res.Counts.Accepted > len(res.Runs) {
		t.Fatalf("%+v of %d runs", res.Counts, len(res.Runs))
	}
	for _, r := range res.Runs {
		refused := r.Findings.Count(finding.Refused) > 0
		if refused != (len(r.Readings) == 0) {
			t.Fatalf("%+v", r)
		}
		for id, v := range r.Readings {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%s = %g", id, v)
			}
		}
	}
}

func FuzzCake(f *testing.F) {
	f.Add([]byte(head + "C1,1,22,38,45,37,21,400,1100\n"))
	f.Add([]byte("lot;A (cm);B;C\n1;2,2;;\n"))
	f.Add([]byte("\xef\xbb\xbflot\theight_b_mm\n\x00\t\"\n"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(dir, fmt.Sprint(os.Getpid(), ".csv"))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		check(t, path)
	})
}
