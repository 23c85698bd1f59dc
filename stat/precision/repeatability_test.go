package precision

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s: got %v, want %v ± %v", what, got, want, tol)
	}
}

// Arithmetic example: four laboratories with two results each. Figures computed
// by us by hand from the formulas of ISO 5725-2 (from memory).
func TestOneWayWorkedExample(t *testing.T) {
	c, err := OneWay([][]float64{{2100, 2150}, {2200, 2230}, {2050, 2090}, {2180, 2120}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", c.Mean, 2140, 1e-9)
	near(t, "mean square within", c.WithinMS, 1075, 1e-9)
	near(t, "mean square between", c.BetweenMS, 7233.3333, 1e-4)
	near(t, "s_r", c.RepeatSD, 32.7872, 5e-5)
	near(t, "s_L²", c.BetweenVar, 3079.1667, 5e-5)
	near(t, "s_R", c.ReproduceSD, 64.4528, 5e-5)
	near(t, "r", c.RepeatLimit, 91.8041, 5e-5)
	near(t, "R", c.BetweenLimit, 180.4679, 5e-5)
}

func TestRepeatabilityPoolsUnequalGroups(t *testing.T) {
	// SS: (1,2,3) → 2; (10,14) → 8; (7) → 0; DF 2 + 1 + 0.
	r, err := Repeatability([][]float64{{1, 2, 3}, {10, 14}, {7}, nil})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "s_r", r.SD, math.Sqrt(10.0/3), 1e-12)
	near(t, "mean", r.Mean, 7, 1e-12)
	if r.DF != 3 {
		t.Errorf("DF %d, want 3", r.DF)
	}
	cv, ok := r.CV()
	if !ok {
		t.Fatal("no CV")
	}
	near(t, "CV", cv, 100*math.Sqrt(10.0/3)/7, 1e-12)
}

func TestPooledEqualsRepeatability(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		groups := rapid.SliceOfN(rapid.SliceOfN(rapid.Float64Range(-1e3, 1e3), 1, 5), 1, 8).Draw(t, "groups")
		var n []int
		var sd []float64
		for _, g := range groups {
			_, ss, err := meanSS(g)
			if err != nil {
				t.Fatal(err)
			}
			n = append(n, len(g))
			s := math.NaN() // a group of one has no SD, and none is asked for
			if len(g) > 1 {
				s = math.Sqrt(ss / float64(len(g)-1))
			}
			sd = append(sd, s)
		}
		a, errA := Repeatability(groups)
		b, errB := Pooled(n, sd)
		if (errA == nil) != (errB == nil) {
			t.Fatalf("%v against %v", errA, errB)
		}
		if errA == nil && (a.DF != b.DF || math.Abs(a.SD-b.SD) > 1e-9*(1+a.SD)) {
			t.Fatalf("%+v against %+v", a, b)
		}
	})
}

func TestTooFewIsAnErrorAndNoZero(t *testing.T) {
	bad := map[string]error{}
	_, bad["no replicate"] = Repeatability([][]float64{{1}, {2}})
	_, bad["NaN"] = Repeatability([][]float64{{1, math.NaN()}})
	_, bad["pooled without replicate"] = Pooled([]int{1, 1}, []float64{0, 0})
	_, bad["pooled NaN"] = Pooled([]int{2}, []float64{math.NaN()})
	_, bad["one group"] = OneWay([][]float64{{1, 2}})
	_, bad["one replicate"] = OneWay([][]float64{{1}, {2}})
	_, bad["unequal groups"] = OneWay([][]float64{{1, 2}, {3, 4, 5}})
	_, bad["infinite"] = OneWay([][]float64{{1, 2}, {3, math.Inf(1)}})
	for name, err := range bad {
		var few *TooFewError
		if !errors.As(err, &few) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
