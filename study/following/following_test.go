package following

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"flourcast/forecast/follow"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/forecasts"

	"flourcast/dataset"

	"pgregory.net/rapid"
)

func env() study.Env {
	return study.Env{Clock: func() time.Time { return time.Unix(1767225600, 0) }, Version: "test", Seed: 1}
}

func write(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// modelFile fits a model of hardness on 40 made-up lots.
func modelFile(t testing.TB) (path string, c *card.Card) {
	t.Helper()
	var b strings.Builder
	b.WriteString("lot,product,peak_mPas,protein_pct,hardness_N\n")
	for i := range 40 {
		peak := 2000 + 37*float64((i*17)%31)
		fmt.Fprintf(&b, "T%d,white-salted-noodle,%.0f,%.2f,%.3f\n", i, peak, 9+0.1*float64((i*7)%23), 14-peak/400+0.3*math.Sin(float64(3*i)))
	}
	table, found, err := dataset.ReadTable(write(t, "t.csv", b.String()))
	if err != nil {
		t.Fatal(err, found)
	}
	path = filepath.Join(t.TempDir(), "m.json")
	if _, err := study.Fit(context.Background(), env(), study.FitRequest{Table: table, File: "t.csv", Response: "hardness_N", Kind: "pls", Product: "white-salted-noodle", Repeats: 1, Out: path}); err != nil {
		t.Fatal(err)
	}
	if c, err = card.Read(path); err != nil {
		t.Fatal(err)
	}
	return path, c
}

// season writes forecasts of n lots and their outcomes, moved by shift after lot from.
func season(t testing.TB, c *card.Card, n, from int, shift float64) (forecasts, outcomes string) {
	var f, o strings.Builder
	f.WriteString("lot,value,lower,upper,level,response,time,model,decision,domain\n")
	o.WriteString("lot,product,supplier,crop_year,hardness_N,protein_pct,protein_pct_claimed\n")
	for i := range n {
		value, e := 7+0.05*float64(i%9), 0.25*math.Sin(float64(7*i))
		if i >= from {
			e += shift
		}
		fmt.Fprintf(&f, "N%d,%.3f,%.3f,%.3f,0.9,hardness_N,2026-03-%02d,%s,%s,inside\n", i, value, value-0.45, value+0.45, 1+i%28, c.SHA256, []string{"accept", "hold"}[i%2])
		fmt.Fprintf(&o, "N%d,white-salted-noodle,%s,2026,%.3f,9.%d,9.%d\n", i, []string{"North", "South"}[i%2], value+e, i%7, i%7+i%2)
	}
	return write(t, "f.csv", f.String()), write(t, "o.csv", o.String())
}

func TestFollow(t *testing.T) {
	model, c := modelFile(t)
	for _, k := range []struct {
		name   string
		n      int
		shift  float64
		status string
	}{{"good", 26, 0, follow.InControl}, {"drift", 26, 0.8, follow.Recalibrate}, {"few", 3, 0, follow.TooFew}} {
		f, o := season(t, c, k.n, 10, k.shift)
		r, err := Follow(context.Background(), env(), Request{Model: model, Forecasts: []string{f}, Tables: []string{o}})
		if err != nil {
			t.Fatal(err)
		}
		if r.Status != k.status || r.Counts != (Counts{Read: k.n, Followed: k.n}) || len(r.Lots) != k.n || len(r.Why) == 0 {
			t.Errorf("%s: %s, %+v, %v", k.name, r.Status, r.Counts, r.Why)
		}
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
		if k.name == "drift" {
			if len(r.Signals) < 2 || r.Signals[0].Side != "above" || r.Signals[0].ConfirmedBy == "" || !slices.Contains(r.Add, "N15") || slices.Contains(r.Add, "N3") || !r.Short() {
				t.Errorf("signals %+v, add %v", r.Signals, r.Add)
			}
			// by hand: 26 lots, of which 16 are moved
			want := 0.0
			for _, l := range r.Lots {
				want += (l.Measured - l.Forecast) / 26
			}
			if math.Abs(r.Figures.Bias.Value-want) > 1e-12 || !r.Figures.Bias.Beyond {
				t.Errorf("bias %+v, want %v", r.Figures.Bias, want)
			}
			if len(r.Groups) != 4 || r.Groups[1].Name != "North" || r.Groups[1].N != 13 {
				t.Errorf("groups %+v", r.Groups)
			}
			if len(r.Claims) != 2 || r.Claims[0].Supplier != "North" || math.Abs(r.Claims[0].Bias) > 1e-9 || math.Abs(r.Claims[1].Bias-0.1) > 1e-9 {
				t.Errorf("claims %+v", r.Claims)
			}
		}
	}
}

// What is not this model's, was its own lot, or has no outcome, is counted and named.
func TestNothingIsDroppedSilently(t *testing.T) {
	model, _ := modelFile(t)
	f := write(t, "f.csv", "lot,value,lower,upper,level,response,time,model,decision\nN1,7,6.5,7.5,0.9,hardness_N,2026-03-01,,accept\nN1,9,8.5,9.5,0.9,hardness_N,2026-03-02,,accept\nN2,7,6.5,7.5,0.9,springiness,,,\nN3,7,6.5,7.5,0.9,,,abcdef,\nT3,7,6.5,7.5,0.9,,,,\nN4,7,6.5,7.5,0.9,,,,accept\nN5,x,,,,,,,\nN6,,,,,,,,hold\n")
	o := write(t, "o.csv", "lot,product,hardness_N\nN1,white-salted-noodle,7.2\nN6,white-salted-noodle,7\nN4,layer-cake,3\n")
	r, err := Follow(context.Background(), env(), Request{Model: model, Forecasts: []string{f}, Tables: []string{o}})
	if err != nil {
		t.Fatal(err)
	}
	if r.Counts != (Counts{Read: 8, Followed: 1, Waiting: 1, LeftOut: 5, Refused: 1}) {
		t.Errorf("%+v, left out %v", r.Counts, r.LeftOut)
	}
	if len(r.Lots) != 1 || r.Lots[0].Forecast != 7 {
		t.Errorf("N1: %+v, want its first forecast, 7", r.Lots)
	}
	if !strings.Contains(fmt.Sprint(r.Findings), "model-not-named") {
		t.Errorf("findings %v", r.Findings)
	}
	var nothing *study.NothingUsableError
	if _, err := Follow(context.Background(), env(), Request{Model: model, Forecasts: []string{write(t, "e.csv", "lot,value\n")}}); !errors.As(err, &nothing) {
		t.Errorf("no forecast: %v", err)
	}
	var request *study.RequestError
	if _, err := Follow(context.Background(), env(), Request{Model: model}); !errors.As(err, &request) {
		t.Errorf("nothing asked: %v", err)
	}
}

// Outside, nothing is charted, and no mill is simulated for it.
// Forecasts read = followed + waiting + left out + refused, whatever is in the files.
func TestCountsAddUp(t *testing.T) {
	model, _ := modelFile(t)
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		var f strings.Builder
		f.WriteString("lot,value,lower,upper,level,response,decision,domain\n")
		n := rapid.IntRange(1, 15).Draw(t, "n")
		for range n {
			fmt.Fprintf(&f, "%s,%s,6,%s,0.9,%s,%s,%s\n", rapid.SampledFrom([]string{"", "T1", "A", "B", "C"}).Draw(t, "lot"), rapid.SampledFrom([]string{"", "7", "x"}).Draw(t, "value"), rapid.SampledFrom([]string{"8", "5", ""}).Draw(t, "upper"), rapid.SampledFrom([]string{"", "hardness_N", "springiness"}).Draw(t, "response"), rapid.SampledFrom([]string{"", "accept", "hold"}).Draw(t, "decision"), "outside")
		}
		forecasts, outcomes := filepath.Join(dir, "f.csv"), filepath.Join(dir, "o.csv")
		if os.WriteFile(forecasts, []byte(f.String()), 0o600) != nil || os.WriteFile(outcomes, []byte("lot,hardness_N\nA,7\nB,7.5\n"), 0o600) != nil {
			t.Fatal("cannot write")
		}
		r, err := Follow(context.Background(), env(), Request{Model: model, Forecasts: []string{forecasts}, Tables: []string{outcomes}})
		var nothing *study.NothingUsableError
		if errors.As(err, &nothing) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if c := r.Counts; c.Read != n || c.Read != c.Followed+c.Waiting+c.LeftOut+c.Refused {
			t.Fatalf("%d rows: %+v\n%s", n, c, f.String())
		}
	})
}

