package domain

import (
	"math"
	"math/rand/v2"
	"testing"
)

// where places x by the equations alone, written out anew.
func where(e Equations, x []float64) (place string, t2, q float64) {
	rest := make([]float64, len(x))
	for j, v := range x {
		if e.SD[j] > 0 {
			rest[j] = (v - e.Mean[j]) / e.SD[j]
		}
	}
	z := append([]float64(nil), rest...)
	for a, axis := range e.Loadings {
		t := 0.0
		for j, w := range axis {
			t += w * z[j]
		}
		t2 += t * t / e.Variances[a]
		for j, w := range axis {
			rest[j] -= t * w
		}
	}
	for _, v := range rest {
		q += v * v
	}
	beyond := func(t2limit, qlimit float64, pick func(Bounds) [2]float64) bool {
		out := t2 > t2limit || q > qlimit
		for j, v := range x {
			b := pick(e.Bounds[j])
			out = out || v < b[0] || v > b[1]
		}
		return out
	}
	switch {
	case beyond(e.T2.Outer, e.Q.Outer, func(b Bounds) [2]float64 { return b.Outer }):
		return Outside, t2, q
	case beyond(e.T2.Edge, e.Q.Edge, func(b Bounds) [2]float64 { return b.Edge }):
		return Edge, t2, q
	}
	return Inside, t2, q
}

// Whoever works by the equations alone places every lot as Place does, in every
// direction, a feature that never varied among them.
func TestEquationsPlaceAsPlaceDoes(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	x := make([][]float64, 40)
	for i := range x {
		x[i] = append(flour(rng), 14)
	}
	d := build(t, matrix(t, append(append([]string(nil), flourNames...), "moisture_basis"), x))
	e := d.Equations()
	seen := map[string]int{}
	for range 3000 {
		lot := append(flour(rng), 14)
		for j := range lot[:len(lot)-1] {
			lot[j] += rng.NormFloat64() * e.SD[j] * []float64{0, 0, 0.05, 3}[rng.IntN(4)]
		}
		switch rng.IntN(20) {
		case 0:
			lot[10] = 14 * (1 + 1e-12)
		case 1:
			lot[10] = 13
		}
		p := d.Place(lot)
		got, t2, q := where(e, lot)
		if got != p.Where || math.Abs(t2-p.T2) > 1e-9*p.T2 || math.Abs(q-p.Q) > 1e-9*p.Q {
			t.Fatalf("%v: %s, T² %v, Q %v; Place has %s, %v, %v", lot, got, t2, q, p.Where, p.T2, p.Q)
		}
		seen[got]++
	}
	if seen[Inside] < 100 || seen[Edge] < 100 || seen[Outside] < 100 {
		t.Errorf("too one-sided a test: %v", seen)
	}
}
