package eval

import (
	"math"
	"slices"
	"testing"
)

// Arithmetic computed by us from the formula of Martens & Martens 2000, Food
// Quality and Preference 11:5: s 0.273861, t 7.302967, p 0.005302 with 3 degrees
// of freedom.
func TestJackknifeWorkedExample(t *testing.T) {
	c := jackknifed(2.0, []float64{1.8, 2.1, 2.2, 1.9}, 0.95)
	for _, x := range []struct {
		name      string
		got, want float64
	}{{"s", c.SE, 0.273861}, {"t", c.T, 7.302967}, {"p", c.P, 0.005302}, {"low", c.Low, 2 - 3.182446*0.273861}, {"high", c.High, 2 + 3.182446*0.273861}} {
		if math.Abs(x.got-x.want) > 1e-6 {
			t.Errorf("%s: %v, want %v", x.name, x.got, x.want)
		}
	}
	if flat := jackknifed(1, []float64{1, 1, 1}, 0.95); flat.SE != 0 || flat.P != 1 || flat.Low != 1 {
		t.Errorf("without spread: %+v", flat)
	}
}

func TestLotGroupsKeepLotsWhole(t *testing.T) {
	lots := []string{"A", "B", "A", "C", "B", "D"}
	got := lotGroups(lots, 3)
	want := [][]int{{0, 2, 5}, {1, 4}, {3}} // D, the fourth lot, joins A
	if !slices.EqualFunc(got, want, slices.Equal) {
		t.Errorf("groups %v, want %v", got, want)
	}
	if rest := others(6, got[0]); !slices.Equal(rest, []int{1, 3, 4}) {
		t.Errorf("others %v", rest)
	}
}

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
