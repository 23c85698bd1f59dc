package curve

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/tablefile"
	"flourcast/study/job"
)

// straight is rows of a made-up run by general-13min: straight pieces with their
// corners on the points of a 4-s grid, up to the peak at 372 s, down to the trough
// at 480 s, and up to the end.
func straight(labels string, peak float64) string {
	m, _ := method.Lookup("general-13min")
	var b strings.Builder
	for t := 0.0; t <= m.DurationS(); t += 4 {
		v := 60 + (peak-60)/180*(min(max(t, 192), 372)-192) - 8*(min(max(t, 372), 480)-372) + 5*(max(t, 480)-480)
		fmt.Fprintf(&b, "%s%g,%.1f,%.3f\n", labels, t, m.TemperatureAt(t), v)
	}
	return b.String()
}

// level is a run whose viscosity does not change.
func level(labels string, v float64) string {
	m, _ := method.Lookup("general-13min")
	var b strings.Builder
	for t := 0.0; t <= m.DurationS(); t += 4 {
		fmt.Fprintf(&b, "%s%g,%.1f,%g\n", labels, t, m.TemperatureAt(t), v)
	}
	return b.String()
}

const head = "lot,method,replicate,time_s,temperature_C,viscosity_mPas\n"

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Every row is accounted for, a finding of one run stands with the run and one of
// the file with the file, and pictures get the curve only when they ask for it.
func TestFeatures(t *testing.T) {
	dir := t.TempDir()
	good := write(t, dir, "good.csv", head+straight("A,general-13min,1,", 2580)+straight("B,general-13min,1,", 1860))
	flat := write(t, dir, "flat.csv", strings.ReplaceAll(head, "_mPas", " [cP]")+level("C,general-13min,1,", 60))
	q := FeaturesRequest{Paths: []string{good, flat}}
	res, err := Features(context.Background(), job.Env{}, q)
	if err != nil {
		t.Fatal(err)
	}
	if res.Schema != "flourcast.features/1" || len(res.Runs) != 3 || res.Counts.Read != res.Counts.Accepted+res.Counts.Refused || res.Counts.Refused == 0 {
		t.Fatalf("%s, %d runs, %+v", res.Schema, len(res.Runs), res.Counts)
	}
	a, c := res.Runs[0], res.Runs[2]
	// The corner of the peak is rounded by a parabola over 12 s, which is three
	// points of this grid, widened to five; 60 mPa·s is what that may take.
	if p := a.Features["peak_mPas"]; a.Lot != "A" || math.Abs(p-2580) > 60 || math.Abs(a.Features["peak_time_s"]-372) > 8 || a.Conformity == nil || a.Curve != nil {
		t.Errorf("lot %s: peak %g at %g s, conformity %v, curve %v", a.Lot, p, a.Features["peak_time_s"], a.Conformity, a.Curve)
	}
	if len(c.Features) != 0 || !c.Findings.Has("no-paste") || res.Findings.Has("no-paste") {
		t.Errorf("a run that does not paste: %v with the run %v, with the files %v", c.Features, c.Findings, res.Findings)
	}
	q.Pictures = true
	with, err := Features(context.Background(), job.Env{}, q)
	if err != nil || with.Runs[0].Curve == nil || with.Runs[0].Features["peak_mPas"] != a.Features["peak_mPas"] {
		t.Fatalf("with pictures: %v", err)
	}
	// The mark lies on the recorded line, which the smoothed peak does not quite reach.
	if at, ok := with.Runs[0].Places["peak_mPas"]; !ok || math.Abs(at.ViscosityMPas-(2580-8*(at.TimeS-372))) > 1e-6 || at.TimeS != a.Features["peak_time_s"] {
		t.Errorf("the peak is drawn at %+v, and read as %g at %g s", at, a.Features["peak_mPas"], a.Features["peak_time_s"])
	}
}

