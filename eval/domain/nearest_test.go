package domain

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Three lots on a line, 1 SD apart (mean 2, SD 1): distances are plain numbers.
func TestNearestByHand(t *testing.T) {
	d := build(t, matrix(t, []string{"peak_mPas"}, [][]float64{{1}, {2}, {3}}))
	for _, c := range []struct {
		x    float64
		lot  string
		want float64
	}{{1, "L0", 0}, {2.4, "L1", 0.4}, {2.6, "L2", 0.4}, {13, "L2", 10}} {
		n := d.Place([]float64{c.x}).Nearest
		if n.Lot != c.lot || math.Abs(n.Distance-c.want) > 1e-12 || n.Spacing != 1 {
			t.Errorf("%v: %+v, want %s at %v, spacing 1", c.x, n, c.lot, c.want)
		}
	}
}

// Every calibration lot is its own nearest; a lot apart names the feature that
// sets it apart.
func TestNearest(t *testing.T) {
	m := flours(t, rand.New(rand.NewPCG(11, 1)), 40)
	d := build(t, m)
	for i := range m.N() {
		if n := d.Place(m.Row(i)).Nearest; n.Lot != fmt.Sprint("L", i) || n.Distance > 1e-9 || len(n.Features) != 0 {
			t.Errorf("lot %d is nearest to %+v", i, n)
		}
	}
	var grid [][]float64
	for i := range 36 {
		grid = append(grid, []float64{2000 + 100*float64(i%6), 9 + 0.5*float64(i/6)})
	}
	d = build(t, matrix(t, []string{"peak_mPas", "protein_pct"}, grid))
	n := d.Place([]float64{2210, 12}).Nearest // beyond L32: 2200 and 11.5
	if n.Lot != "L32" || len(n.Features) != 2 || n.Features[0] != "protein_pct" || n.Distance <= n.Spacing/2 {
		t.Errorf("with more protein: %+v, want L32, by protein_pct first", n)
	}
}

// The rule that seldom alarms falsely still sees lots that are elsewhere: of lots
// with a peak 4 SD up (and what follows from it), or another protein beside an
// unchanged curve, nearly all are outside or at the edge.
func TestAlarmsThatAreDue(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	for _, n := range []int{30, 100} {
		up, odd := 0, 0
		const lots = 200
		d := build(t, flours(t, rng, n))
		for range lots {
			x := flour(rng)
			x[1] += 4 * d.sd[1]
			x[3], x[6], x[8] = x[1]-x[2], x[4]-x[1], x[1]/60
			if d.Place(x).Where == Outside {
				up++
			}
			y := flour(rng)
			y[9] += 4 * d.sd[9]
			if d.Place(y).Where != Inside {
				odd++
			}
		}
		if up < 190 || odd < 180 {
			t.Errorf("%d calibration lots: of %d, %d with a higher peak are outside, %d with more protein not inside", n, lots, up, odd)
		}
	}
}
