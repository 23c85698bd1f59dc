package eval

import (
	"context"
	"fmt"
	"math"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/work"
)

// The fold models are the very models whose errors Nested reports.
func TestFoldModelsPredictAsNested(t *testing.T) {
	rng := work.Rand(3, "fold models")
	s := design.Spec{Features: []string{"a", "b", "c", "constant but for one"}, Response: "y"}
	for i := range 31 {
		a, b := rng.NormFloat64(), rng.NormFloat64()
		last := 0.0
		if i == 5 {
			last = 1 // without this row's fold the feature does not vary
		}
		s.X = append(s.X, []float64{1000 + a, 2000 + a + 0.3*b, b, last})
		s.Y = append(s.Y, 3*a-b+0.5*rng.NormFloat64())
		s.Lots = append(s.Lots, fmt.Sprint("L", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := fold.Parse("lot", m, 1, 7)
	if err != nil {
		t.Fatal(err)
	}
	for _, kind := range []string{"mean", "ridge", "pls"} {
		f, err := catalog.New(kind, catalog.Options{Scaling: model.ScaleUnit})
		if err != nil {
			t.Fatal(err)
		}
		honest, err := Nested(context.Background(), f, m, plan, 7, 1)
		if err != nil {
			t.Fatal(err)
		}
		lines, err := FoldModels(context.Background(), f, m, plan, honest.Picks[0], 2)
		if err != nil {
			t.Fatal(err)
		}
		for i, k := range plan.Fold[0] {
			got := lines[k].Intercept
			for j, x := range m.Row(i) {
				got += lines[k].Coefficients[j] * x
			}
			if math.Abs(got-honest.Predicted[i]) > 1e-8 {
				t.Errorf("%s, row %d: %v, Nested says %v", kind, i, got, honest.Predicted[i])
			}
		}
	}
}
