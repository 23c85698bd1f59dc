package metric

import (
	"math"
	"testing"
)

func TestCompareSeesABetterModelAndNoDifference(t *testing.T) {
	const n = 40
	y, good, bad, mean := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	lots := make([]string, n)
	for i := range y {
		y[i] = float64(i % 8)
		good[i], bad[i], mean[i] = y[i]+0.1, 3.5+0.2*(y[i]-3.5), 3.5
		lots[i] = string(rune('a' + i/2)) // two rows a lot
	}
	g, err := Compare(y, bad, good, mean, lots, 0.95, 999, 1)
	if err != nil {
		t.Fatal(err)
	}
	// Errors of bad are 0.8 of the mean model's: Q² = 1 − 0.64; of good 0.1: 1 − 0.01/5.25.
	if math.Abs(g.Q2A-0.36) > 1e-12 || math.Abs(g.Q2B-(1-0.01/5.25)) > 1e-12 || g.Low <= 0 || g.High < g.Value || g.Low > g.Value {
		t.Errorf("%+v", g)
	}
	again, _ := Compare(y, bad, good, mean, lots, 0.95, 999, 1)
	if again != g {
		t.Errorf("the same seed gave %+v, then %+v", g, again)
	}
	same, err := Compare(y, bad, bad, mean, lots, 0.95, 999, 1)
	if err != nil || same.Value != 0 || same.Low != 0 || same.High != 0 {
		t.Errorf("a model against itself: %+v, %v", same, err)
	}
	if _, err := Compare(y, bad, good, y, lots, 0.95, 99, 1); err == nil {
		t.Error("took a mean model without error")
	}
	good[3] = math.NaN()
	if _, err := Compare(y, bad, good, mean, lots, 0.95, 99, 1); err == nil {
		t.Error("took a NaN")
	}
}
