package eval

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/baseline"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
	"flourcast/work"
)

func TestRefusals(t *testing.T) {
	ctx := context.Background()
	m := lab(t, 30, 1, 3, 1, 9)
	flatY, err := m.WithResponse("y", make([]float64, 30))
	if err != nil {
		t.Fatal(err)
	}
	var flat *model.NoVarianceError
	var few *fold.TooFewUnitsError
	var spec *fold.SpecError
	var rows *model.TooFewRowsError
	var folds *FoldError
	var ways *fold.TooFewArrangementsError
	var setting *model.SettingError
	plan := planOf(t, "lot", m, 1)
	for _, f := range []model.Fitter{baseline.Mean{}, linear.OLS{}, ridge.Ridge{}, pls.PLS{}, rowsOnly{baseline.Mean{}}} {
		if _, err := CrossValidate(ctx, f, flatY, plan, 1); !errors.As(err, &flat) || flat.Response != "y" {
			t.Errorf("%s, a response without variance: %v", f.Kind(), err)
		}
	}
	oneLot := lab(t, 1, 30, 3, 1, 9)
	if _, err := CrossValidate(ctx, pls.PLS{}, oneLot, fold.LeaveOneOut(oneLot.Lots()), 1); !errors.As(err, &few) {
		t.Errorf("one lot: %v", err)
	}
	twoLots := lab(t, 2, 30, 3, 1, 9)
	if _, err := Nested(ctx, pls.PLS{}, twoLots, fold.LeaveOneOut(twoLots.Lots()), 1, 1); !errors.As(err, &few) || !errors.As(err, &folds) {
		t.Errorf("two lots cannot be split again inside: %v", err)
	}
	if _, err := CrossValidate(ctx, pls.PLS{}, m, fold.Plan{}, 1); !errors.As(err, &spec) {
		t.Errorf("no plan: %v", err)
	}
	eight := lab(t, 8, 1, 3, 1, 9)
	halves, err := fold.ByUnit(eight.Lots(), 2, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := CrossValidate(ctx, pls.PLS{}, eight, halves, 1); !errors.As(err, &rows) || !errors.As(err, &folds) {
		t.Errorf("4 training rows: %v", err)
	}
	three := lab(t, 3, 4, 2, 1, 9)
	if _, err := Permute(ctx, pls.PLS{}, three, fold.LeaveOneOut(three.Lots()), 19, 1, 1, nil); !errors.As(err, &ways) || ways.Arrangements != 6 {
		t.Errorf("3 lots: %v", err)
	}
	if _, err := Permute(ctx, pls.PLS{}, m, plan, 0, 1, 1, nil); !errors.As(err, &setting) {
		t.Errorf("no permutations: %v", err)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := Nested(stopped, pls.PLS{}, m, plan, 1, 2); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// TestHardTables: what can be validated is, with finite figures.
func TestHardTables(t *testing.T) {
	ctx := context.Background()
	random := work.Rand(4, "hard")
	wide := lab(t, 24, 1, 60, 1, 10) // more features than rows
	dup := design.Spec{Features: []string{"a", "b", "rare"}, Response: "y"}
	for i := range 24 {
		v, rare := random.NormFloat64(), 0.0
		if i == 7 {
			rare = 1 // constant wherever lot 7 is left out
		}
		dup.X, dup.Y, dup.Lots = append(dup.X, []float64{v, v, rare}), append(dup.Y, v+random.NormFloat64()), append(dup.Lots, fmt.Sprint(i))
	}
	twice, err := design.New(dup)
	if err != nil {
		t.Fatal(err)
	}
	// A response that varies in one lot only: without it there is only a mean.
	step := make([]float64, 24)
	step[3] = 1
	lone, err := twice.WithResponse("y", step)
	if err != nil {
		t.Fatal(err)
	}
	for name, m := range map[string]*design.Matrix{"wide": wide, "duplicated": twice, "one lot differs": lone} {
		for _, f := range []model.Fitter{baseline.Mean{}, ridge.Ridge{}, pls.PLS{}, pls.PLS{Components: 8}} {
			plan := planOf(t, "loo", m, 1)
			cv, err := CrossValidate(ctx, f, m, plan, 0)
			if err != nil {
				t.Fatal(name, err)
			}
			h, err := Nested(ctx, f, m, plan, 1, 0)
			if err != nil {
				t.Fatal(name, err)
			}
			p, err := Permute(ctx, f, m, planOf(t, "k=3", m, 1), 9, 1, 0, nil)
			if err != nil {
				t.Fatal(name, err)
			}
			all := append(append(slices.Clone(cv.RMSECV), cv.Q2...), h.RMSECV, h.Q2, p.Observed, p.P)
			for _, v := range append(append(all, h.Predicted...), p.Null...) {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s %s: a figure is not finite", name, f.Kind())
				}
			}
			if f.Kind() == "mean" && (cv.Q2[0] > 1e-12 || cv.Q2[0] < -1e-12) {
				t.Errorf("%s: Q² of the mean model against itself is %v", name, cv.Q2[0])
			}
		}
	}
}
