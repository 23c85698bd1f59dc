package metric

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func closeTo(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9*max(1, math.Abs(want))) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// Worked by hand in exact fractions; p from the closed forms of Student's t with
// 3 and 2 degrees of freedom.
func TestTrendsByHand(t *testing.T) {
	d, ok := Drift([]float64{1, 2, 2, 4, 6}, []float64{2021, 2022, 2023, 2024, 2025})
	if !ok {
		t.Fatal("no drift")
	}
	closeTo(t, "slope", d.Value, 1.2)
	closeTo(t, "SE", d.SE, math.Sqrt(1.6/3/10))
	closeTo(t, "t", d.T, math.Sqrt(27))
	closeTo(t, "p", d.P, 1-2/math.Pi*(math.Atan(3)+0.3))
	c, ok := Curvature([]float64{4, 1, 0, 1, 5}, []float64{1, 2, 3, 4, 5})
	if !ok {
		t.Fatal("no curvature")
	}
	closeTo(t, "square term", c.Value, 20.0/7)
	closeTo(t, "its t", c.T, math.Sqrt(320))
	closeTo(t, "its p", c.P, 1-math.Sqrt(320.0/322))
	if c.DF != 2 || c.N != 5 || d.DF != 3 {
		t.Errorf("df %v and %v", c.DF, d.DF)
	}
}

func TestTrendsThatDoNotExist(t *testing.T) {
	for name, f := range map[string]func() (Trend, bool){
		"two rows":            func() (Trend, bool) { return Drift([]float64{1, 2}, []float64{1, 2}) },
		"one time":            func() (Trend, bool) { return Drift([]float64{1, 2, 3}, []float64{5, 5, 5}) },
		"an exact line":       func() (Trend, bool) { return Drift([]float64{0, 0, 0}, []float64{1, 2, 3}) },
		"two different x":     func() (Trend, bool) { return Curvature([]float64{1, 2, 3, 5, 4}, []float64{1, 1, 2, 2, 2}) },
		"a constant x":        func() (Trend, bool) { return Curvature([]float64{1, 2, 3, 5}, []float64{1, 1, 1, 1}) },
		"three rows, squares": func() (Trend, bool) { return Curvature([]float64{1, 2, 3}, []float64{1, 5, 2}) },
	} {
		if tr, ok := f(); ok {
			t.Errorf("%s: %+v", name, tr)
		}
	}
}

// Adding a line changes nothing of the square term; another unit of x neither.
func TestCurvatureIsOfTheSquareOnly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 40).Draw(t, "n")
		e, x := make([]float64, n), make([]float64, n)
		for i := range e {
			e[i], x[i] = rapid.Float64Range(-5, 5).Draw(t, "e"), float64(i)+rapid.Float64Range(0, 0.5).Draw(t, "x")
		}
		a, ok := Curvature(e, x)
		if !ok {
			return
		}
		f, g := make([]float64, n), make([]float64, n)
		for i := range e {
			f[i], g[i] = e[i]+3+0.7*x[i], 1000*x[i]-200
		}
		b, ok := Curvature(f, g)
		if !ok || math.Abs(a.Value-b.Value) > 1e-6*(1+math.Abs(a.Value)) || math.Abs(a.P-b.P) > 1e-5 {
			t.Fatalf("%+v and %+v", a, b)
		}
	})
}
