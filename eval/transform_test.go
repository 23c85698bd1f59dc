package eval

import (
	"context"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/transform"
	"flourcast/work"
)

// byRows hides that a fitter can work on many parts at once, but not its steps.
type byRows struct {
	rowsOnly
	f model.Stepped
}

func (r byRows) Steps(rows, p int) int { return r.f.Steps(rows, p) }

// TestDerivativesInFolds: curves filtered once for all parts give what filtering
// the rows of every part anew gives, for every step, and the same choices; and the
// log of the response is taken anew in every part.
func TestDerivativesInFolds(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := curves(rt)
		orders := rapid.SampledFrom([][]int{{1}, {2}, {0, 1, 2}}).Draw(rt, "orders")
		d := transform.Derivative{Inner: pls.PLS{Scaling: rapid.SampledFrom([]model.Scaling{model.ScaleUnit, model.ScaleNone}).Draw(rt, "scaling")}, Orders: orders, Window: 7}
		ctx, plan := context.Background(), planOf(t, "k=3", m, 1)
		fast, err := CrossValidate(ctx, d, m, plan, 1)
		if err != nil {
			rt.Fatal(err)
		}
		slow, err := CrossValidate(ctx, byRows{rowsOnly{d}, d}, m, plan, 1)
		if err != nil {
			rt.Fatal(err)
		}
		if !reflect.DeepEqual(fast.Labels, slow.Labels) {
			rt.Fatalf("steps %v and %v", fast.Labels, slow.Labels)
		}
		for a := range fast.RMSECV {
			if e := math.Abs(fast.RMSECV[a]/slow.RMSECV[a] - 1); !(e <= 1e-9) {
				rt.Fatalf("%s: RMSECV %v and %v, %.1g apart", fast.Labels[a], fast.RMSECV[a], slow.RMSECV[a], e)
			}
		}
		a, err := Nested(ctx, d, m, plan, 3, 2)
		if err != nil {
			rt.Fatal(err)
		}
		b, err := Nested(ctx, byRows{rowsOnly{d}, d}, m, plan, 3, 1)
		if err != nil {
			rt.Fatal(err)
		}
		if !reflect.DeepEqual(a.Picks, b.Picks) || math.Abs(a.RMSECV/b.RMSECV-1) > 1e-9 {
			rt.Fatalf("chosen %v and %v, RMSECV %v and %v", a.Picks, b.Picks, a.RMSECV, b.RMSECV)
		}
	})
}

// TestLogInFolds: a step's out-of-fold predictions are those of separate fits of
// ln y on the training rows, in the units of y.
func TestLogInFolds(t *testing.T) {
	r := work.Rand(7, "log")
	s := design.Spec{Features: []string{"a", "b"}, Response: "y"}
	for i := range 30 {
		x := []float64{r.NormFloat64(), r.NormFloat64()}
		s.X, s.Y, s.Lots = append(s.X, x), append(s.Y, math.Exp(1+x[0]-0.5*x[1]+0.3*r.NormFloat64())), append(s.Lots, string(rune('A'+i)))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	plan := planOf(t, "k=5", m, 1)
	f := transform.Log{Inner: linear.OLS{}}
	cv, err := CrossValidate(context.Background(), f, m, plan, 2)
	if err != nil {
		t.Fatal(err)
	}
	for k := range 5 {
		test := plan.Test(0, k)
		path, err := f.Fit(m.Subset(others(m.N(), test)))
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range test {
			if want := path.At(0).Predict(m.Row(i)); math.Abs(cv.Predicted[0][i]-want) > 1e-12*want {
				t.Errorf("row %d: %v, expected %v", i, cv.Predicted[0][i], want)
			}
		}
	}
}
