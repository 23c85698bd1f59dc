package eval

import (
	"context"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/pls"
	"flourcast/model/ridge"
	"flourcast/work"
)

// curves draws a table with more features than rows: smooth bumps under noise,
// far from zero, with what else goes wrong: columns that do not vary, that repeat
// another, of which one row holds the variance, and of other scales.
func curves(t *rapid.T) *design.Matrix {
	n := rapid.IntRange(20, 40).Draw(t, "rows")
	p := n + rapid.IntRange(1, 60).Draw(t, "more features")
	random := work.Rand(rapid.Uint64().Draw(t, "seed"), "curves")
	offset := math.Pow(10, float64(rapid.IntRange(0, 5).Draw(t, "offset")))
	noise := rapid.SampledFrom([]float64{0.02, 0.3}).Draw(t, "noise")
	odd := rapid.SampledFrom([]string{"", "", "constant", "copy", "outlier", "rare", "scale"}).Draw(t, "odd column")
	s := design.Spec{Response: "y"}
	for j := range p {
		s.Features = append(s.Features, fmt.Sprint("t", j))
	}
	lot := 0
	for i := range n {
		x, y := make([]float64, p), 0.1*random.NormFloat64()
		height := make([]float64, 6)
		for b := range height {
			height[b] = 1 + 0.35*random.NormFloat64()
			y += height[b] * float64(b%3-1)
		}
		for j := range x {
			x[j] = offset + noise*random.NormFloat64()
			for b, h := range height {
				d := float64(j)/float64(p) - (float64(b)+0.5)/6
				x[j] += h * math.Exp(-50*d*d)
			}
		}
		switch {
		case odd == "constant":
			x[3] = 0.1
		case odd == "copy":
			x[3] = x[4]
		case odd == "outlier" && i == 2:
			x[3] = 1e7
		case odd == "rare":
			x[3] = 0
			if i == 2 {
				x[3] = 1
			}
		case odd == "scale":
			x[3] *= 1e6
		}
		// At most 3 rows a lot: a training part of two or three rows can hold columns
		// that hardly vary there, of which far-away figures keep few digits at all.
		if i%3 == 0 || rapid.IntRange(0, 3).Draw(t, "next lot") > 0 {
			lot++
		}
		s.X, s.Y, s.Lots = append(s.X, x), append(s.Y, 500+y), append(s.Lots, fmt.Sprint("lot", lot))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestFastIsNaiveWide is TestFastIsNaive for more features than rows, one response
// and many. A tenfold difference is allowed: with a feature that is not scaled and a
// million times the others, 1.1e-9 was seen once in a thousand problems.
func TestFastIsNaiveWide(t *testing.T) {
	fitters := []model.Fitter{pls.PLS{}, pls.PLS{Scaling: model.ScaleNone}, pls.PLS{Components: 8}, pls.PLS{Components: 4, Scaling: model.ScaleNone},
		ridge.Ridge{Lambdas: []float64{100, 1, 0.1}}, ridge.Ridge{Scaling: model.ScaleNone, Lambdas: []float64{10, 1e-2}}}
	worst := 0.0
	rapid.Check(t, func(rt *rapid.T) {
		m := curves(rt)
		f := rapid.SampledFrom(fitters).Draw(rt, "method")
		worst = max(worst, compareCV(rt, t, f, m, 1e-8))

		plan, err := fold.ByUnit(m.Lots(), 4, 1, 7)
		if err != nil {
			rt.Skip(err)
		}
		orders := make([][]int, 12)
		for q := range orders {
			orders[q] = work.Rand(uint64(q), "order").Perm(m.N())
		}
		press, err := Shuffled(context.Background(), f, m, plan, orders, 1)
		if err != nil {
			rt.Skip(err)
		}
		for _, q := range []int{0, 11} {
			y := make([]float64, m.N())
			for i, k := range orders[q] {
				y[i] = m.Y()[k]
			}
			mq, err := m.WithResponse("y", y)
			if err != nil {
				rt.Fatal(err)
			}
			want := naive{f, mq}.cross(t, plan)[0]
			for a, got := range press[q] {
				sum := 0.0
				for i, p := range want[a] {
					sum += (y[i] - p) * (y[i] - p)
				}
				if !(math.Abs(got-sum) <= 2e-9*sum) {
					rt.Fatalf("%s step %d of shuffle %d: PRESS %v, expected %v", f.Kind(), a, q, got, sum)
				}
			}
		}
	})
	t.Logf("largest difference %.1g of the range", worst)
}
