package resample

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
