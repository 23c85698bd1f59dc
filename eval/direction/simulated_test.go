package direction

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Year effects on both sides without a relation confirm falsely in few mills:
// pooled correlation alone would do so in about one of five.
func TestFalseConfirmationUnderYearEffects(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 1))
	const mills = 100
	confirmed, pooledOnly := 0, 0
	for range mills {
		var x, y []float64
		var year []string
		for k := range 3 {
			sx, sy := rng.NormFloat64(), rng.NormFloat64()
			for range 16 {
				x, y, year = append(x, sx+rng.NormFloat64()), append(y, sy+rng.NormFloat64()), append(year, fmt.Sprint(k))
			}
		}
		e := noodles(x, y)
		e.Year = year
		a := the(t, check(t, Builtin(), e), "A13")
		if a.Outcome == Confirmed {
			confirmed++
		}
		if *a.High < 0 {
			pooledOnly++
		}
	}
	if confirmed > mills*5/100 || pooledOnly < mills*10/100 {
		t.Errorf("confirmed in %d of %d, pooled alone in %d; want at most 5 %% and at least 10 %%", confirmed, mills, pooledOnly)
	}
}

// Of mills with a real r of −0.75 and 80 lots nearly all confirm.
func TestPower(t *testing.T) {
	rng := rand.New(rand.NewPCG(14, 1))
	const mills = 50
	confirmed := 0
	for range mills {
		x, y := make([]float64, 80), make([]float64, 80)
		for i := range x {
			x[i] = rng.NormFloat64()
			y[i] = -0.75*x[i] + math.Sqrt(1-0.75*0.75)*rng.NormFloat64()
		}
		if the(t, check(t, Builtin(), noodles(x, y)), "A13").Outcome == Confirmed {
			confirmed++
		}
	}
	if confirmed < mills*98/100 {
		t.Errorf("confirmed in %d of %d", confirmed, mills)
	}
}

func TestOtherSigns(t *testing.T) {
	rng := rand.New(rand.NewPCG(16, 1))
	n := 400
	x, top, none, falls := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		x[i] = 23 + 3*rng.NormFloat64()
		e := rng.NormFloat64()
		top[i] = -0.2*(x[i]-23)*(x[i]-23) + 0.5*e
		none[i], falls[i] = e, -x[i]+e
	}
	rule := func(sign string) []Rule {
		return []Rule{{ID: "own", Product: "rice", Feature: "amylose_pct", Solvent: Any, Response: "score", Kind: Preference, Sign: sign, Standing: Contextual}}
	}
	for _, c := range []struct {
		sign    string
		y       []float64
		outcome string
		code    string
	}{
		{Optimum, top, Confirmed, "sign-agrees"},
		{Optimum, scaled(top, -1), Contradicted, "sign-differs"},
		{Optimum, none, CannotTell, "no-clear-relation"},
		{None, none, Confirmed, "sign-agrees"},
		{None, falls, Contradicted, "sign-differs"},
		{Rises, falls, Contradicted, "sign-differs"},
		{Falls, falls, Confirmed, "sign-agrees"},
	} {
		e := Evidence{Product: "rice", Response: "score", Lots: names(n), Y: c.y, Features: []FeatureColumn{{ID: "amylose_pct", X: x}}}
		if a := check(t, rule(c.sign), e)[0]; a.Outcome != c.outcome || a.Code != c.code {
			t.Errorf("sign %s: %s, %s (%s); want %s, %s", c.sign, a.Outcome, a.Code, a.Reason, c.outcome, c.code)
		}
	}
	// Only the rising half was measured: it bends, but the top is not among the lots.
	var half, y []float64
	for range 200 {
		v := rng.Float64()
		half, y = append(half, v), append(y, -(v-1.4)*(v-1.4)+0.01*rng.NormFloat64())
	}
	e := Evidence{Product: "rice", Response: "score", Lots: names(200), Y: y, Features: []FeatureColumn{{ID: "amylose_pct", X: half}}}
	if a := check(t, rule(Optimum), e)[0]; a.Code != "top-outside" {
		t.Errorf("half a parabola: %s, %s; want top-outside", a.Outcome, a.Code)
	}
	e.Features[0].X = make([]float64, 200)
	for i := range 200 {
		e.Features[0].X[i] = float64(i % 2)
	}
	if a := check(t, rule(Optimum), e)[0]; a.Code != "no-variation" {
		t.Errorf("two values only: %s, %s; want no-variation", a.Outcome, a.Code)
	}
}
