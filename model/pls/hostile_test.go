package pls

import (
	"errors"
	"math"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
)

func TestHostile(t *testing.T) {
	good := latent(t, 20, 3, 8)
	column := func(v func(i int) float64) *design.Matrix {
		var x [][]float64
		for i := range good.N() {
			x = append(x, append(append([]float64(nil), good.Row(i)...), v(i)))
		}
		return matrix(t, x, good.Y())
	}
	flatY, err := good.WithResponse("hardness", make([]float64, 20))
	if err != nil {
		t.Fatal(err)
	}
	var flat *model.NoVarianceError
	var few *model.TooFewRowsError
	var size *model.RangeError
	var set *model.SettingError
	var none *model.NoCovarianceError
	for _, c := range []struct {
		name string
		f    PLS
		m    *design.Matrix
		want any // nil: no error
	}{
		{"constant column", PLS{}, column(func(int) float64 { return 0.1 }), &flat},
		{"duplicated column", PLS{}, column(func(i int) float64 { return good.Row(i)[1] }), nil},
		{"huge column", PLS{}, column(func(i int) float64 { return 1e300 * float64(i) }), &size},
		{"tiny column", PLS{}, column(func(i int) float64 { return 1e-300 * float64(i) }), &size},
		{"far column", PLS{}, column(func(i int) float64 { return 1e12 + float64(i*i) }), nil},
		{"uneven scales, centred only", PLS{Scaling: model.ScaleNone}, column(func(i int) float64 { return 1e90 * float64(i%3) }), nil},
		{"wide", PLS{Components: 50}, latent(t, 7, 60, 9), nil},
		{"five rows, automatic", PLS{}, good.Subset([]int{0, 1, 2, 3, 4}), &few},
		{"one row", PLS{Components: 1}, good.Subset([]int{0}), &few},
		{"one lot twice", PLS{Components: 1}, good.Subset([]int{0, 0}), &flat},
		{"flat response", PLS{}, flatY, &flat},
		{"no covariance", PLS{Components: 1}, matrix(t, [][]float64{{-1}, {0}, {1}}, []float64{1, 0, 1}), &none},
		{"no feature", PLS{}, matrix(t, make([][]float64, 9)[:9:9], []float64{1, 2, 3, 4, 5, 6, 7, 8, 10}), &set},
		{"negative components", PLS{Components: -1}, good, &set},
		{"odd scaling", PLS{Scaling: "odd"}, good, &set},
	} {
		path, err := c.f.Fit(c.m)
		if c.want != nil {
			if err == nil || !errors.As(err, c.want) {
				t.Errorf("%s: %v", c.name, err)
			}
			if mo, merr := model.NewMoments("pls", c.m); merr == nil {
				if _, err := c.f.FitMoments(mo); err == nil || !errors.As(err, c.want) {
					t.Errorf("%s, by cross-products: %v", c.name, err)
				}
			} else if !errors.As(merr, c.want) && c.name != "one row" {
				t.Errorf("%s, moments: %v", c.name, merr)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for a := range path.Len() {
			got := path.At(a).(*Model)
			for _, v := range append(append(got.VIP(), got.XExplained()...), got.Predict(c.m.Row(0)), got.LeverageAt(c.m.Row(1))) {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%s: a figure is %v", c.name, v)
				}
			}
		}
	}
}
