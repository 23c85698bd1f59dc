package eval

import (
	"context"
	"errors"
	"math"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model/linear"
	"flourcast/model/pls"
)

// Splits that are a plan's folds give Nested's predictions, and rows that are
// neither trained on nor predicted have no say.
func TestHoldout(t *testing.T) {
	m := lab(t, 40, 2, 4, 1, 1)
	plan, err := fold.Parse("lot", m, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	var splits []Split
	for k := range plan.K[0] {
		test, train := split(plan.Fold[0], k)
		splits = append(splits, Split{train, test})
	}
	out, err := Holdout(context.Background(), pls.PLS{}, m, splits, 7, 0)
	if err != nil {
		t.Fatal(err)
	}
	h, err := Nested(context.Background(), pls.PLS{}, m, plan, 7, 0)
	if err != nil {
		t.Fatal(err)
	}
	for s, one := range splits {
		for t2, i := range one.Test {
			if out[s][t2] != h.Predicted[i] {
				t.Fatalf("row %d: %v, Nested says %v", i, out[s][t2], h.Predicted[i])
			}
		}
	}
	part, err := Holdout(context.Background(), linear.OLS{}, m, []Split{{Train: []int{0, 1, 2, 3, 4, 5, 8, 9, 10, 11}, Test: []int{20, 7}}}, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	path, err := linear.OLS{}.Fit(m.Subset([]int{0, 1, 2, 3, 4, 5, 8, 9, 10, 11}))
	if err != nil {
		t.Fatal(err)
	}
	for k, i := range []int{20, 7} {
		if want := path.At(0).Predict(m.Row(i)); math.Abs(part[0][k]-want) > 1e-8*(1+math.Abs(want)) {
			t.Errorf("row %d: %v, fitted by itself %v", i, part[0][k], want)
		}
	}
	for _, bad := range []Split{{}, {Train: []int{1}}, {Train: []int{1}, Test: []int{1}}, {Train: []int{1, 2}, Test: []int{80}}, {Train: []int{-1}, Test: []int{3}}} {
		var wrong *SplitError
		if _, err := Holdout(context.Background(), linear.OLS{}, m, []Split{splits[0], bad}, 1, 1); !errors.As(err, &wrong) || wrong.Split != 1 {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}
