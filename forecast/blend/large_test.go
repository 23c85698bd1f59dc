package blend

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"flourcast/forecast/mixing"
)

// Stocks of up to 29 flours with limits of any scale round a blend that is there, some as
// narrow as one figure: the solver finds a blend, or only the count and least share forbid
// it.
func TestLargeStocksAreSolved(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	solved, counted := 0, 0
	for range 400 {
		n := 2 + r.IntN(28)
		p := Problem{MaxFlours: r.IntN(5), MinShare: []float64{0, 0, 0.05, 0.2}[r.IntN(4)]}
		mix := make([]float64, n)
		for range n {
			p.Flours, p.Prices = append(p.Flours, "f"), append(p.Prices, math.Round(300+100*r.Float64()))
		}
		for range 2 + r.IntN(2) {
			mix[r.IntN(n)] += 1
		}
		s := 0.0
		for _, v := range mix {
			s += v
		}
		for i := range mix {
			mix[i] /= s
		}
		for k := range 1 + r.IntN(6) {
			q := Property{Name: string(rune('a' + k)), Rule: []mixing.Rule{mixing.Mass, mixing.Log, mixing.Liquefaction}[r.IntN(3)]}
			scale := []float64{1, 1000, 0.01}[r.IntN(3)]
			if q.Rule == mixing.Liquefaction {
				scale = 100
			}
			for range n {
				v := scale * (1 + math.Round(100*r.Float64())/100)
				if r.IntN(4) == 0 {
					v = scale * 1.5
				}
				q.Values = append(q.Values, v)
			}
			v, err := q.Of(mix)
			if err != nil {
				t.Fatal(err)
			}
			w := scale * []float64{0, 1e-6, 0.01, 0.2}[r.IntN(4)]
			if r.IntN(2) == 0 {
				q.Low = ptr(v - w)
			}
			if r.IntN(2) == 0 {
				q.High = ptr(v + w)
			}
			p.Properties = append(p.Properties, q)
		}
		_, err := Solve(p)
		var no *InfeasibleError
		switch {
		case err == nil:
			solved++
		case errors.As(err, &no) && no.Counted:
			counted++
		default:
			t.Fatalf("%v: %+v", err, p)
		}
	}
	if solved < 300 || counted == 0 {
		t.Errorf("%d solved, %d not within the count or least share", solved, counted)
	}
}