// A policy that refuses leaves nothing usable where every run deviates.
func TestFeaturesByPolicy(t *testing.T) {
	short := straight("A,general-13min,1,", 2580)
	short = short[:strings.Index(short, "A,general-13min,1,640,")]
	path := write(t, t.TempDir(), "short.csv", head+short)
	res, err := Features(context.Background(), job.Env{}, FeaturesRequest{Paths: []string{path}})
	if err != nil || !res.Runs[0].Findings.Has("record-short") {
		t.Fatalf("%+v, %v", res, err)
	}
	policy, err := conformity.ParsePolicy([]string{"record-short=refuse"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = Features(context.Background(), job.Env{}, FeaturesRequest{Paths: []string{path}, Policy: policy})
	var nothing *job.NothingUsableError
	if !errors.As(err, &nothing) || !nothing.Findings.Has("record-short") {
		t.Errorf("%v, want nothing usable, and why", err)
	}
}

func rows(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What is laid is what was recorded where the grid's points are the record's; a lot
// is the mean of its runs; a void run is left out once the runs file is known.
func TestLay(t *testing.T) {
	dir := t.TempDir()
	path := write(t, dir, "curves.csv", head+straight("A,general-13min,1,", 2580)+straight("A,general-13min,2,", 2220)+straight("B,general-13min,1,", 1860))
	out := filepath.Join(dir, "out.csv")
	res, err := Lay(context.Background(), job.Env{}, LayRequest{Paths: []string{path}, Step: "60s", Out: out})
	if err != nil || res.Rows != 3 || res.Columns != 14 || res.First != "v_0000s" || res.Last != "v_0780s" || res.Absent != 0 || !res.Findings.Has("tests-not-known") {
		t.Fatalf("%+v, %v", res, err)
	}
	cell := func(r [][]string, row int, column string) string {
		k := slices.Index(r[0], column)
		if k < 0 {
			t.Fatalf("no column %s in %v", column, r[0])
		}
		return r[row][k]
	}
	near := func(text string, want float64) bool {
		var v float64
		_, err := fmt.Sscan(text, &v)
		return err == nil && math.Abs(v-want) < 0.5
	}
	r := rows(t, out)
	if at300 := cell(r, 1, "v_0300s"); !near(at300, 60+14*108) || !near(cell(r, 1, "v_0120s"), 60) {
		t.Errorf("lot A at 300 s: %s, want %g", at300, 60+14*108.0)
	}
	res, err = Lay(context.Background(), job.Env{}, LayRequest{Paths: []string{path}, Step: "60s", By: "lot", Out: out})
	if err != nil || res.Rows != 2 {
		t.Fatalf("by lot: %+v, %v", res, err)
	}
	if at300 := cell(rows(t, out), 1, "v_0300s"); !near(at300, 60+13*108) {
		t.Errorf("mean of lot A at 300 s: %s, want %g", at300, 60+13*108.0)
	}
	tests := write(t, dir, "runs.csv", "lot,method,replicate,status,reason\nA,general-13min,1,ok,\nA,general-13min,2,void,spilt\nB,general-13min,1,ok,\n")
	lots := write(t, dir, "lots.csv", "lot,product\nA,soft-bite-noodle\nB,soft-bite-noodle\n")
	res, err = Lay(context.Background(), job.Env{}, LayRequest{Paths: []string{path}, Step: "60s", Lots: []string{lots}, Runs: []string{tests}, Out: out})
	if err != nil || res.Rows != 2 || len(res.Runs) != 2 {
		t.Errorf("with the runs file: %+v, %v", res, err)
	}
	// Beside a table: its rows stay, a lot without a curve is named.
	tb, _, err := tablefile.Read(write(t, dir, "t.csv", "lot,hardness_N\nB,3\nZ,4\nA,5\n"), "lot")
	if err != nil {
		t.Fatal(err)
	}
	res, err = Lay(context.Background(), job.Env{}, LayRequest{Paths: []string{path}, Step: "60s", Table: tb, Out: out})
	if err != nil || res.Rows != 3 || !res.Findings.Has("lots-without-curve") {
		t.Fatalf("beside a table: %+v, %v", res, err)
	}
	if r := rows(t, out); cell(r, 1, "lot") != "B" || cell(r, 2, "v_0300s") != "" || !near(cell(r, 3, "v_0300s"), 60+13*108) {
		t.Errorf("beside a table: %v", r)
	}
}

// What cannot be laid is a request that cannot be answered, and writes nothing.
func TestLayRefuses(t *testing.T) {
	dir := t.TempDir()
	one := write(t, dir, "one.csv", head+straight("A,general-13min,1,", 2580))
	both := write(t, dir, "both.csv", head+straight("A,general-13min,1,", 2580)+strings.ReplaceAll(straight("B,general-13min,1,", 2000), "general-13min", "own"))
	for name, q := range map[string]LayRequest{
		"no step":     {Paths: []string{one}, Step: "soon"},
		"by harvest":  {Paths: []string{one}, Step: "4s", By: "harvest"},
		"two methods": {Paths: []string{both}, Step: "4s"},
	} {
		q.Out = filepath.Join(dir, "refused.csv")
		var request *job.RequestError
		if _, err := Lay(context.Background(), job.Env{}, q); !errors.As(err, &request) || request.Want == "" {
			t.Errorf("%s: %v, want a request error with what was expected", name, err)
		}
	}
	var nothing *job.NothingUsableError
	if _, err := Lay(context.Background(), job.Env{}, LayRequest{Paths: []string{one}, Step: "4s", Only: "noodle-water", Out: filepath.Join(dir, "refused.csv")}); !errors.As(err, &nothing) {
		t.Errorf("no run of the method: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "refused.csv")); err == nil {
		t.Error("something was written")
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Features(ctx, job.Env{}, FeaturesRequest{Paths: []string{one}}); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
}
