package linear

import (
	"errors"
	"math"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
)

func TestHostile(t *testing.T) {
	good := random(t, 12, 3, 8)
	column := func(v func(i int) float64) *design.Matrix {
		var x [][]float64
		for i := range good.N() {
			x = append(x, append(append([]float64(nil), good.Row(i)...), v(i)))
		}
		return matrix(t, append(append([]string(nil), good.Features()...), "bad"), x, good.Y())
	}
	flatY, err := good.WithResponse("hardness", make([]float64, 12))
	if err != nil {
		t.Fatal(err)
	}
	var flat *model.NoVarianceError
	var rank *model.RankError
	var few *model.TooFewRowsError
	var size *model.RangeError
	var set *model.SettingError
	for _, c := range []struct {
		name string
		m    *design.Matrix
		want any // what errors.As should find; nil: no error
	}{
		{"constant column", column(func(int) float64 { return 0.1 }), &flat},
		{"duplicated column", column(func(i int) float64 { return good.Row(i)[1] }), &rank},
		{"huge column", column(func(i int) float64 { return 1e300 * float64(i) }), &size},
		{"tiny column", column(func(i int) float64 { return 1e-300 * float64(i) }), &size},
		{"far column", column(func(i int) float64 { return 1e12 + float64(i*i) }), nil},
		{"wide", random(t, 6, 20, 9), &few},
		{"one row", good.Subset([]int{0}), &few},
		{"one lot twice", good.Subset([]int{0, 0}), &few},
		{"flat response", flatY, &flat},
		{"no feature", matrix(t, nil, make([][]float64, 4), []float64{1, 2, 3, 5}), nil},
	} {
		switch path, err := (OLS{}).Fit(c.m); {
		case c.want != nil:
			if err == nil || !errors.As(err, c.want) {
				t.Errorf("%s: %v", c.name, err)
			}
		case err != nil:
			t.Errorf("%s: %v", c.name, err)
		default:
			if v := path.At(0).Predict(c.m.Row(0)); math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s: predicts %v", c.name, v)
			}
		}
	}
	if _, err := (OLS{Scaling: "odd"}).Fit(good); !errors.As(err, &set) {
		t.Errorf("scaling: %v", err)
	}
}
