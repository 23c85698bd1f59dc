package operating

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/table"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/forecast/conformance"
	"flourcast/forecast/window"
	"flourcast/stat/tolerance"
	"flourcast/study/card"
	"flourcast/study/fitting"
	"flourcast/study/job"

	"flourcast/dataset/column"
)

func env(cores int) job.Env {
	return job.Env{Clock: func() time.Time { return time.Unix(1767225600, 0) }, Version: "test", Seed: 1, Cores: cores}
}

func at(v float64) *float64 { return &v }

// mill is an invented table of n lots whose hardness falls with peak viscosity.
func mill(t testing.TB, n int, noise float64) *table.Table {
	t.Helper()
	rng := rand.New(rand.NewPCG(11, 3))
	present := make([]bool, n)
	lots, ran, what := make([]string, n), make([]string, n), make([]string, n)
	var peak, protein, hardness []float64
	for i := range n {
		present[i] = true
		lots[i], ran[i] = fmt.Sprintf("L%02d", i), "well"
		peak = append(peak, 2600+400*rng.NormFloat64())
		protein = append(protein, 9.5+0.8*rng.NormFloat64())
		hardness = append(hardness, 9-0.002*peak[i]+0.15*protein[i]+noise*rng.NormFloat64())
		if peak[i] < 2250 {
			ran[i], what[i] = "trouble", "sticky dough"
		}
	}
	tb, err := table.New("lot", column.Text("lot", lots), column.Text("ran", ran), column.Text("trouble", what), column.Numbers("peak_mPas", peak, present),
		column.Numbers("protein_pct", protein, present), column.Numbers("hardness_N", hardness, present))
	if err != nil {
		t.Fatal(err)
	}
	return tb
}

func fitted(t testing.TB, noise float64) *card.Card {
	t.Helper()
	r, err := fitting.Fit(context.Background(), env(1), fitting.Request{Table: mill(t, 60, noise), File: "mill.csv", Response: "hardness_N", Features: []string{"peak_mPas", "protein_pct"}, Kind: "ols"})
	if err != nil {
		t.Fatal(err)
	}
	r.Card.Verdict.Standing = verdict.FitForUse
	return r.Card
}

var spec = forecast.Spec{Response: "hardness_N", Low: at(4.4), High: at(6.2)}

// The zones of a line agree with the lots on it, and the same bits come of one core
// and of two.
func TestFromModel(t *testing.T) {
	c := fitted(t, 0.15)
	one, err := FromModel(context.Background(), env(1), Request{Card: c, Spec: spec})
	if err != nil {
		t.Fatal(err)
	}
	two, err := FromModel(context.Background(), env(2), Request{Card: c, Spec: spec})
	if err != nil || !reflect.DeepEqual(one, two) {
		t.Errorf("one core and two differ (%v)", err)
	}
	if !reflect.DeepEqual(one.By, []string{"peak_mPas"}) || !reflect.DeepEqual(one.Others, []string{"protein_pct"}) || !one.HasTarget() {
		t.Errorf("%v, %v, %v", one.By, one.Others, one.Line.Best)
	}
	for _, l := range one.Lots {
		for _, s := range one.Line.Stretches {
			if l.At[0] > s.From+1e-3 && l.At[0] < s.To-1e-3 && l.Zone != s.Zone {
				t.Errorf("%+v lies in %+v", l, s)
			}
		}
	}
	b := one.Backtest
	sum := 0
	for k := range b.Window {
		sum += b.Window[k].Meets + b.Window[k].Fails
	}
	if sum != b.Rows || b.Rows != 60 || b.Right.RightAccepts+b.Right.WrongAccepts+b.Right.RightRejections+b.Right.WrongRejections+b.Right.Undecided != 60 {
		t.Errorf("%+v does not add up", b)
	}
	if b.Right.RightAccepts < 15 || b.Right.WrongAccepts > 2 {
		t.Errorf("a strong relation gives %+v", b.Right)
	}
	m, err := FromModel(context.Background(), env(2), Request{Card: c, Spec: spec, By: []string{"peak_mPas", "protein_pct"}})
	if err != nil || m.Map == nil || m.Line != nil || len(m.Others) != 0 {
		t.Fatalf("a map: %v", err)
	}
	// With both features on the map, a past lot's probability is its forecast's.
	fm, err := cardModel(c)
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range m.Lots {
		x := c.Training[i].X
		value := fm.Intercept + fm.Coefficients[0]*x[0] + fm.Coefficients[1]*x[1]
		s, err := fm.Spread(x)
		if err != nil {
			t.Fatal(err)
		}
		want, err := conformance.Limits{Low: spec.Low, High: spec.High}.Probability(value, s)
		if err != nil || math.Abs(l.P-want) > 1e-12 || l.Zone != m.Thresholds.Zone(want) {
			t.Errorf("%+v, the forecast says %v", l, want)
		}
	}
}

