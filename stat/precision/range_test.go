package precision

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// TestCriticalRange: the probability that n normal figures span no more than the factor
// is 95 %, by numeric integration of n·∫φ(x)·[Φ(x) − Φ(x − w)]ⁿ⁻¹dx, as closely as one
// decimal of the factor allows.
func TestCriticalRange(t *testing.T) {
	z := distuv.UnitNormal
	within := func(n int, w float64) float64 {
		sum, step := 0.0, 1e-3
		for x := -9.0; x < 9; x += step {
			sum += z.Prob(x) * math.Pow(z.CDF(x)-z.CDF(x-w), float64(n-1)) * step
		}
		return float64(n) * sum
	}
	for n := 2; n <= 10; n++ {
		f, ok := CriticalRange(n, 1)
		if !ok {
			t.Fatalf("%d results: found none", n)
		}
		if low, high := within(n, f-0.05), within(n, f+0.05); low > 0.95 || high < 0.95 {
			t.Errorf("%d results: %g holds between %.4f and %.4f, expected 0.95 among them", n, f, low, high)
		}
	}
	if got, _ := CriticalRange(2, 12); math.Abs(got-limitFactor*12) > 1e-12 {
		t.Errorf("two results: found %g, expected the repeatability limit", got)
	}
	for _, n := range []int{-1, 0, 1, 11} {
		if _, ok := CriticalRange(n, 1); ok {
			t.Errorf("%d results: found a factor, expected none", n)
		}
	}
}
