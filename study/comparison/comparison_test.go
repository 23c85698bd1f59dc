package comparison

import (
	"context"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flourcast/eval/direction"
	"flourcast/forecast"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/entry/booktest"
)

var env = booktest.Env(time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC))

// opened is a lab book with the files.
func opened(t *testing.T, files map[string]string, wanted ...string) *Lots {
	t.Helper()
	ctx := context.Background()
	b, err := book.Open(ctx, booktest.Of(t, env, files))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	l, err := Open(ctx, env, b, nil, wanted)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

var files = map[string]string{
	"lots.csv":    "lot,product,protein_pct,protein_basis\nA,soft-bite-noodle,9.1,14 %\nB,soft-bite-noodle,9.2,14 %\nC,soft-bite-noodle,9.3,14 %\nD,layer-cake,8.0,14 %\n",
	"values.csv":  "lot,method,replicate,peak_mPas\nA,noodle-water,1,2800\nB,noodle-water,1,2600\nC,noodle-water,1,2500\nD,noodle-water,1,2000\n",
	"texture.csv": "lot,protocol,replicate,hardness_N\nA,p,1,4.0\nB,p,1,3.0\nC,p,1,2.0\nD,p,1,3.1\n",
}

func TestReferences(t *testing.T) {
	low, high := 2.5, 5.0
	limits := []*forecast.Spec{nil, {Response: "hardness_N", Low: &low, High: &high}}
	l := opened(t, files)
	for name, c := range map[string]struct {
		limits  []*forecast.Spec
		leftOut string
		want    []string
		by      string
	}{
		"met the limits":     {limits, "", []string{"A", "B"}, ByLimits},
		"not the lot itself": {limits, "A", []string{"B"}, ByLimits},
		"no limits":          {nil, "", nil, ""},
	} {
		if got, by := l.References("soft-bite-noodle", c.limits, c.leftOut); !slices.Equal(got, c.want) || by != c.by {
			t.Errorf("%s: %v by %q, want %v by %q", name, got, by, c.want, c.by)
		}
	}
	noted := map[string]string{"production.csv": "lot,ran,trouble\nC,well,\nB,no,tore\n"}
	for k, v := range files {
		noted[k] = v
	}
	if got, by := opened(t, noted).References("soft-bite-noodle", limits); !slices.Equal(got, []string{"C"}) || by != ByProduction {
		t.Errorf("with notes: %v by %q, want C by production", got, by)
	}
}

// A lot all of whose runs wait for the runs file is read as its curves or values tell;
// one that the runs file has is not.
func TestLotsThatWaitForARunsFile(t *testing.T) {
	late := map[string]string{
		"lots.csv":   files["lots.csv"],
		"runs.csv":   "run,lot,method,replicate,status\nr1,A,noodle-water,1,valid\n",
		"values.csv": "run,lot,method,replicate,peak_mPas\nr1,A,noodle-water,1,2800\nr2,B,noodle-water,1,2600\n",
	}
	l := opened(t, late, "A", "B")
	c := &card.Card{Product: "soft-bite-noodle", Method: "noodle-water"}
	for lot, want := range map[string]float64{"A": 2800, "B": 2600} {
		if got, ok := l.Figure(lot, "peak_mPas", c); !ok || got != want {
			t.Errorf("%s: %g, %v, want %g", lot, got, ok, want)
		}
	}
	if !slices.Equal(l.lateLots, []string{"B"}) {
		t.Errorf("late: %v, want B", l.lateLots)
	}
	if _, ok := l.Figure("Z", "peak_mPas", c); ok {
		t.Error("a lot that is not there has a figure")
	}
	if by, ok := l.MethodOf("B", []string{"cake-water", "noodle-water"}); !ok || by != "noodle-water" {
		t.Errorf("method %q, %v", by, ok)
	}
}

// Where a feature points: its position by the published sign.
func TestWhereAFeaturePoints(t *testing.T) {
	answer := func(sign, standing string) direction.Answer {
		return direction.Answer{Rule: direction.Rule{ID: "x", Sign: sign, Standing: standing, Source: "the laboratory's own"}, Feature: "peak_mPas", Applies: true, Outcome: direction.Confirmed}
	}
	for _, c := range []struct {
		answers               []direction.Answer
		position              string
		points, sign          string
		disagree, unpublished bool
	}{
		{[]direction.Answer{answer("-", direction.Established)}, Above, PointsLower, "-", false, false},
		{[]direction.Answer{answer("-", direction.Established)}, Below, PointsHigher, "-", false, false},
		{[]direction.Answer{answer("+", direction.Contextual)}, Above, PointsHigher, "+", false, false},
		{[]direction.Answer{answer("+", direction.Contextual)}, Below, PointsLower, "+", false, false},
		{[]direction.Answer{answer("+", direction.Contextual)}, Within, PointsSame, "+", false, false},
		{[]direction.Answer{answer("0", direction.Contextual)}, Above, PointsSame, "0", false, false},
		{[]direction.Answer{answer("optimum", direction.Contextual)}, Above, "", "optimum", false, false},
		{[]direction.Answer{answer("+", direction.Contested), answer("-", direction.Contested)}, Above, "", "+", true, false},
		{[]direction.Answer{answer("+", direction.Contested), answer("-", direction.Established)}, Above, PointsLower, "-", false, false},
		{nil, Above, "", "", false, true},
	} {
		f := Feature{Feature: "peak_mPas@noodle-water"}
		f.direction(&card.Card{Directions: c.answers}, c.position)
		if f.Points != c.points || f.Sign != c.sign || f.Disagree != c.disagree || (f.Standing == "") != c.unpublished {
			t.Errorf("%+v %s: %+v", c.answers, c.position, f)
		}
		if f.Source != "" {
			t.Errorf("the source of a rule that is not built in is told: %q", f.Source)
		}
	}
	b := direction.Builtin()[0]
	f := Feature{Feature: "peak_mPas"}
	f.direction(&card.Card{Directions: []direction.Answer{{Rule: b, Feature: "peak_mPas", Applies: true}}}, Within)
	if f.Source != b.Source || b.Source == "" {
		t.Errorf("source %q, want %q", f.Source, b.Source)
	}
}

// Of n figures no more than one in ten lies below the range and one in ten above, and
// below ten figures none.
func TestRangeOfOthers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		others := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 60).Draw(t, "others")
		f := Feature{Value: rapid.Float64Range(-1e6, 1e6).Draw(t, "value")}
		f.against(slices.Clone(others))
		below, above := 0, 0
		for _, x := range others {
			if x < f.Low {
				below++
			}
			if x > f.High {
				above++
			}
		}
		most := len(others) / 10
		if len(others) < 10 {
			most = 0
		}
		if below > most || above > most || f.Compared != len(others) {
			t.Fatalf("%d below %g, %d above %g of %d", below, f.Low, above, f.High, len(others))
		}
		if (f.Position == Below) != (f.Value < f.Low) || (f.Position == Above) != (f.Value > f.High) {
			t.Fatalf("%g in %g..%g is %s", f.Value, f.Low, f.High, f.Position)
		}
	})
}

// The repeatability limit of ISO 5725-6 is 2.8 times the repeatability SD (from memory).
func TestBesideThePresentFlour(t *testing.T) {
	for difference, want := range map[float64]string{100: Above, -100: Below, 80: Within, -80: Within, 0: Within} {
		if got := beside(difference, 30); got != want {
			t.Errorf("%g at SD 30: %s, want %s", difference, got, want)
		}
	}
}