// The back-test never lets a lot judge itself: a response that is pure noise gives
// no window that is right more often than wrong.
func TestBacktestIsOutOfFold(t *testing.T) {
	c := fitted(t, 0.15)
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range c.Training {
		c.Training[i].Measured = 5.3 + rng.NormFloat64()
	}
	r, err := FromModel(context.Background(), env(2), Request{Card: c, Spec: forecast.Spec{Response: "hardness_N", High: at(5.3)}, Confidence: 0.6, Acceptable: 0.4})
	if err != nil {
		t.Fatal(err)
	}
	if g := r.Backtest.Right; g.RightAccepts+g.RightRejections > 2*(g.WrongAccepts+g.WrongRejections)+5 {
		t.Errorf("noise is decided rightly: %+v", g)
	}
}

// Lots of one family stay together in the back-test: a parent without a family of
// its own name, and its children.
func TestBacktestKeepsFamilies(t *testing.T) {
	c := fitted(t, 0.15)
	for i := range c.Training {
		if parent := i - i%3; i != parent {
			c.Training[i].Family = c.Training[parent].Lot
		}
	}
	m, err := c.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(5) {
		plan, err := split(m, seed)
		if err != nil || plan.Scheme != "10-fold by family" {
			t.Fatalf("%q, %v", plan.Scheme, err)
		}
		for i, f := range plan.Fold[0] {
			if f != plan.Fold[0][i-i%3] {
				t.Errorf("seed %d: row %d is in fold %d, its parent in %d", seed, i, f, plan.Fold[0][i-i%3])
			}
		}
	}
	r, err := FromModel(context.Background(), env(2), Request{Card: c, Spec: spec})
	if err != nil || r.Backtest.Scheme != "10-fold by family" || r.Backtest.Rows != 60 {
		t.Errorf("%+v, %v", r, err)
	}
	for i := range c.Training {
		c.Training[i].Family = c.Training[0].Lot
	}
	var request *job.RequestError
	if _, err := FromModel(context.Background(), env(2), Request{Card: c, Spec: spec}); !errors.As(err, &request) {
		t.Errorf("one family: %v", err)
	}
}

// A lot in production is not judged by its own family: of two lots of one parent far
// from all others, either alone would widen the limits enough to hold the other.
func TestPastLotsKeepFamilies(t *testing.T) {
	judge := func(family string) *PastLots {
		var good []judged
		for i := range 8 {
			good = append(good, judged{2500 + 10*float64(i), fmt.Sprint("L", i)})
		}
		good = append(good, judged{2660, "parent"}, judged{2665, family})
		p := pastLots(good, []judged{{2662, "parent"}}, 0.95, 0.95)
		if p == nil {
			t.Fatal("no limits")
		}
		return p
	}
	alone, together := judge("other"), judge("parent")
	if *alone != (PastLots{WellInside: 10, TroubleInside: 1}) || *together != (PastLots{WellInside: 8, WellOutside: 2, TroubleOutside: 1}) {
		t.Errorf("strangers %+v, a family %+v", *alone, *together)
	}
}

// k belongs to the lots that judge, not to all: a lot between the limits of either.
func TestPastLotsCountTheirK(t *testing.T) {
	var good []judged
	var others []float64
	for i := range 8 {
		others = append(others, 2500+10*float64(i))
		good = append(good, judged{others[i], fmt.Sprint("L", i)})
	}
	mean, sd, err := tolerance.Moments(others)
	if err != nil {
		t.Fatal(err)
	}
	eight, err := tolerance.Factor(8, 0.95, 0.95, tolerance.Both)
	if err != nil {
		t.Fatal(err)
	}
	nine, err := tolerance.Factor(9, 0.95, 0.95, tolerance.Both)
	if err != nil || nine >= eight {
		t.Fatal(nine, eight, err)
	}
	p := pastLots(append(good, judged{mean + sd*(eight+nine)/2, "far"}), nil, 0.95, 0.95)
	if p == nil || p.WellInside != 9 {
		t.Errorf("%+v, expected the far lot inside the limits of the 8 others", p)
	}
}

