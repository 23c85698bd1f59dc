package pairs

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"flourcast/dataset/trait"
)

func sure(mean, se, df float64) Figure { return Figure{Mean: mean, SE: &se, DF: df} }

func TestAmylaseIndex(t *testing.T) {
	// By hand: 1 − 1800/3000 = 0.4.
	x, err := AmylaseIndex(sure(1800, 30, 10), sure(3000, 30, 10), 0)
	if err != nil || math.Abs(x.Value-0.4) > 1e-12 {
		t.Fatalf("%+v, %v", x, err)
	}
	// Satterthwaite: (900+324)²/(900²/10 + 324²/10) = 16.374 degrees of freedom, of which
	// t = 2.1160 (tables, between 16 and 17); then Fieller's limits of the ratio.
	g := math.Pow(2.1160*30/3000, 2)
	half := 2.1160 / 3000 * math.Sqrt(900*(1-g)+0.36*900)
	if low, high := 1-(0.6+half)/(1-g), 1-(0.6-half)/(1-g); math.Abs(*x.Low-low) > 2e-5 || math.Abs(*x.High-high) > 2e-5 {
		t.Errorf("%g to %g, by hand %g to %g", *x.Low, *x.High, low, high)
	}
	for name, c := range map[string]struct {
		water, inhibited Figure
		want             Answer
	}{
		"sprouted":                     {sure(1800, 30, 20), sure(3000, 30, 20), Confirmed},
		"sound":                        {sure(2600, 30, 20), sure(3000, 30, 20), Contradicted},
		"about the threshold":          {sure(2250, 30, 20), sure(3000, 30, 20), CannotTell},
		"no error known":               {Figure{Mean: 1000}, sure(3000, 30, 20), CannotTell},
		"no degrees of freedom":        {sure(1000, 30, 0), sure(3000, 30, 20), CannotTell},
		"a peak not told from nothing": {sure(1000, 30, 5), sure(100, 90, 5), CannotTell},
	} {
		x, err := AmylaseIndex(c.water, c.inhibited, 0)
		if err != nil || x.Answer(AmylaseThreshold) != c.want {
			t.Errorf("%s: %+v, %v: %s", name, x, err, x.Answer(AmylaseThreshold))
		}
	}
	for name, f := range map[string][2]Figure{"nothing inhibited": {{Mean: 1}, {}}, "NaN": {{Mean: math.NaN()}, {Mean: 1}}, "below zero": {{Mean: -1}, {Mean: 2}}} {
		var refused *Error
		if _, err := AmylaseIndex(f[0], f[1], 0); !errors.As(err, &refused) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The interval covers the true index as often as it says: 4000 pairs, 95 % ± 1.1 %.
func TestIndexIsCovered(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	const runs, n = 4000, 3
	covered := 0
	mean := func(mu, sd float64) Figure {
		var x [n]float64
		m, ss := 0.0, 0.0
		for i := range x {
			x[i] = mu + sd*rng.NormFloat64()
			m += x[i] / n
		}
		for _, v := range x {
			ss += (v - m) * (v - m)
		}
		return sure(m, math.Sqrt(ss/(n-1)/n), n-1)
	}
	for range runs {
		x, err := AmylaseIndex(mean(1800, 60), mean(3000, 60), 0)
		if err != nil {
			t.Fatal(err)
		}
		if x.Low != nil && *x.Low <= 0.4 && 0.4 <= *x.High {
			covered++
		}
	}
	if share := float64(covered) / runs; share < 0.94 || share > 0.985 { // Satterthwaite on 2 + 2 degrees of freedom is cautious
		t.Errorf("%.3f of the intervals cover the true index", share)
	}
}

func TestSeparate(t *testing.T) {
	r := &Repeatability{SD: 20, DF: 10}
	s := Separate(1000, 2, 1100, 2, r, 0)
	// By hand: 100/20 = 5; t(10) = 2.2281 (tables), ·√(1/2 + 1/2) = 2.2281.
	if *s.Units != 5 || math.Abs(*s.Low-(5-2.2281)) > 1e-4 || math.Abs(*s.High-(5+2.2281)) > 1e-4 || *s.Percent != 10 {
		t.Errorf("%+v", s)
	}
	for name, r := range map[string]*Repeatability{"none": nil, "no spread": {SD: 0, DF: 5}, "no degrees of freedom": {SD: 1}} {
		if s := Separate(1000, 1, 1100, 1, r, 0); s.Units != nil || s.Difference != 100 {
			t.Errorf("%s: %+v", name, s)
		}
	}
	if s := Separate(0, 1, 5, 1, r, 0); s.Percent != nil {
		t.Errorf("a share of nothing: %v", *s.Percent)
	}
	// Three pairs, differences 100, 120, 140: mean 120, SD 20, SE 11.547; t(2) = 4.3027.
	all, ok := Together([]Separation{Separate(1000, 1, 1100, 1, r, 0), Separate(1000, 1, 1120, 1, r, 0), Separate(1000, 1, 1140, 1, r, 0)}, r, 0)
	if half := 4.3027 * 11.547 / 20; !ok || math.Abs(*all.Units-6) > 1e-12 || math.Abs(*all.Low-(6-half)) > 1e-3 || math.Abs(*all.Percent-12) > 1e-9 {
		t.Errorf("%+v", all)
	}
	if one, ok := Together([]Separation{s}, r, 0); !ok || one.Low != nil {
		t.Errorf("one pair has an interval: %+v", one)
	}
	if _, ok := Together(nil, r, 0); ok {
		t.Error("no pairs come to something")
	}
}

func TestExpectations(t *testing.T) {
	at := func(low, high float64) Separation { return Separation{Low: &low, High: &high} }
	higher, lower, alike := Expectation{Sign: 1}, Expectation{Sign: -1}, Expectation{}
	for _, c := range []struct {
		e    Expectation
		s    Separation
		want Answer
	}{
		{higher, at(1, 3), Confirmed}, {higher, at(-3, -1), Contradicted}, {higher, at(-1, 1), CannotTell},
		{lower, at(-3, -1), Confirmed}, {lower, at(1, 3), Contradicted}, {lower, at(-1, 1), CannotTell},
		{alike, at(-2, 2.7), Confirmed}, {alike, at(2.9, 9), Contradicted}, {alike, at(-9, -2.9), Contradicted}, {alike, at(-1, 3), CannotTell},
		{higher, Separation{}, CannotTell},
	} {
		if got := c.e.Holds(c.s); got != c.want {
			t.Errorf("sign %d, %v: %s, want %s", c.e.Sign, c.s, got, c.want)
		}
	}
	for _, e := range Expectations() {
		if x, ok := trait.Lookup(e.Feature); !ok || x.Role != trait.RoleFeature || e.Words == "" {
			t.Errorf("%+v is of no feature", e)
		}
	}
}