func TestIncoming(t *testing.T) {
	model, _ := modelFile(t)
	like, other := "lot,product,peak_mPas,protein_pct\n", "lot,product,peak_mPas,protein_pct\n"
	for i := range 12 {
		like += fmt.Sprintf("I%d,white-salted-noodle,%d,%.1f\n", i, 2100+80*i, 9.5+0.1*float64(i))
		other += fmt.Sprintf("I%d,white-salted-noodle,%d,%.1f\n", i, 4100+80*i, 9.5+0.1*float64(i))
	}
	other += "I99,layer-cake,2500,9\nI98,white-salted-noodle,,9\n"
	for path, differ := range map[string]bool{write(t, "like.csv", like): false, write(t, "other.csv", other): true} {
		r, err := Follow(context.Background(), env(), Request{Model: model, Incoming: []string{path}})
		if err != nil {
			t.Fatal(err)
		}
		in := r.Incoming
		if in == nil || in.Differ != differ || in.Lots != 12 || r.Status != NoOutcome || r.Short() != differ {
			t.Fatalf("%+v", in)
		}
		if differ && (in.Outside != 12 || len(in.Causes) == 0 || in.Causes[0].Feature != "peak_mPas" || in.Other != 1 || len(in.LeftOut) != 1 || !slices.Contains(in.Moved, "peak_mPas")) {
			t.Errorf("%+v", in)
		}
	}
}

