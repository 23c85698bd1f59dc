package resample

import (
	"context"
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/work"
)

func noisy(t *testing.T, n int, seed uint64, noise float64) *design.Matrix {
	t.Helper()
	r := work.Rand(seed, "noisy")
	s := design.Spec{Features: []string{"a", "b"}, Response: "y"}
	for i := range n {
		x := []float64{r.NormFloat64(), 10 * r.NormFloat64()}
		s.X, s.Y, s.Lots = append(s.X, x), append(s.Y, 3+2*x[0]+noise*r.NormFloat64()), append(s.Lots, fmt.Sprint(i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestBootstrapAndTheory: with independent errors the bootstrap's standard error is
// that of least squares but for its own noise, on average over sets; the same seed
// gives the same bits on one core and two.
func TestBootstrapAndTheory(t *testing.T) {
	ratio := 0.0
	const sets = 20
	for k := range sets {
		m := noisy(t, 50, uint64(k), 1)
		got, err := Bootstrap(context.Background(), linear.OLS{}, m, 0, 199, 7, 2)
		if err != nil {
			t.Fatal(err)
		}
		f, err := linear.OLS{}.Regress(m)
		if err != nil {
			t.Fatal(err)
		}
		_, se := f.StandardErrors()
		for j, d := range got {
			ratio += d.SE / se[j] / (2 * sets)
			if d.Value != f.Linear().Coefficients[j] || !(d.Low < d.High) || d.Sets != 199 {
				t.Errorf("set %d, feature %d: %+v", k, j, d)
			}
		}
		again, err := Bootstrap(context.Background(), linear.OLS{}, m, 0, 199, 7, 1)
		if err != nil || !reflect.DeepEqual(got, again) {
			t.Fatalf("another number of cores gives other figures (%v)", err)
		}
	}
	if math.Abs(ratio-1) > 0.08 {
		t.Errorf("bootstrap standard errors are %.3f of those of theory", ratio)
	}
}

// TestBootstrapRefuses too few lots, and draws lots, not rows.
func TestBootstrapRefuses(t *testing.T) {
	m := noisy(t, 12, 1, 1)
	s := design.Spec{Features: m.Features(), Response: "y", Y: m.Y()}
	for i := range 12 {
		s.X, s.Lots = append(s.X, m.Row(i)), append(s.Lots, fmt.Sprint(i/6))
	}
	two, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	var draw *DrawError
	if _, err := Bootstrap(context.Background(), pls.PLS{Components: 1}, two, 0, 199, 1, 1); !errors.As(err, &draw) {
		t.Errorf("two lots: %v", err)
	}
	if _, err := Bootstrap(context.Background(), pls.PLS{Components: 1}, m, 0, 10, 1, 1); !errors.As(err, &draw) {
		t.Errorf("ten resamples: %v", err)
	}
	for i := range s.Lots {
		s.Lots[i] = fmt.Sprint(i / 4)
	}
	three, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Bootstrap(context.Background(), pls.PLS{Components: 1}, three, 0, 400, 1, 2)
	if err != nil {
		t.Fatal(err)
	}
	// Three lots can be drawn in ten ways only.
	seen := map[float64]bool{}
	for k := range 400 {
		rng := work.Rand(1, "coefficients", fmt.Sprint(k))
		counts := [3]int{}
		for range 3 {
			counts[rng.IntN(3)]++
		}
		seen[float64(counts[0]*16+counts[1]*4+counts[2])] = true
	}
	if len(seen) != 10 || got[0].Sets != 400 {
		t.Errorf("%d ways, %+v", len(seen), got[0])
	}
}
