package metric

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestNoiseCeiling: measured 1 … 5 has variance 2.5; se 0.5 gives 1 − 0.25/2.5 = 0.9.
func TestNoiseCeiling(t *testing.T) {
	y := []float64{1, 2, 3, 4, 5}
	for se, want := range map[float64]float64{0: 1, 0.5: 0.9, 2: 0, 1e200: 0} {
		if got, ok := NoiseCeiling(y, se); !ok || math.Abs(got-want) > 1e-12 {
			t.Errorf("se %g: %g %v, want %g", se, got, ok, want)
		}
	}
	for _, se := range []float64{-1, math.NaN()} {
		if _, ok := NoiseCeiling(y, se); ok {
			t.Errorf("se %g", se)
		}
	}
	if _, ok := NoiseCeiling([]float64{3, 3, 3}, 1); ok {
		t.Error("values that do not vary")
	}
	if _, ok := NoiseCeiling([]float64{3}, 1); ok {
		t.Error("one value")
	}
}

// TestPerfectModelReachesTheCeiling: predicting the truth behind 20,000 values with
// error SD 1 over a truth of SD 2 gives Q² of 0.8, and so does the ceiling.
func TestPerfectModelReachesTheCeiling(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	truth, measured := make([]float64, 20000), make([]float64, 20000)
	for i := range truth {
		truth[i] = 2 * rng.NormFloat64()
		measured[i] = truth[i] + rng.NormFloat64()
	}
	m, press := mean(measured), 0.0
	for _, v := range measured {
		press += (v - m) * (v - m)
	}
	q2, _ := Q2(PRESS(Errors(measured, truth)), press)
	ceiling, ok := NoiseCeiling(measured, 1)
	if !ok || math.Abs(ceiling-0.8) > 0.01 || math.Abs(q2-ceiling) > 0.01 {
		t.Errorf("ceiling %g, Q² of the truth %g", ceiling, q2)
	}
}
