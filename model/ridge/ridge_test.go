package ridge

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/work"
)

func matrix(t testing.TB, names []string, x [][]float64, y []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Features: names, Response: "hardness", X: x, Y: y}
	for i := range y {
		s.Lots = append(s.Lots, fmt.Sprint("lot ", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// latent is n rows of p independent features and a response that follows them.
func latent(t testing.TB, n, p int, seed uint64) *design.Matrix {
	t.Helper()
	r := work.Rand(seed, "ridge")
	var names []string
	for j := range p {
		names = append(names, fmt.Sprint("x", j))
	}
	x, y := make([][]float64, n), make([]float64, n)
	for i := range n {
		y[i] = 10 + r.NormFloat64()
		for j := range p {
			v := 100*float64(j+1) + math.Pow(10, float64(j%4-1))*r.NormFloat64()
			x[i] = append(x[i], v)
			y[i] += v * float64(j-1)
		}
	}
	return matrix(t, names, x, y)
}

func near(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }

// TestRidgeMeetsOLS: without penalty it is least squares, with a huge one the mean.
func TestRidgeMeetsOLS(t *testing.T) {
	m := latent(t, 40, 5, 6)
	f, err := linear.OLS{}.Regress(m)
	if err != nil {
		t.Fatal(err)
	}
	_, se := f.StandardErrors()
	for _, scaling := range []model.Scaling{model.ScaleUnit, model.ScaleNone} {
		path, err := Ridge{Scaling: scaling, Lambdas: []float64{1e-11, 1e9, 1e14}}.Fit(m)
		if err != nil {
			t.Fatal(err)
		}
		small, large := path.At(2), path.At(0)
		for j, b := range f.Linear().Coefficients {
			if got := small.Linear().Coefficients[j]; math.Abs(got-b) > 1e-7*se[j] {
				t.Errorf("%s: coefficient %d is %v without penalty, least squares %v", scaling, j, got, b)
			}
		}
		if !near(small.DF(), 5, 1e-9) || large.DF() > 1e-6 || path.At(1).DF() <= large.DF() || path.Label(0) != "lambda 1e+14" {
			t.Errorf("%s: degrees of freedom %v to %v, %s", scaling, large.DF(), small.DF(), path.Label(0))
		}
		mean, _ := model.MeanOf("y", m.Y())
		if got := large.Predict(m.Row(0)); !near(got, mean, 1e-6) {
			t.Errorf("%s: with a huge penalty %v, expected the mean %v", scaling, got, mean)
		}
	}
	grid, err := Ridge{}.Fit(m)
	if err != nil || grid.Len() != 41 {
		t.Fatal(grid, err)
	}
	if first, last := grid.At(0).Complexity(), grid.At(40).Complexity(); first.Name != "lambda" || !near(first.Value, 40e4, 1e-12) || !near(last.Value, 40e-4, 1e-12) {
		t.Errorf("grid from %v to %v", first, last)
	}
}

// TestMomentsAgree: rows and cross-products give one path.
func TestMomentsAgree(t *testing.T) {
	m := latent(t, 40, 5, 7)
	mo, err := model.NewMoments("test", m)
	if err != nil {
		t.Fatal(err)
	}
	f := Ridge{}
	rows, err := f.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	crossed, err := f.FitMoments(mo)
	if err != nil {
		t.Fatal(err)
	}
	if rows.Len() != crossed.Len() || rows.Len() != f.Steps(40, 5) {
		t.Fatalf("%d and %d steps", rows.Len(), crossed.Len())
	}
	for a := range rows.Len() {
		r, c := rows.At(a), crossed.At(a)
		for i := range m.N() {
			if !near(c.Predict(m.Row(i)), r.Predict(m.Row(i)), 1e-10) {
				t.Errorf("step %d: %v and %v", a, c.Predict(m.Row(i)), r.Predict(m.Row(i)))
			}
		}
		if !near(c.DF(), r.DF(), 1e-10) || c.Complexity() != r.Complexity() || rows.Label(a) != crossed.Label(a) {
			t.Errorf("step %d: %v, %v", a, c.Complexity(), r.Complexity())
		}
	}
}

// TestExactDependence: columns that give each other do no harm.
func TestExactDependence(t *testing.T) {
	r := work.Rand(3, "pasting")
	var x [][]float64
	var y []float64
	for range 40 {
		peak, trough := math.Round(2500+300*r.NormFloat64()), math.Round(1600+150*r.NormFloat64())
		x, y = append(x, []float64{peak, trough, peak - trough}), append(y, peak+r.NormFloat64())
	}
	path, err := Ridge{}.Fit(matrix(t, []string{"peak", "trough", "breakdown"}, x, y))
	if err != nil {
		t.Fatal(err)
	}
	if df := path.At(path.Len() - 1).DF(); df > 2+1e-6 || df < 1.9 {
		t.Errorf("three features of rank two have %v degrees of freedom at the least penalty", df)
	}
}

func TestHostile(t *testing.T) {
	good := latent(t, 12, 3, 8)
	column := func(v func(i int) float64) *design.Matrix {
		m, err := good.WithColumn("bad", func() (out []float64) {
			for i := range good.N() {
				out = append(out, v(i))
			}
			return out
		}())
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	flatY, err := good.WithResponse("hardness", make([]float64, 12))
	if err != nil {
		t.Fatal(err)
	}
	var flat *model.NoVarianceError
	var few *model.TooFewRowsError
	var size *model.RangeError
	var set *model.SettingError
	for _, c := range []struct {
		name string
		m    *design.Matrix
		want any // what errors.As should find; nil: no error
	}{
		{"constant column", column(func(int) float64 { return 0.1 }), &flat},
		{"duplicated column", column(func(i int) float64 { return good.Row(i)[1] }), nil},
		{"huge column", column(func(i int) float64 { return 1e300 * float64(i) }), &size},
		{"tiny column", column(func(i int) float64 { return 1e-300 * float64(i) }), &size},
		{"far column", column(func(i int) float64 { return 1e12 + float64(i*i) }), nil},
		{"wide", latent(t, 6, 20, 9), nil},
		{"one row", good.Subset([]int{0}), &few},
		{"one lot twice", good.Subset([]int{0, 0}), &flat},
		{"flat response", flatY, &flat},
		{"no feature", matrix(t, nil, make([][]float64, 4), []float64{1, 2, 3, 5}), nil},
	} {
		path, err := Ridge{}.Fit(c.m)
		if c.want != nil {
			if err == nil || !errors.As(err, c.want) {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for a := range path.Len() {
			if v := path.At(a).Predict(c.m.Row(0)); math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s: predicts %v", c.name, v)
			}
		}
	}
	for _, lambdas := range [][]float64{{0}, {-1}, {math.NaN()}, {math.Inf(1)}, {}} {
		if _, err := (Ridge{Lambdas: lambdas}).Fit(good); !errors.As(err, &set) {
			t.Errorf("penalties %v: %v", lambdas, err)
		}
	}
}

func TestSameBits(t *testing.T) {
	a, b := latent(t, 30, 4, 11), latent(t, 25, 6, 12)
	x := append([]float64(nil), a.X()...)
	first, err := Ridge{}.Fit(a)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (Ridge{}).Fit(b); err != nil {
		t.Fatal(err)
	}
	again, err := Ridge{}.Fit(a)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, again) || !reflect.DeepEqual(x, a.X()) {
		t.Error("the second fit differs, or the matrix was written to")
	}
}

// TestGCV against its definition from the path's own predictions.
func TestGCV(t *testing.T) {
	m := latent(t, 40, 5, 7)
	fit, err := Ridge{Lambdas: []float64{1e-3, 1, 30, 1e6}}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	path, least := fit.(*Path), math.Inf(1)
	at := -1
	for i := range path.Len() {
		rss := 0.0
		for k, y := range m.Y() {
			e := y - path.At(i).Predict(m.Row(k))
			rss += e * e
		}
		left := 1 - (1+path.At(i).DF())/40
		want := rss / 40 / (left * left)
		if want < least {
			at, least = i, want
		}
		if got, ok := path.GCV(i); !ok || !near(got, want, 1e-9) {
			t.Errorf("lambda %v: %v, expected %v", path.lambdas[i], got, want)
		}
	}
	if got, ok := path.Least(); !ok || got != at {
		t.Errorf("least at %d, expected %d", got, at)
	}
	// As many degrees of freedom as rows: no criterion.
	if fit, err = (Ridge{Lambdas: []float64{1e-14}}).Fit(latent(t, 6, 20, 9)); err != nil {
		t.Fatal(err)
	}
	if v, ok := fit.(*Path).GCV(0); ok {
		t.Errorf("a fit through every row has criterion %v", v)
	}
	if got := ToDivisorN(FromDivisorN(3, 10), 10); !near(got, 3, 1e-15) || !near(FromDivisorN(3, 10), 2.7, 1e-15) {
		t.Errorf("3 there and back is %v", got)
	}
}
