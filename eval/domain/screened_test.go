package domain

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func TestScreenByHand(t *testing.T) {
	d := build(t, matrix(t, []string{"peak_mPas", "solids_pct"}, [][]float64{{1, 5}, {2, 5}, {3, 5}, {4, 5}, {5, 5}}))
	s, ok := d.Screen([]string{"a", "b", "c", "d"}, [][]float64{{2, 5}, {4, 5}, {6, 5}, {100, 5}})
	if !ok || s.Lots != 4 || s.Inside+s.Edge+s.Outside != 4 || s.Outside != 1 || s.Missed[0] != "d" {
		t.Fatalf("%+v", s)
	}
	// Measured: mean 3, SD √2.5. Screened: mean 28, SD √(((26)²+(24)²+(22)²+72²)/3).
	f := s.Features[0]
	if math.Abs(*f.Shift-25/math.Sqrt(2.5)) > 1e-12 || math.Abs(*f.SDRatio-math.Sqrt((26*26+24*24+22*22+72*72)/3.0/2.5)) > 1e-12 || f.Within != 0.5 {
		t.Errorf("%v, %v, %v", *f.Shift, *f.SDRatio, f.Within)
	}
	if s.Features[1].Shift != nil || s.Features[1].Within != 1 {
		t.Errorf("a feature that never varies: %+v", s.Features[1])
	}
	if _, ok := d.Screen(nil, nil); ok {
		t.Error("no screened lot, yet an answer")
	}
}

// Lots of the same population are inside as the package comment says; lots of a
// softer wheat are not.
func TestScreenTells(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 1))
	d := build(t, flours(t, rng, 60))
	var names []string
	var same, softer [][]float64
	for i := range 200 {
		names = append(names, fmt.Sprint(i))
		same = append(same, flour(rng))
		x := flour(rng)
		x[9] -= 2.5
		softer = append(softer, x)
	}
	a, _ := d.Screen(names, same)
	b, _ := d.Screen(names, softer)
	if a.Share < 0.84 || b.Share > 0.6 || *b.Features[9].Shift > -2 {
		t.Errorf("inside: %.2f of the same population, %.2f of the softer one", a.Share, b.Share)
	}
}
