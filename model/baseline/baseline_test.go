package baseline

import (
	"fmt"
	"math"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/work"
)

// random is n rows of p independent features, each far from zero and of a scale of
// its own, and a response that follows them; change may spoil a row.
func random(t testing.TB, n, p int, seed uint64, change func(i int, x []float64) []float64) *design.Matrix {
	t.Helper()
	r := work.Rand(seed, "baseline")
	s := design.Spec{Response: "hardness"}
	for i := range n {
		var x []float64
		y := 10 + r.NormFloat64()
		for j := range p {
			x = append(x, 100*float64(j+1)+math.Pow(10, float64(j%4-1))*r.NormFloat64())
			y += x[j] * float64(j-1)
		}
		if change != nil {
			x = change(i, x)
		}
		s.X, s.Y, s.Lots = append(s.X, x), append(s.Y, y), append(s.Lots, fmt.Sprint("lot ", i))
	}
	for j := range s.X[0] {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func near(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }

// TestScreen: each line is least squares on that feature.
func TestScreen(t *testing.T) {
	for _, n := range []int{40, screenRows + 10} { // the second has too many rows for the library
		m := random(t, n, 4, 10, nil)
		for j, row := range Screen(m) {
			one, err := m.WithFeatures(m.Features()[j : j+1])
			if err != nil {
				t.Fatal(err)
			}
			f, err := linear.OLS{}.Regress(one)
			if err != nil {
				t.Fatal(err)
			}
			l := f.Linear()
			if !row.OK || row.Feature != m.Features()[j] || !near(row.Slope, l.Coefficients[0], 1e-9) || !near(row.Intercept, l.Intercept, 1e-9) ||
				math.Abs(row.R2-f.R2()) > 1e-12 || math.Abs(row.R*row.R-row.R2) > 1e-12 || row.R*row.Slope < 0 {
				t.Errorf("%+v, expected slope %v, R² %v", row, l.Coefficients[0], f.R2())
			}
		}
	}
}

// TestScreenHostile: whatever the column, a line of finite figures or a reason.
func TestScreenHostile(t *testing.T) {
	for name, v := range map[string]func(i int) float64{"constant": func(int) float64 { return 0.1 }, "huge": func(i int) float64 { return 1e300 * float64(i) },
		"tiny": func(i int) float64 { return 1e-300 * float64(i) }, "far": func(i int) float64 { return 1e12 + float64(i*i) }} {
		m := random(t, 12, 1, 8, func(i int, x []float64) []float64 { return append(x, v(i)) })
		for _, m := range []*design.Matrix{m, m.Subset([]int{0}), m.Subset([]int{0, 0, 1})} {
			for _, row := range Screen(m) {
				for _, v := range []float64{row.Slope, row.Intercept, row.R, row.R2} {
					if math.IsNaN(v) || math.IsInf(v, 0) || row.OK != (row.Reason == "") {
						t.Errorf("%s: %+v", name, row)
					}
				}
			}
		}
	}
}

// TestMean: the mean of the rows, from rows and from cross-products, saved and read.
func TestMean(t *testing.T) {
	m := random(t, 30, 3, 2, nil)
	want := 0.0
	for _, y := range m.Y() {
		want += y / 30
	}
	path, err := Mean{}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	mo, err := model.NewMoments("test", m)
	if err != nil {
		t.Fatal(err)
	}
	crossed, err := Mean{}.FitMoments(mo)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []model.Path{path, crossed} {
		f := p.At(0)
		if p.Len() != 1 || p.Label(0) != "mean" || f.DF() != 0 || !near(f.Predict(m.Row(3)), want, 1e-12) || !near(f.Linear().Intercept, want, 1e-12) || len(f.Linear().Coefficients) != 3 {
			t.Errorf("got %v, expected %v", f.Linear(), want)
		}
	}
	data, err := path.At(0).(*MeanModel).MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	back, err := UnmarshalMean(data)
	if err != nil || back.Predict(m.Row(0)) != path.At(0).Predict(m.Row(0)) {
		t.Errorf("after saving %v, %v", back, err)
	}
}
