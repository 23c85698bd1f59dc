package candidate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/eval/metric"
	"flourcast/model/baseline"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
)

// mill is n lots with p features; y follows the first with r.
func mill(t testing.TB, n, p int, r float64, seed uint64) *design.Matrix {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 3))
	s := design.Spec{Response: "y"}
	for j := range p {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	for i := range n {
		row := make([]float64, p)
		for j := range row {
			row[j] = rng.NormFloat64()
		}
		s.X, s.Lots = append(s.X, row), append(s.Lots, fmt.Sprint("L", i))
		s.Y = append(s.Y, r*row[0]+math.Sqrt(1-r*r)*rng.NormFloat64())
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func only(t testing.TB, m *design.Matrix, features ...string) *design.Matrix {
	t.Helper()
	out, err := m.WithFeatures(features)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func options() Options { return Options{Level: 0.95, Resamples: 499, Flips: 499, Seed: 5} }

// The exact example: of 32 flips two reach the mean of 0.9, 0.5, −0.1, 0.7, 0.2, so
// p = 1/16 (computed by hand from van der Voet's definition).
func TestSignFlipExact(t *testing.T) {
	a, b := []float64{1.9, 1.5, 1.0, 1.7, 1.2}, []float64{1, 1, 1.1, 1, 1}
	if p := SignFlip(a, b, 0, 1); p != 1.0/16 {
		t.Errorf("p = %v, want 1/16", p)
	}
	if p := SignFlip(b, a, 0, 1); p != 31.0/32 {
		t.Errorf("the other way round p = %v, want 31/32", p)
	}
	if p := SignFlip(a, a, 0, 1); p != 1 {
		t.Errorf("equal errors: p = %v, want 1", p)
	}
	if p := SignFlip(nil, nil, 0, 1); p != 1 {
		t.Errorf("no pair: p = %v", p)
	}
}

// Random flips come to the normal approximation, and never to zero.
func TestSignFlipSampled(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	n := 200
	a, b := make([]float64, n), make([]float64, n)
	sum, ss := 0.0, 0.0
	for i := range a {
		d := rng.NormFloat64() + 0.1
		a[i] = d
		sum, ss = sum+d, ss+d*d
	}
	want := 0.5 * math.Erfc(sum/math.Sqrt(ss)/math.Sqrt2)
	if p := SignFlip(a, b, 19999, 1); math.Abs(p-want) > 0.01 {
		t.Errorf("p = %v, the normal approximation says %v", p, want)
	}
	for i := range a {
		a[i] = 1
	}
	if p := SignFlip(a, b, 999, 1); p != 1.0/1000 {
		t.Errorf("all on one side: p = %v, want 1/1000", p)
	}
}

func TestCompare(t *testing.T) {
	m := mill(t, 60, 3, 0.8, 1)
	plan, err := fold.Parse("lot", m, 2, 1)
	if err != nil {
		t.Fatal(err)
	}
	none := only(t, m)
	cs := []Candidate{{"mean", baseline.Mean{}, m}, {"protein", linear.OLS{}, only(t, m, "x1")}, {"all", pls.PLS{}, m}, {"one", Single{}, m}, {"none", linear.OLS{}, none}}
	o := options()
	o.Base = "protein"
	table, err := Compare(context.Background(), cs, plan, o)
	if err != nil {
		t.Fatal(err)
	}
	mean, protein, all, one := table.Rows[0], table.Rows[1], table.Rows[2], table.Rows[3]
	if math.Abs(mean.Honest.Q2) > 1e-12 || mean.OverMean.Value != 0 || table.Base != 1 || protein.OverBase != nil || table.Lots != 60 {
		t.Errorf("the mean's Q² is %v, its gain over itself %+v", mean.Honest.Q2, mean.OverMean)
	}
	if all.Honest.Q2 < 0.4 || all.OverMean.Low <= 0 || all.OverBase.Low <= 0 || one.Honest.Q2 < 0.4 {
		t.Errorf("a real relation: all %+v, one Q² %.2f", all.OverBase, one.Honest.Q2)
	}
	if table.Rows[table.Best].WorseThanBest != nil || *mean.WorseThanBest > 0.01 {
		t.Errorf("the mean worse than the best: p %v", *mean.WorseThanBest)
	}
	if table.Rows[4].Honest == nil && table.Rows[4].Failed == "" {
		t.Error("a candidate without features neither ran nor said why")
	}
	// The gain over the mean is what metric.Compare says of the same predictions.
	g, err := metric.Compare(m.Y(), meanPredictions(plan, m.Y()), all.Honest.Predicted, meanPredictions(plan, m.Y()), m.Lots(), 0.95, 499, 5)
	if err != nil || g != *all.OverMean {
		t.Errorf("%+v, metric.Compare says %+v (%v)", all.OverMean, g, err)
	}
	o.Cores = 1
	again, err := Compare(context.Background(), cs, plan, o)
	if err != nil || !reflect.DeepEqual(table, again) {
		t.Errorf("one core and several differ (%v)", err)
	}
	var rows *RowsError
	if _, err := Compare(context.Background(), []Candidate{cs[0], {"other", baseline.Mean{}, mill(t, 60, 1, 0, 2)}}, plan, o); !errors.As(err, &rows) || rows.Name != "other" {
		t.Errorf("other rows: %v", err)
	}
	if _, err := Compare(context.Background(), nil, plan, o); !errors.As(err, &rows) {
		t.Errorf("no candidate: %v", err)
	}
}

// Of eleven worthless candidates the best has Q² above 0 in most mills; chosen
// inside the folds it has so in few. (Plan's figures: 67 % and 28 % for one.)
func TestTheBestOfManyFlatters(t *testing.T) {
	const mills = 24
	best, chosen := 0, 0
	for k := range mills {
		m := mill(t, 40, 11, 0, uint64(100+k))
		var cs []Candidate
		for _, f := range m.Features() {
			cs = append(cs, Candidate{f, linear.OLS{}, only(t, m, f)})
		}
		plan, err := fold.Parse("lot", m, 1, 1)
		if err != nil {
			t.Fatal(err)
		}
		o := options()
		o.Resamples, o.Flips = 39, 19
		table, err := Compare(context.Background(), cs, plan, o)
		if err != nil {
			t.Fatal(err)
		}
		c, err := Chosen(context.Background(), cs, plan, 1, 0)
		if err != nil {
			t.Fatal(err)
		}
		if table.Rows[table.Best].Honest.Q2 > 0 {
			best++
		}
		if c.Honest.Q2 > 0 {
			chosen++
		}
		total := 0
		for _, n := range c.Picks {
			total += n
		}
		if total != 10 {
			t.Fatalf("%d picks in 10 folds", total)
		}
	}
	t.Logf("of %d worthless mills Q² is above 0 in %d by the best of eleven, in %d chosen inside the folds", mills, best, chosen)
	if best < mills/2 || chosen > mills/3 {
		t.Errorf("best %d, chosen %d of %d", best, chosen, mills)
	}
}

// With one candidate there is no choice: the same predictions as by eval.Nested
// without a step to choose.
func TestChosenOfOne(t *testing.T) {
	m := mill(t, 30, 2, 0.7, 9)
	plan, err := fold.Parse("lot", m, 2, 1)
	if err != nil {
		t.Fatal(err)
	}
	c, err := Chosen(context.Background(), []Candidate{{"ols", linear.OLS{}, m}}, plan, 1, 0)
	if err != nil {
		t.Fatal(err)
	}
	h, err := eval.Nested(context.Background(), linear.OLS{}, m, plan, 1, 0)
	if err != nil || math.Abs(c.Honest.Q2-h.Q2) > 1e-12 || math.Abs(c.Honest.RMSECV-h.RMSECV) > 1e-12 {
		t.Errorf("Q² %v and %v (%v)", c.Honest.Q2, h.Q2, err)
	}
	for i, v := range h.Predicted {
		if math.Abs(v-c.Honest.Predicted[i]) > 1e-9 {
			t.Errorf("row %d: %v and %v", i, c.Honest.Predicted[i], v)
		}
	}
	one, err := Chosen(context.Background(), []Candidate{{"ols", linear.OLS{}, m}, {"pls", pls.PLS{}, m}}, plan, 1, 1)
	two, err2 := Chosen(context.Background(), []Candidate{{"ols", linear.OLS{}, m}, {"pls", pls.PLS{}, m}}, plan, 1, 2)
	if err != nil || err2 != nil || !reflect.DeepEqual(one, two) {
		t.Errorf("one core and two differ (%v, %v)", err, err2)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Chosen(ctx, []Candidate{{"ols", linear.OLS{}, m}}, plan, 1, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
