package run

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/record"
	"flourcast/finding"
)

// paste is the rows of a smooth made-up curve on the 13-minute programme: a rise
// about 72 °C to the given peak, thinning in the hold, thickening as it cools.
func paste(labels string, peak float64) string {
	m, _ := method.Lookup("general-13min")
	var b strings.Builder
	for t := 0.0; t <= m.DurationS(); t += 4 {
		temp := m.TemperatureAt(t)
		v := 20 + peak/(1+math.Exp(-(t-230)/12))
		v -= 0.4 * peak / (1 + math.Exp(-(t-390)/25))
		v += 0.7 * peak / (1 + math.Exp(-(t-600)/35))
		fmt.Fprintf(&b, "%s%g,%.2f,%.1f\n", labels, t, temp, v)
	}
	return b.String()
}

const head = "run,lot,method,replicate,time_s,temperature_C,viscosity_mPas\n"

func write(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "c.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestReadCurvesExtracts(t *testing.T) {
	text := head + paste(",A,general-13min,1,", 2000) + paste(",A,,2,", 2000) + paste(",B,general-13min,1,", 3000) + ",C,general-13min,1,0,50,10\n"
	runs, c, fl, err := ReadCurves(context.Background(), []string{write(t, text)}, Options{})
	if err != nil || len(runs) != 4 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	if c.Read != strings.Count(text, "\n")-1 || c.Refused != 1 || c.Read != c.Accepted+c.Waiting+c.Refused {
		t.Errorf("counts %+v: the curve of one point is refused", c)
	}
	a, _ := runs[0].Features.Get("peak_mPas")
	b, _ := runs[2].Features.Get("peak_mPas")
	if a < 1800 || a > 2000 || b < 1.4*a || b > 1.6*a {
		t.Errorf("peaks %v and %v", a, b)
	}
	if !fl.Has("method-missing") || runs[1].Fate != Accepted || runs[0].Curve != nil || runs[0].Values {
		t.Errorf("%v", fl)
	}
	again, _, _, _ := ReadCurves(context.Background(), []string{write(t, text)}, Options{Keep: true, Cores: 1})
	if again[0].Curve == nil || len(again[0].Curve.TimeS) != again[0].Rows {
		t.Error("curves are not kept")
	}
	if v, _ := again[0].Features.Get("peak_mPas"); v != a {
		t.Errorf("peak %v on one core, %v on all", v, a)
	}
}

func TestReadCurvesWaitsAndRefuses(t *testing.T) {
	plain := "time_s,temperature_C,viscosity_mPas\n" + paste("", 2000)
	path := write(t, plain)
	runs, c, fl, err := ReadCurves(context.Background(), []string{path}, Options{Method: "general-13min"})
	if err != nil || c.Waiting != c.Read || c.Read != 196 || !fl.Has("lot-missing") {
		t.Fatalf("%+v %v %v", c, fl, err)
	}
	if _, ok := runs[0].Features.Get("peak_mPas"); !ok {
		t.Error("a waiting run has no features")
	}
	runs, c, fl, _ = ReadCurves(context.Background(), []string{path, path}, Options{Lot: "A"})
	if c.Accepted != 196 || c.Refused != 196 || runs[1].Fate != Refused || !fl.Has("replicate-twice") {
		t.Errorf("the same run from two files: %+v %v", c, fl)
	}
	lines := strings.SplitAfter(plain, "\n")
	lines[60], lines[61] = lines[61], lines[60]
	_, c, fl, _ = ReadCurves(context.Background(), []string{write(t, strings.Join(lines, ""))}, Options{Lot: "A"})
	if c.Refused != 196 || !fl.Has("time-backwards") {
		t.Errorf("time running backwards: %+v %v", c, fl)
	}
}

// tested is an accepted run without a curve.
func tested(run, lot, meth, replicate string) Run {
	return Run{Run: run, Lot: lot, Method: meth, Replicate: replicate, Rows: 1, Fate: Accepted}
}

