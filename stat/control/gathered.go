package control

import (
	"fmt"
	"math"
)

// EWMA is a chart of the exponentially weighted moving average
//
//	z_i = λ·x_i + (1 − λ)·z_(i−1),  z_0 = Centre
//
// with limits Centre ± L·Sigma·√(λ/(2 − λ)·(1 − (1 − λ)^(2i))), or without the last
// factor if Steady (ISO 7870-6, from memory; NIST/SEMATECH handbook 6.3.2.4).
// A signal comes on average once in 500 figures in order at λ 0.2, L 2.962.
type EWMA struct {
	Lambda, L, Centre, Sigma float64
	Steady                   bool
}

// Run gathers the figures. Where fresh(i) is true the average begins again at the
// centre before figure i; where skip(i) is true figure i is compared and then not
// carried on, as if it had not been measured. Both may be nil. It panics unless
// 0 < λ ≤ 1 and L and Sigma are above 0.
func (e EWMA) Run(x []float64, fresh, skip func(i int) bool) []Point {
	if !(e.Lambda > 0 && e.Lambda <= 1 && e.L > 0 && e.Sigma > 0) {
		panic(fmt.Sprintf("control: EWMA of λ %v, L %v, σ %v", e.Lambda, e.L, e.Sigma))
	}
	out := make([]Point, len(x))
	z, n := e.Centre, 0
	for i, v := range x {
		if fresh != nil && fresh(i) {
			z, n = e.Centre, 0
		}
		now := e.Lambda*v + (1-e.Lambda)*z
		half := e.L * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda))
		if !e.Steady {
			half *= math.Sqrt(1 - math.Pow(1-e.Lambda, float64(2*(n+1))))
		}
		out[i] = Point{now, e.Centre - half, e.Centre + half, signal(now, e.Centre-half, e.Centre+half)}
		if skip == nil || !skip(i) {
			z, n = now, n+1
		}
	}
	return out
}

// CUSUM is a chart of two cumulative sums
//
//	up_i = max(0, up_(i−1) + x_i − Target − K),  down_i = max(0, down_(i−1) + Target − x_i − K)
//
// with a signal where one is above H (ISO 7870-4, from memory; NIST/SEMATECH
// handbook 6.3.2.3). K is half the change to be seen, H 4 to 5 standard deviations.
type CUSUM struct{ Target, K, H float64 }

// Sum is one figure of a CUSUM chart.
type Sum struct {
	Up, Down float64
	Signal   Signal
}

// Run sums the figures. It panics unless K is 0 or more and H is above 0.
func (c CUSUM) Run(x []float64) []Sum {
	if !(c.K >= 0 && c.H > 0) {
		panic(fmt.Sprintf("control: CUSUM of K %v, H %v", c.K, c.H))
	}
	out := make([]Sum, len(x))
	up, down := 0.0, 0.0
	for i, v := range x {
		up = max(0, up+v-c.Target-c.K)
		down = max(0, down+c.Target-v-c.K)
		out[i] = Sum{Up: up, Down: down}
		switch {
		case up > c.H:
			out[i].Signal = Above
		case down > c.H:
			out[i].Signal = Below
		}
	}
	return out
}
