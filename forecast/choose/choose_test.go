package choose

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func order(picks []Pick) (at []int) {
	for _, p := range picks {
		at = append(at, p.At)
	}
	return at
}

// By hand, on one line at 0, 1, 3, 7, 10: the two ends, then 3 (3 from 0; 7 is as far
// from 10, and later), then 7, then 1. With 10 measured: 0, then 3 as far from 0 as 7 from
// 10 … the first, then 7, 1.
func TestFarthestByHand(t *testing.T) {
	x := [][]float64{{0}, {1}, {3}, {7}, {10}}
	sd := []float64{1}
	if got := order(Farthest(nil, x, sd, 9)); !slices.Equal(got, []int{0, 4, 2, 3, 1}) {
		t.Errorf("none measured: %v", got)
	}
	picks := Farthest([][]float64{{10}}, x, sd, 3)
	if got := order(picks); !slices.Equal(got, []int{0, 2, 3}) {
		t.Errorf("10 measured: %v", got)
	}
	if p := picks[0]; p.Distance != 10 || !p.Measured || p.Nearest != 0 {
		t.Errorf("first pick %+v", p)
	}
	if p := picks[1]; p.Distance != 3 || p.Measured || p.Nearest != 0 {
		t.Errorf("second pick %+v", p)
	}
	// A square with its centre: the centre measured, the corners come in their order
	// (all √2 away), the centre itself never.
	square := [][]float64{{1, 1}, {0, 0}, {0, 2}, {2, 0}, {2, 2}}
	if got := order(Farthest([][]float64{{1, 1}}, square, []float64{1, 1}, 9)); !slices.Equal(got, []int{1, 2, 3, 4}) {
		t.Errorf("square: %v", got)
	}
	// The feature that makes most of the distance is named.
	if p := Farthest([][]float64{{0, 0}}, [][]float64{{1, 5}}, []float64{1, 1}, 1)[0]; p.Feature != 1 {
		t.Errorf("feature %d", p.Feature)
	}
}

// Each pick is, of those left, the farthest from all before it: checked against a
// search from scratch. Units do not matter.
func TestEveryPickIsTheFarthest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lots := func(name string, least int) [][]float64 {
			return rapid.SliceOfN(rapid.SliceOfN(rapid.Float64Range(-5, 5), 2, 2), least, 12).Draw(t, name)
		}
		measured, x := lots("measured", 1), lots("candidates", 1)
		sd := Scale(measured, x)
		picks := Farthest(measured, x, sd, len(x))
		var scaled [2][][]float64
		for s, set := range [][][]float64{measured, x} {
			for _, row := range set {
				scaled[s] = append(scaled[s], []float64{8 * row[0], row[1]})
			}
		}
		if got := order(Farthest(scaled[0], scaled[1], Scale(scaled[0], scaled[1]), len(x))); !slices.Equal(got, order(picks)) {
			t.Fatalf("in other units %v, before %v", got, order(picks))
		}
		have := slices.Clone(measured)
		for k, p := range picks {
			far := func(i int) float64 {
				least := math.Inf(1)
				for _, h := range have {
					d, _ := distance(x[i], h, sd)
					least = min(least, math.Sqrt(d))
				}
				return least
			}
			for i := range x {
				if !slices.Contains(order(picks[:k]), i) && far(i) > p.Distance+1e-12 {
					t.Fatalf("pick %d at %v, lot %d at %v", k, p.Distance, i, far(i))
				}
			}
			if k > 0 && p.Distance > picks[k-1].Distance+1e-12 || p.Distance == 0 {
				t.Fatalf("distances %+v", picks)
			}
			have = append(have, x[p.At])
		}
	})
}

func TestRandom(t *testing.T) {
	from := []int{3, 5, 8, 13}
	a := Random(rand.New(rand.NewPCG(1, 2)), from, 2)
	b := Random(rand.New(rand.NewPCG(1, 2)), from, 2)
	if len(a) != 2 || !slices.Equal(a, b) || a[0] == a[1] || !slices.Equal(from, []int{3, 5, 8, 13}) {
		t.Errorf("%v, %v", a, b)
	}
	if got := Random(rand.New(rand.NewPCG(1, 2)), from, 9); len(got) != 4 {
		t.Errorf("%v", got)
	}
	count := map[int]int{}
	r := rand.New(rand.NewPCG(3, 4))
	for range 4000 {
		count[Random(r, from, 1)[0]]++
	}
	for _, v := range from { // 1000 each, SD 27
		if math.Abs(float64(count[v])-1000) > 4*27.4 {
			t.Errorf("%d drawn %d times of 4000", v, count[v])
		}
	}
}

func TestHostileLots(t *testing.T) {
	if got := Farthest(nil, nil, nil, 3); len(got) != 0 {
		t.Error(got)
	}
	if got := Farthest(nil, [][]float64{{1}, {1}, {1}}, Scale([][]float64{{1}, {1}, {1}}), 3); len(got) != 1 {
		t.Errorf("three equal lots: %v", got)
	}
	if got := Farthest([][]float64{{1}}, [][]float64{{1}, {2}}, Scale([][]float64{{1}}, [][]float64{{1}, {2}}), 0); len(got) != 0 {
		t.Error(got)
	}
}