func number(v float64) *float64 { return &v }

func TestLink(t *testing.T) {
	tests := []record.Test{
		{Run: "R1", Lot: "A", Method: "m", Kind: record.First, Instrument: "V1"},
		{Run: "R2", Lot: "A", Method: "m", Kind: record.Duplicate, Instrument: "V2"},
		{Run: "R3", Lot: "B", Method: "m", Kind: record.First, Void: true, Reason: "spilled"},
		{Run: "R4", Lot: "K", Method: "m", Kind: record.Control},
		{Run: "R5", Lot: "C", Method: "m", Replicate: "7"},
	}
	runs := []Run{
		tested("", "A", "m", "2"), tested("R3", "", "", "1"), tested("R4", "K", "m", "1"), tested("R5", "D", "m", "1"), tested("R9", "A", "m", "1"),
		tested("", "X", "m", "1"), tested("", "A", "", "1"), tested("", "E", "", "1"), tested("", "C", "m", "7"), tested("", "C", "m", "1"),
	}
	waits := func(r *Run) bool { return r.Lot == "X" || r.Lot == "K" }
	none := func(string) (float64, bool) { return 0, false }
	Link(runs, Knowledge{Tests: tests, Waits: waits, Moisture: none})
	for i, want := range []struct {
		run  string
		fate Fate
		code string
	}{{"R2", Accepted, ""}, {"R3", Accepted, "run-void"}, {"R4", Accepted, ""}, {"R5", Refused, "run-contradicts"}, {"R9", Waiting, "run-unknown"},
		{"", Waiting, ""}, {"R1", Accepted, ""}, {"", Refused, "method-missing"}, {"R5", Accepted, ""}, {"", Accepted, ""}} {
		r := runs[i]
		if r.Run != want.run || r.Fate != want.fate || want.code != "" && !r.Findings.Has(want.code) {
			t.Errorf("run %d: %s %s %v, want %+v", i, r.Run, r.Fate, r.Findings, want)
		}
	}
	if runs[1].Lot != "B" || runs[1].Method != "m" || runs[1].Status != "void" || runs[0].Instrument != "V2" || runs[0].Status != "ok" {
		t.Errorf("%+v", runs[:2])
	}
}

// noodle-water wants 4.0 g of dry matter. The figures are worked by hand.
func TestSolids(t *testing.T) {
	for _, c := range []struct {
		name    string
		flour   float64
		own     *float64
		lots    *float64
		want    float64
		fate    Fate
		doubted bool
	}{
		{"own moisture", 4.651, number(14), nil, 3.99986, Accepted, false},
		{"moisture of the lot", 4.651, nil, number(14), 3.99986, Accepted, false},
		{"own before the lot's", 4.651, number(14), number(10), 3.99986, Accepted, false},
		{"2 % off", 4.651, number(12.3), nil, 4.078927, Accepted, true},
		{"5 % off", 4.651, nil, number(9.7), 4.199853, Refused, true},
		{"moisture not known yet", 4.651, nil, nil, 0, Accepted, false},
	} {
		runs := []Run{tested("R", "A", "noodle-water", "1")}
		k := Knowledge{Tests: []record.Test{{Run: "R", Lot: "A", FlourG: &c.flour, MoisturePct: c.own}}, Waits: func(*Run) bool { return false },
			Moisture: func(string) (float64, bool) {
				if c.lots == nil {
					return 0, false
				}
				return *c.lots, true
			}}
		Link(runs, k)
		r := runs[0]
		if r.Fate != c.fate || r.Findings.Has("solids-off") != c.doubted || (r.SolidsG == nil) != (c.want == 0) || r.SolidsG != nil && math.Abs(*r.SolidsG-c.want) > 1e-6 {
			t.Errorf("%s: %s %v %v", c.name, r.Fate, r.SolidsG, r.Findings)
		}
	}
	// A method's own tolerances: 5 % off is in order, or 2 % off is refused.
	own, _ := method.Lookup("noodle-water")
	for _, c := range []struct {
		tolerance, refuse, moisture float64
		fate                        Fate
		doubted                     bool
	}{{6, 8, 9.7, Accepted, false}, {0.5, 1.5, 12.3, Refused, true}} {
		own.ToleranceSolidsPct, own.RefuseSolidsPct = c.tolerance, c.refuse
		runs, flour := []Run{tested("R", "A", "noodle-water", "1")}, 4.651
		Link(runs, Knowledge{Tests: []record.Test{{Run: "R", Lot: "A", FlourG: &flour, MoisturePct: &c.moisture}}, Methods: []method.Method{own}, Waits: func(*Run) bool { return false },
			Moisture: func(string) (float64, bool) { return 0, false }})
		if runs[0].Fate != c.fate || runs[0].Findings.Has("solids-off") != c.doubted {
			t.Errorf("tolerance %g %%: %s %v", c.tolerance, runs[0].Fate, runs[0].Findings)
		}
	}
}

