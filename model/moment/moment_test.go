package moment_test

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"flourcast/model/design"
	"flourcast/model/moment"
	"flourcast/work"
)

func matrix(t testing.TB, x [][]float64, y []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Response: "y", X: x, Y: y}
	for j := range x[0] {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	for i := range y {
		s.Lots = append(s.Lots, fmt.Sprint("lot ", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// exact is the centred cross-product of two columns in 400-bit arithmetic.
func exact(a, b []float64) float64 {
	const prec = 400
	mean := func(v []float64) *big.Float {
		sum := new(big.Float).SetPrec(prec)
		for _, x := range v {
			sum.Add(sum, big.NewFloat(x))
		}
		return sum.Quo(sum, new(big.Float).SetPrec(prec).SetInt64(int64(len(v))))
	}
	ma, mb, sum := mean(a), mean(b), new(big.Float).SetPrec(prec)
	for i := range a {
		da := new(big.Float).SetPrec(prec).Sub(big.NewFloat(a[i]), ma)
		db := new(big.Float).SetPrec(prec).Sub(big.NewFloat(b[i]), mb)
		sum.Add(sum, da.Mul(da, db))
	}
	v, _ := sum.Float64()
	return v
}

// TestSubtraction: a part's products by subtraction are the exact ones to 1e-11
// of the columns' lengths, whatever the offset, or the part says that they are
// not.
func TestSubtraction(t *testing.T) {
	trusted, refused := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		n, p := rapid.IntRange(8, 40).Draw(rt, "rows"), rapid.IntRange(1, 5).Draw(rt, "features")
		random := work.Rand(rapid.Uint64().Draw(rt, "seed"), "moments")
		x, y := make([][]float64, n), make([]float64, n)
		offset := math.Pow(10, float64(rapid.IntRange(0, 8).Draw(rt, "offset")))
		outlier := rapid.SampledFrom([]float64{0, 0, 10, 1e4, 1e7}).Draw(rt, "outlier")
		for i := range n {
			y[i] = offset + random.NormFloat64()
			for range p {
				x[i] = append(x[i], offset+random.NormFloat64())
			}
		}
		x[0][0] += outlier
		m := matrix(t, x, y)
		b, err := moment.NewBase(m, 1)
		if err != nil {
			rt.Fatal(err)
		}
		target, err := b.Target("y", y)
		if err != nil {
			rt.Fatal(err)
		}
		r := b.Response(target)
		first, second := []int{0, 2}, []int{3}
		var mx moment.X
		var my moment.Y
		var sums, inner moment.Sums
		// Two steps of subtraction, as in nested validation, into reused memory.
		part := b.Whole().Without(first, b.Whole().Without([]int{5, 6, 7}, nil)).Without(second, nil)
		r.Whole().Without(b, r, first, &sums)
		sums.Without(b, r, second, &inner)
		okX, okY := part.Moments(&mx), inner.Moments(part, r, &my)
		if !okX || !okY {
			refused++
			if outlier < 1e4 {
				rt.Fatalf("refused without reason: outlier %v", outlier)
			}
			return
		}
		trusted++
		var rows []int
		for i := range n {
			if i != 0 && i != 2 && i != 3 {
				rows = append(rows, i)
			}
		}
		sub := m.Subset(rows)
		if mx.N != len(rows) || part.Rows() != len(rows) {
			rt.Fatalf("%d rows, expected %d", mx.N, len(rows))
		}
		yy := exact(sub.Y(), sub.Y())
		for j := range p {
			jj := exact(sub.Column(j), sub.Column(j))
			for k := range p {
				want := exact(sub.Column(j), sub.Column(k))
				size := math.Sqrt(jj * exact(sub.Column(k), sub.Column(k)))
				if d := math.Abs(mx.XX[j*p+k]-want) / size; !(d <= 1e-11) {
					rt.Fatalf("XX[%d,%d] differs by %.2g, offset %v outlier %v", j, k, d, offset, outlier)
				}
			}
			if d := math.Abs(my.XY[j]-exact(sub.Column(j), sub.Y())) / math.Sqrt(jj*yy); !(d <= 1e-11) {
				rt.Fatalf("XY[%d] differs by %.2g", j, d)
			}
		}
		if d := math.Abs(my.YY/yy - 1); !(d <= 1e-11) {
			rt.Fatalf("YY differs by %.2g", d)
		}
	})
	if trusted == 0 || refused == 0 {
		t.Errorf("%d parts trusted, %d refused: both should happen", trusted, refused)
	}
}
