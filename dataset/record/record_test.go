package record

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/sheet"
	"flourcast/finding"
)

func write(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func curves(t *testing.T, opt Options, texts ...string) ([]Run, Counts, finding.List) {
	t.Helper()
	var paths []string
	for i, text := range texts {
		paths = append(paths, write(t, fmt.Sprint("c", i, ".csv"), text))
	}
	runs, c, fl, err := ReadCurves(context.Background(), paths, opt)
	if err != nil {
		t.Fatal(err)
	}
	return runs, c, fl
}

func TestReadCurvesLong(t *testing.T) {
	runs, c, fl := curves(t, Options{Method: "m"}, `lot,replicate,time (min),temperature_C,viscosity (Pa.s)
0012,1,0,50,0.1
0012,1,0.5,60,0.2
0012,2,0,50,0.3
0013,,0,50,0.4
0012,1,1,70,0.5
`)
	if len(runs) != 3 || c != (Counts{}) || fl.Count(finding.Refused) > 0 {
		t.Fatalf("%d runs, %+v, %v", len(runs), c, fl)
	}
	r := runs[0]
	if r.Lot != "0012" || r.Method != "m" || r.Replicate != "1" || r.Rows != 3 || !slices.Equal(r.Points.TimeS, []float64{0, 30, 60}) ||
		!slices.Equal(r.Points.ViscosityMPas, []float64{100, 200, 500}) || !slices.Equal(r.Points.Row, []int{2, 3, 6}) {
		t.Errorf("%+v %+v", r, r.Points)
	}
	if runs[2].Replicate != "1" || runs[2].Lot != "0013" {
		t.Errorf("without a replicate there is one: %+v", runs[2])
	}
}

func TestReadCurvesRefuses(t *testing.T) {
	head := "lot,method,replicate,time_s,temperature_C,viscosity_mPas\n"
	for _, c := range []struct {
		name, text, code string
		refused, runs    int // rows that belong to no run, runs
		bad              int // runs refused by the reader
	}{
		{"text in a figure", head + "A,m,1,0,50,high\nA,m,1,4,50,10\n", "number-not-read", 1, 1, 0},
		{"empty figure", head + "A,m,1,0,,10\nA,m,1,4,50,10\n", "figure-missing", 1, 1, 0},
		{"no lot", head + ",m,1,0,50,10\n", "lot-missing", 1, 0, 0},
		{"ragged", head + "A,m,1,0,50\n", "row-ragged", 1, 0, 0},
		{"recording units", "lot,time_s,temperature_C,viscosity (BU)\nA,0,50,10\nA,4,50,10\n", "column-missing", 2, 0, 0},
		{"replicate twice", head + "A,m,1,0,50,10\nB,m,1,0,50,10\nA,m,1,0,50,11\n", "replicate-twice", 0, 3, 1},
	} {
		runs, counts, fl := curves(t, Options{}, c.text)
		bad := 0
		rows := counts.Read
		for _, r := range runs {
			rows += r.Rows
			fl = append(fl, r.Findings...)
			if r.Findings.Count(finding.Refused) > 0 {
				bad++
			}
		}
		if counts.Refused != c.refused || len(runs) != c.runs || bad != c.bad || !fl.Has(c.code) {
			t.Errorf("%s: %+v, %d runs, %d refused, %v", c.name, counts, len(runs), bad, fl)
		}
		if want := strings.Count(c.text, "\n") - 1; rows != want {
			t.Errorf("%s: %d rows accounted for, want %d", c.name, rows, want)
		}
	}
}

func TestLotByFlagOrFileName(t *testing.T) {
	text := "time_s,temperature_C,viscosity_mPas\n0,50,10\n"
	if runs, _, _ := curves(t, Options{Lot: "0012"}, text); runs[0].Lot != "0012" {
		t.Errorf("by flag: %+v", runs[0])
	}
	m, err := sheet.ParseMap("m.toml", []byte("file_name = '(?P<lot>[0-9]+)_(?P<replicate>[0-9]+)'\n"))
	if err != nil {
		t.Fatal(err)
	}
	runs, _, fl, err := ReadCurves(context.Background(), []string{write(t, "0012_3.csv", text)}, Options{Map: m, Lot: "other"})
	if err != nil || len(runs) != 1 || runs[0].Lot != "0012" || runs[0].Replicate != "3" {
		t.Errorf("by file name: %+v %v %v", runs, fl, err)
	}
}

func TestOrderAndCores(t *testing.T) {
	var texts []string
	for i := range 20 {
		texts = append(texts, fmt.Sprintf("lot,time_s,viscosity_mPas\nL%d,0,%d\nL%d,x,1\n", i, i, i))
	}
	one, c1, f1 := curves(t, Options{Cores: 1}, texts...)
	two, c2, f2 := curves(t, Options{Cores: 2}, texts...)
	if c1 != c2 || len(one) != 20 || len(f1) != len(f2) {
		t.Fatalf("%+v %+v", c1, c2)
	}
	for i := range one {
		if one[i].Lot != two[i].Lot || one[i].Lot != fmt.Sprint("L", i) {
			t.Errorf("run %d: %s and %s", i, one[i].Lot, two[i].Lot)
		}
	}
}

func TestMissingFileIsAnError(t *testing.T) {
	nowhere := []string{filepath.Join(t.TempDir(), "nowhere.csv")}
	if _, _, _, err := ReadCurves(context.Background(), nowhere, Options{}); err == nil {
		t.Error("curves: no error")
	}
	if _, _, _, err := ReadTests(nowhere, nil); err == nil {
		t.Error("runs: no error")
	}
	if _, _, _, err := ReadReadings(nowhere, nil); err == nil {
		t.Error("readings: no error")
	}
	_, c, fl, err := ReadReadings([]string{write(t, "x.csv", "")}, nil) // there, and no table
	if err != nil || c != (Counts{}) || fl.Count(finding.Refused) != 1 {
		t.Errorf("a file that is no table: %+v %v %v", c, fl, err)
	}
}

func TestReadValues(t *testing.T) {
	path := write(t, "p.csv", "lot,method,replicate,peak (Pa.s),peak time (min),setback,remarks\nA,m,1,2.5,6,100,x\nB,m,1,thick,6,100,y\n,m,1,2,6,1,z\n")
	runs, c, fl, err := ReadValues(context.Background(), []string{path}, Options{})
	if err != nil || len(runs) != 2 || c != (Counts{Read: 1, Refused: 1}) {
		t.Fatalf("%+v %+v %v", runs, c, err)
	}
	if v := runs[0].Figures.Values; v["peak_mPas"] != 2500 || v["peak_time_s"] != 360 || len(v) != 2 {
		t.Errorf("values %v: a bare setback must not be used", v)
	}
	if _, ok := runs[1].Figures.Values["peak_mPas"]; ok || runs[1].Findings.Count(finding.Doubt) != 1 {
		t.Errorf("text in a figure: %+v", runs[1])
	}
	f := runs[0].Figures.Placed(finding.Finding{At: finding.Place{Column: "peak_mPas"}, Found: "2500"})
	if !fl.Has("name-ambiguous") || f.At.Row != 2 || f.At.Column != "peak (Pa.s)" || f.Found != "2500 (written 2.5 Pa·s)" {
		t.Errorf("%v %+v", fl, f)
	}
}

func TestReadReadings(t *testing.T) {
	path := write(t, "t.csv", "lot,date,protocol,replicate,hardness (gf),springiness,remarks\nA,2025-01-01,p2,1,100,0.9,x\nA,2025-01-01,p2,1,110,0.9,x\nA,2025-01-02,p2,1,120,0.9,x\n,2025-01-01,p2,2,1,1,x\nB,2025-01-01,p2,,soft,0.9,x\n")
	out, c, fl, err := ReadReadings([]string{path}, nil)
	if err != nil || len(out) != 3 || c != (Counts{Read: 2, Refused: 2}) || !fl.Has("replicate-twice") || !fl.Has("lot-missing") {
		t.Fatalf("%d readings, %+v, %v, %v", len(out), c, fl, err)
	}
	if v := out[0].Figures.Values["hardness_N"]; v < 0.980664 || v > 0.980666 {
		t.Errorf("100 gf = %v N, want 0.980665", v)
	}
	if v := out[2].Figures.Values; len(v) != 1 || v["springiness"] != 0.9 {
		t.Errorf("a text leaves its figure out: %v", v)
	}
	// Without a replicate column, rows of a lot are its replicates.
	out, _, fl, _ = ReadReadings([]string{write(t, "u.csv", "lot,hardness_N\nA,1\nA,2\n")}, nil)
	if len(out) != 2 || fl.Count(finding.Refused) != 0 {
		t.Errorf("%d readings, %v", len(out), fl)
	}
}

func TestReadTests(t *testing.T) {
	path := write(t, "r.csv", `run,lot,method,tested_at,flour_g,moisture_pct,kind,status,reason
R1,A,m,3.11.2025,4.5,13,First,valid,
R1,B,m,,,,,,
R2,,m,,,,,,
R3,C,m,,,,again,,
R4,C,m,,,,,maybe,
R5,C,m,,-1,wet,retest,void,
R6,K,m,,4,,control,ok,
`)
	tests, c, fl, err := ReadTests([]string{path}, nil)
	if err != nil || c != (Counts{Read: 7, Accepted: 3, Refused: 4}) {
		t.Fatalf("%+v %v %v", c, err, fl)
	}
	for _, code := range []string{"run-twice", "lot-missing", "kind-unknown", "status-unknown", "figure-negative", "number-not-read", "void-without-reason", "retest-without-reason"} {
		if !fl.Has(code) {
			t.Errorf("no finding %s: %v", code, fl)
		}
	}
	if r := tests[0]; r.Kind != First || r.Void || r.TestedAt != "2025-11-03" {
		t.Errorf("%+v", r)
	}
	if g, ok := tests[0].Solids(99, true); !ok || g != 4.5*0.87 {
		t.Errorf("own moisture: %v %v", g, ok)
	}
	if g, ok := tests[2].Solids(12, true); !ok || g != 4*0.88 {
		t.Errorf("the lot's moisture: %v %v", g, ok)
	}
	if _, ok := tests[2].Solids(0, false); ok {
		t.Error("solids without a moisture")
	}
	if _, ok := tests[1].Solids(12, true); ok {
		t.Error("solids without flour")
	}
}

func FuzzCurves(f *testing.F) {
	f.Add([]byte("lot,method,replicate,time_s,temperature_C,viscosity_mPas\n0012,m,1,0,50,10\n0012,m,1,4,51,11\n"))
	f.Add([]byte("time (min);viscosity (Pa.s)\n0;0,1\n0,1;x\n"))
	f.Add([]byte("lot,run,time_s,viscosity_mPas\nA,,1,1\n,R,1,1\nA,,0,1\n\"\n"))
	f.Add([]byte("lot,replicate,time_s,force_N,distance_mm,thickness_mm\nA,1,0,0,0,2.2\nA,2,0,1,0,\nA,1,1,2,1,2.2\n"))
	f.Add([]byte("distance_mm,Force (gf),protocol\n0,1,p\n1,2,q\n0,3,p\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := sheet.Read("f.csv", data, nil)
		if err != nil {
			return
		}
		rows := 0
		for range s.Rows() {
			rows++
		}
		for name, read := range map[string]func(*sheet.Sheet, Options) contents{"values": readValues,
			"curves": func(s *sheet.Sheet, opt Options) contents { return readCurves(s, opt, pastingCurve) },
			"forces": func(s *sheet.Sheet, opt Options) contents { return readCurves(s, opt, forceCurve) }} {
			out := read(s, Options{})
			n := out.refused
			for _, r := range out.runs {
				n += r.Rows
				p := r.Points
				if p == nil {
					continue
				}
				for _, x := range [][]float64{p.TimeS, p.TemperatureC, p.DistanceMM} {
					if x != nil && len(x) != r.Rows {
						t.Fatalf("%s: a run of %d rows with %d points", name, r.Rows, len(x))
					}
				}
				if len(p.Row) != r.Rows || len(p.ViscosityMPas)+len(p.ForceN) != r.Rows {
					t.Fatalf("%s: a run of %d rows with %d points", name, r.Rows, len(p.Row))
				}
			}
			if n != rows {
				t.Fatalf("%s: %d rows accounted for, want %d", name, n, rows)
			}
		}
	})
}