// The share of the slurry counts beside the solids, and the larger of the two
// deviations decides. 25.000 g of water whatever the moisture is 13.54 % solids
// where the method, which keeps its total fill, has 13.79 % (a worked example of
// the trade; common practice, no source).
func TestShareOfTheSlurryAsWeighed(t *testing.T) {
	at12 := 100 * 4.0 / 88 // g of flour that hold 4.0 g dry
	for _, c := range []struct {
		name          string
		flour, water  float64
		policy        []string
		fate          Fate
		doubts        int
		found, wanted string
	}{
		{"made up to 29 g", at12, 29 - at12, nil, Accepted, 0, "", ""},
		{"25 g regardless", at12, 25, nil, Accepted, 1, "run R of lot A: 4.545 g of flour at 12 % moisture are 4.000 g of solids, +0.0 %; in 25.00 g of solvent they are 13.54 % of the slurry, -1.8 %", "and 13.79 % of the slurry"},
		{"25 g regardless, policy refuses", at12, 25, []string{"solids-off=refuse"}, Refused, 0, "-1.8 %", ""},
		{"any deviation refuses", at12, 25, []string{"refuse"}, Refused, 0, "-1.8 %", ""},
		{"far too much water", at12, 26, nil, Refused, 0, "in 26.00 g of solvent", ""},
		{"far too much water, policy warns of it", at12, 26, []string{"solids-off=warn"}, Accepted, 1, "in 26.00 g of solvent", ""},
		{"solvent not recorded", at12, 0, nil, Accepted, 0, "", ""},
		{"solvent beyond belief leaves the solids to decide", at12, 1e6, nil, Accepted, 1, "solvent as weighed of 1e+06 g", "0 to 20000 g"},
	} {
		moisture, policy := 12.0, conformity.Policy{}
		if c.policy != nil {
			var err error
			if policy, err = conformity.ParsePolicy(c.policy); err != nil {
				t.Fatal(err)
			}
		}
		runs := []Run{tested("R", "A", "noodle-water", "1")}
		Link(runs, Knowledge{Tests: []record.Test{{Run: "R", Lot: "A", FlourG: &c.flour, SolventG: &c.water, MoisturePct: &moisture}}, Policy: policy,
			Waits: func(*Run) bool { return false }, Moisture: func(string) (float64, bool) { return 0, false }})
		r := runs[0]
		if r.Fate != c.fate || r.Findings.Count(finding.Doubt) != c.doubts {
			t.Errorf("%s: %s, %v", c.name, r.Fate, r.Findings)
		}
		if c.found != "" && (len(r.Findings) != 1 || !strings.Contains(r.Findings[0].Found, c.found) || !strings.Contains(r.Findings[0].Want, c.wanted) || r.Findings[0].Do == "") {
			t.Errorf("%s: %v", c.name, r.Findings)
		}
	}
}

func values(t *testing.T, peak float64) pasting.Features {
	t.Helper()
	f, fl := pasting.FromValues(map[string]float64{"peak_mPas": peak, "trough_mPas": peak / 2})
	if !f.OK() {
		t.Fatal(fl)
	}
	return f
}