// By hand: 10 accepted of which 8 were measured, 10 held of which 2 were.
func TestSelectedOutcomesAreSaid(t *testing.T) {
	model, c := modelFile(t)
	f, o := season(t, c, 20, 20, 0)
	data, err := os.ReadFile(o)
	if err != nil {
		t.Fatal(err)
	}
	var kept []string
	for i, line := range strings.Split(string(data), "\n") {
		if i == 0 || i%2 == 1 && i < 16 || i == 2 || i == 4 { // row i is lot i−1; odd rows were accepted
			kept = append(kept, line)
		}
	}
	r, err := Follow(context.Background(), env(), Request{Model: model, Forecasts: []string{f}, Tables: []string{write(t, "some.csv", strings.Join(kept, "\n")+"\n")}})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Selected || r.Decisions[0] != (Decision{"accept", 10, 8, 0, 0}) || r.Decisions[1] != (Decision{"hold", 10, 2, 0, 0}) {
		t.Errorf("%v, %+v", r.Selected, r.Decisions)
	}
}

// By hand: at 90 % with 38 degrees of freedom t is 1.685954 (printed tables). An interval
// of 2 around 10 has the standard error 1/t; on logarithms, e⁰ to e² around e¹ likewise.
func TestStandardised(t *testing.T) {
	v := func(x float64) *float64 { return &x }
	l := Lot{Level: 0.9}
	l.Low, l.High, l.Measured, l.Error = v(9), v(11), 10.5, 0.5
	if z, ok := l.standardised(38, false); !ok || math.Abs(z-0.5*1.685954) > 1e-5 {
		t.Errorf("%v, %v", z, ok)
	}
	l.Low, l.High, l.Measured, l.Error = v(1), v(math.Exp(2)), math.Exp(1.5), 99
	if z, ok := l.standardised(38, true); !ok || math.Abs(z-0.5*1.685954) > 1e-5 {
		t.Errorf("logarithm: %v, %v", z, ok)
	}
	l.Low = v(0)
	if _, ok := l.standardised(38, true); ok {
		t.Error("a logarithm of 0")
	}
	l.Low = nil
	if _, ok := l.standardised(38, false); ok {
		t.Error("no interval")
	}
}

// TestScore: what was measured against interval, specification and decision, by hand.
func TestScore(t *testing.T) {
	v, low, high := 3.5, 3.1, 3.9
	yes, no := true, false
	for name, c := range map[string]struct {
		spec, decision     string
		measured           float64
		inside, met, right *bool
	}{
		"accepted, met":             {"hardness_N=..3.9", "accept", 3.6, &yes, &yes, &yes},
		"at the limit":              {"hardness_N=..3.9", "accept", 3.9, &yes, &yes, &yes},
		"accepted, not met":         {"hardness_N=..3.9", "accept", 4.0, &no, &no, &no},
		"rejected, not met":         {"hardness_N=3.95..", "reject", 3.2, &yes, &no, &yes},
		"rejected, met":             {"hardness_N=3.95..", "reject", 4.0, &no, &yes, &no},
		"held":                      {"hardness_N=3..4", "hold", 3.6, &yes, &yes, nil},
		"no specification":          {"", "", 3.05, &no, nil, nil},
		"of another response":       {"springiness=0.8..", "accept", 3.6, &yes, nil, nil},
		"a specification not to be": {"hardness_N=4..3", "accept", 3.6, &yes, nil, nil},
	} {
		l := Score(forecasts.Record{Lot: "A", Response: "hardness_N", Value: &v, Low: &low, High: &high, Decision: c.decision, Spec: c.spec}, c.measured)
		if !reflect.DeepEqual([]*bool{l.Inside, l.Met, l.Right}, []*bool{c.inside, c.met, c.right}) {
			t.Errorf("%s: found %s, expected %s", name, say(l.Inside, l.Met, l.Right), say(c.inside, c.met, c.right))
		}
		if math.Abs(l.Error-(c.measured-3.5)) > 1e-12 {
			t.Errorf("%s: found an error of %g", name, l.Error)
		}
	}
	if l := Score(forecasts.Record{Value: &v}, 3.6); l.Inside != nil {
		t.Errorf("without an interval: found %s", say(l.Inside))
	}
}

func say(all ...*bool) string {
	out := ""
	for _, b := range all {
		if b == nil {
			out += "absent "
		} else {
			out += fmt.Sprint(*b, " ")
		}
	}
	return out
}
