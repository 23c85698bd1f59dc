package part

import (
	"fmt"
	"slices"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/pls"
	"flourcast/model/ridge"
	"flourcast/work"
)

// TestSubtractionIsUsed: plain parts go the fast way, a part that loses an
// outlier's variance does not, and neither does a matrix with row weights.
func TestSubtractionIsUsed(t *testing.T) {
	random := work.Rand(2, "part")
	s := design.Spec{Response: "y"}
	for j := range 5 {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	for i := range 30 {
		var x []float64
		for range 5 {
			x = append(x, random.NormFloat64())
		}
		s.X, s.Y, s.Lots = append(s.X, x), append(s.Y, x[0]+random.NormFloat64()), append(s.Lots, fmt.Sprint("lot ", i))
	}
	left := []int{3, 17, 20}
	fast := func(s design.Spec) bool {
		t.Helper()
		m, err := design.New(s)
		if err != nil {
			t.Fatal(err)
		}
		d, _, err := New(pls.PLS{}, m, 1)
		if err != nil {
			t.Fatal(err)
		}
		return d.base != nil && d.Bench().prepare(left)
	}
	if !fast(s) {
		t.Error("a plain part was not fitted by subtraction")
	}
	s.Weights = make([]float64, len(s.Y))
	for i := range s.Weights {
		s.Weights[i] = 1 + float64(i)
	}
	if fast(s) {
		t.Error("rows with weights were taken as equals")
	}
	s.Weights = nil
	s.X[17] = slices.Clone(s.X[17])
	s.X[17][2] = 1e7
	if fast(s) {
		t.Error("a part that lost nearly all of a feature's variance was fitted by subtraction")
	}
}

// TestRunAllocatesNothing once a bench has its memory, whatever way parts are
// fitted.
func TestRunAllocatesNothing(t *testing.T) {
	for _, c := range []struct {
		n, p int
		f    model.Fitter
	}{
		{60, 8, pls.PLS{Components: 5}},
		{60, 80, pls.PLS{Components: 5}},
		{60, 80, pls.PLS{Components: 5, Scaling: model.ScaleNone}},
		{60, 8, ridge.Ridge{}},
		{60, 80, ridge.Ridge{}},
	} {
		random := work.Rand(3, "allocations")
		s := design.Spec{Response: "y"}
		for j := range c.p {
			s.Features = append(s.Features, fmt.Sprint("x", j))
		}
		for i := range c.n {
			var x []float64
			for range c.p {
				x = append(x, random.NormFloat64())
			}
			s.X, s.Y, s.Lots = append(s.X, x), append(s.Y, x[0]+random.NormFloat64()), append(s.Lots, fmt.Sprint("lot ", i))
		}
		m, err := design.New(s)
		if err != nil {
			t.Fatal(err)
		}
		d, y, err := New(c.f, m, 1)
		if err != nil {
			t.Fatal(err)
		}
		var jobs []Job
		for k := range 10 {
			left := []int{k, k + 10, k + 20, k + 30, k + 40, k + 50}
			for range 12 { // many responses a part, as in permutation
				jobs = append(jobs, Job{Left: left, Test: left, Y: y})
			}
		}
		b := d.Bench()
		seen := 0.0
		run := func() {
			if _, err := b.Run(jobs, 5, func(_ int, out []float64) { seen += out[0] }); err != nil {
				t.Fatal(err)
			}
		}
		run()
		if n := testing.AllocsPerRun(5, run); n > 0 || seen == 0 {
			t.Errorf("%d × %d, %s: %v allocations in %d parts", c.n, c.p, c.f.Kind(), n, len(jobs))
		}
	}
}