func TestPool(t *testing.T) {
	run := func(lot, kind, status, reason, instrument string, peak float64) Run {
		r := tested("", lot, "m", "1")
		r.Kind, r.Status, r.Reason, r.Instrument, r.Features = kind, status, reason, instrument, values(t, peak)
		return r
	}
	for _, c := range []struct {
		name  string
		runs  []Run
		meant []string
		mean  float64 // 0: nothing pooled
		n     int
		codes []string
	}{
		{"duplicates", []Run{run("A", record.First, "ok", "", "V1", 2000), run("A", record.Duplicate, "ok", "", "V1", 2100)}, nil, 2050, 2, nil},
		{"void first, retest with a reason", []Run{run("A", record.First, "void", "", "V1", 900), run("A", record.Retest, "ok", "paddle", "V1", 2100)}, nil, 2100, 1, []string{"retest-used"}},
		{"void first with its reason", []Run{run("A", record.First, "void", "paddle", "V1", 900), run("A", record.Retest, "ok", "", "V1", 2100)}, nil, 2100, 1, []string{"retest-used"}},
		{"no reason at all", []Run{run("A", record.First, "void", "", "V1", 900), run("A", record.Retest, "ok", "", "V1", 2100)}, nil, 0, 0, []string{"retest-without-reason"}},
		{"retest of a valid run", []Run{run("A", record.First, "ok", "", "V1", 2000), run("A", record.Retest, "ok", "liked it less", "V1", 2100)}, nil, 2000, 1, []string{"retest-not-pooled"}},
		{"re-sample of a valid run", []Run{run("A", record.First, "ok", "", "V1", 2000), run("A", record.ReSample, "ok", "x", "V1", 2100)}, nil, 2000, 1, []string{"retest-not-pooled"}},
		{"a control", []Run{run("A", record.Control, "ok", "", "V1", 2000)}, nil, 0, 0, nil},
		{"two instruments", []Run{run("A", record.First, "ok", "", "V1", 2000), run("A", record.Duplicate, "ok", "", "V2", 2100)}, nil, 2050, 2, []string{"pooled-differs", "pooled-differs"}},
		{"two instruments, meant", []Run{run("A", record.First, "ok", "", "V1", 2000), run("A", record.Duplicate, "ok", "", "V2", 2100)}, []string{"instrument"}, 2050, 2, nil},
		{"two lots, two instruments", []Run{run("A", record.First, "ok", "", "V1", 2000), run("B", record.First, "ok", "", "V2", 2100)}, nil, 2000, 1, []string{"pooled-differs"}},
		{"disagreement", []Run{run("A", record.First, "ok", "", "", 2000), run("A", record.Duplicate, "ok", "", "", 3000)}, nil, 2500, 2, []string{"replicates-disagree"}},
	} {
		p := Pool(c.runs, c.meant)
		set, ok := p.By[[2]string{"A", "m"}]
		if s, _ := set.Of("peak_mPas"); ok != (c.mean != 0) || s.Mean != c.mean || s.N != c.n {
			t.Errorf("%s: %+v", c.name, s)
		}
		var codes []string
		for _, f := range p.Findings {
			codes = append(codes, f.Code)
		}
		if !slices.Equal(codes, c.codes) {
			t.Errorf("%s: findings %v, want %v", c.name, p.Findings, c.codes)
		}
	}
}

func TestPoolComparesSolids(t *testing.T) {
	a, b := tested("", "A", "m", "1"), tested("", "A", "m", "2")
	a.Features, b.Features, a.SolidsG, b.SolidsG = values(t, 2000), values(t, 2000), number(3.5), number(4)
	p := Pool([]Run{a, b}, nil)
	if len(p.Findings) != 1 || p.Findings[0].At.Column != "solids" || p.Findings[0].Severity != finding.Doubt {
		t.Errorf("%v", p.Findings)
	}
}