func TestRefusals(t *testing.T) {
	c := fitted(t, 0.15)
	bad := fitted(t, 0.15)
	bad.Verdict.Standing, bad.Verdict.Sentence = verdict.NotFitForUse, "Not fit for use: chance alone does as well."
	for name, q := range map[string]Request{
		"spec of another response": {Card: c, Spec: forecast.Spec{Response: "springiness", Low: at(0.8)}},
		"no limit":                 {Card: c, Spec: forecast.Spec{Response: "hardness_N"}},
		"unknown feature":          {Card: c, Spec: spec, By: []string{"final_mPas"}},
		"three features":           {Card: c, Spec: spec, By: []string{"peak_mPas", "protein_pct", "peak_mPas"}},
		"twice the same":           {Card: c, Spec: spec, By: []string{"peak_mPas", "peak_mPas"}},
		"thresholds":               {Card: c, Spec: spec, Confidence: 0.4},
		"not fit":                  {Card: bad, Spec: spec},
		"not fit, blank reason":    {Card: bad, Spec: spec, Override: "  "},
	} {
		var wrong *job.RequestError
		if _, err := FromModel(context.Background(), env(1), q); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
	r, err := FromModel(context.Background(), env(1), Request{Card: bad, Spec: spec, Override: "to see what it would say"})
	if err != nil || r.Override != "to see what it would say" || r.Standing != verdict.NotFitForUse {
		t.Errorf("an override: %v", err)
	}
}

func TestFromProduction(t *testing.T) {
	tb := mill(t, 60, 0.15)
	r, err := FromProduction(ProductionRequest{Table: tb, File: "mill.csv", RanWell: "ran"})
	if err != nil {
		t.Fatal(err)
	}
	f := r.Features[0]
	if r.Well+r.Trouble+r.NotStated+r.Refused != r.Rows || r.Rows != 60 || r.Needs != 93 || len(r.Features) != 1 || f.Feature != "peak_mPas" {
		t.Fatalf("%+v", r)
	}
	if f.Free != nil || !strings.Contains(f.Reason, "need 93 lots") || f.Normal == nil || f.AndersonDarling == nil {
		t.Errorf("%+v", f)
	}
	if p := f.Past; p == nil || p.WellInside+p.WellOutside != r.Well || p.TroubleInside+p.TroubleOutside != r.Trouble {
		t.Errorf("past lots %+v of %d and %d", f.Past, r.Well, r.Trouble)
	}
	if got := f.Normal.Mean - f.Normal.K*f.Normal.SD; math.Abs(got-f.Normal.Low) > 1e-9 {
		t.Errorf("limits %+v", f.Normal)
	}
	big, err := FromProduction(ProductionRequest{Table: mill(t, 140, 0.15), File: "mill.csv", RanWell: "ran"})
	if err != nil || big.Features[0].Free == nil || big.Features[0].Free.Confidence < 0.95 {
		t.Errorf("140 lots: %+v, %v", big.Features[0].Free, err)
	}
}

func TestProductionRefusals(t *testing.T) {
	tb := mill(t, 20, 0.1)
	var wrong *job.RequestError
	for name, q := range map[string]ProductionRequest{
		"no column": {Table: tb, RanWell: "line 3"}, "no feature": {Table: tb, RanWell: "ran", Features: []string{"final_mPas"}}, "a text": {Table: tb, RanWell: "ran", Features: []string{"ran"}},
		"share": {Table: tb, RanWell: "ran", Share: 1.2},
	} {
		if _, err := FromProduction(q); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
	var nothing *job.NothingUsableError
	odd, err := table.New("lot", column.Text("lot", []string{"A", "B", "C"}), column.Text("ran", []string{"so so", "", "no"}), column.Numbers("peak_mPas", []float64{1, 2, 3}, []bool{true, true, true}))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := FromProduction(ProductionRequest{Table: odd, File: "odd.csv", RanWell: "ran"}); !errors.As(err, &nothing) || !strings.Contains(err.Error(), "so so") {
		t.Errorf("nothing ran well: %v", err)
	}
}

// A fold's window is made without its own lots, and k belongs to the number of lots.
func TestNoLotJudgesItself(t *testing.T) {
	c := fitted(t, 0.15)
	m, err := c.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	f, err := newFitter(c)
	if err != nil {
		t.Fatal(err)
	}
	v, fm, err := deriveWithout(context.Background(), env(1), f, m, []int{0, 7}, []int{0}, conformance.Limits{Low: at(5)}, window.Thresholds{Target: 0.9, Acceptable: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	names, _ := v.surface.Lots()
	if len(names) != m.N()-2 || len(fm.X) != m.N()-2 || slices.Contains(names, m.Lots()[0]) || slices.Contains(names, m.Lots()[7]) {
		t.Errorf("%d lots, left-out ones among them", len(names))
	}
	r, err := FromProduction(ProductionRequest{Table: mill(t, 40, 0.1), RanWell: "ran"})
	if err != nil {
		t.Fatal(err)
	}
	if k, err := tolerance.Factor(r.Well, 0.95, 0.95, tolerance.Both); err != nil || r.Features[0].Normal.K != k {
		t.Errorf("k %v of %d lots, want %v", r.Features[0].Normal.K, r.Well, k)
	}
}
