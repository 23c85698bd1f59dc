package conformance

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func at(v float64) *float64 { return &v }

// Examples of JCGM 106:2012, which prints 0.92, 0.99 and 0.66 (figures from memory;
// the third decimal is our arithmetic by the standard's formula), and lots with a
// lower limit of 2500 and u = 50, by the normal distribution's table.
func TestOutsideValues(t *testing.T) {
	tests := []struct {
		name  string
		l     Limits
		value float64
		s     Spread
		want  float64
		tol   float64
	}{
		{"JCGM 106, upper limit", Limits{High: at(-5.40)}, -5.47, Spread{U: 0.05}, 0.919, 5e-4},
		{"JCGM 106, lower limit", Limits{Low: at(490)}, 509.7, Spread{U: 8.6}, 0.989, 5e-4},
		{"JCGM 106, two limits", Limits{at(12.5), at(16.3)}, 13.6, Spread{U: 1.8}, 0.663, 5e-4},
		{"ILAC-G8:09/2019, guard band w = U = 2u: risk 2.275 %", Limits{High: at(100)}, 90, Spread{U: 5}, 1 - 0.02275, 5e-6},
		{"ILAC-G8:09/2019, simple acceptance at the limit: risk 50 %", Limits{High: at(100)}, 100, Spread{U: 5}, 0.5, 1e-12},
		{"normal table, z 3", Limits{Low: at(2500)}, 2650, Spread{U: 50}, 0.99865, 5e-6},
		{"normal table, z 1.4", Limits{Low: at(2500)}, 2570, Spread{U: 50}, 0.91924, 5e-6},
		{"normal table, z −2.4", Limits{Low: at(2500)}, 2380, Spread{U: 50}, 0.00820, 5e-6},
		{"two limits, one near", Limits{at(2400), at(3000)}, 2900, Spread{U: 60}, 0.95221, 5e-6},
		// Student's t: P(t₄ ≤ 2.132) = 0.95 (Student's table, common).
		{"t with 4 degrees of freedom", Limits{High: at(2.1318)}, 0, Spread{U: 1, DF: 4}, 0.95, 5e-6},
		{"far beyond a limit of two", Limits{at(0), at(1)}, 10, Spread{U: 1}, 1.1286e-19, 1e-22}, // Φ(−9) − Φ(−10), normal table
	}
	for _, c := range tests {
		p, err := c.l.Probability(c.value, c.s)
		if err != nil || !(math.Abs(p-c.want) <= c.tol) {
			t.Errorf("%s: %v, %v; want %v", c.name, p, err, c.want)
		}
	}
}

func TestAcceptance(t *testing.T) {
	// Normal, lower limit 2500, u 50, 95 %: 2500 + 1.644854·50 = 2582.24 (table).
	a, ok, err := Limits{Low: at(2500)}.Acceptance(Spread{U: 50}, 0.95)
	if err != nil || !ok || math.Abs(*a.Low-2582.2427) > 1e-3 || a.High != nil {
		t.Errorf("one limit: %+v, %v, %v", a, ok, err)
	}
	if _, ok, err := (Limits{at(0), at(1)}).Acceptance(Spread{U: 1}, 0.95); ok || err != nil {
		t.Errorf("a specification narrower than its uncertainty is accepted by no value: %v, %v", ok, err)
	}
	// With no uncertainty the limits themselves are accepted.
	if a, ok, _ := (Limits{at(0), at(1)}).Acceptance(Spread{}, 0.95); !ok || *a.Low != 0 || *a.High != 1 {
		t.Errorf("u = 0: %+v, %v", a, ok)
	}
}

func spread(t *rapid.T) Spread {
	s := Spread{U: rapid.Float64Range(1e-3, 1e3).Draw(t, "u")}
	if rapid.Bool().Draw(t, "estimated") {
		s.DF = rapid.Float64Range(1, 200).Draw(t, "df")
	}
	return s
}

// Probabilities lie in [0, 1], fall from the middle of the limits outwards, and
// grow with the limits; the acceptance interval is where p is reached.
func TestProbabilityProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := spread(t)
		low := rapid.Float64Range(-1e3, 1e3).Draw(t, "low")
		high := low + rapid.Float64Range(1e-3, 1e3).Draw(t, "width")
		l := Limits{&low, &high}
		v := rapid.Float64Range(-3e3, 3e3).Draw(t, "value")
		p, err := l.Probability(v, s)
		if err != nil || !(p >= 0 && p <= 1) {
			t.Fatalf("p %v, %v", p, err)
		}
		further := v + (v-(low+high)/2)*rapid.Float64Range(0, 1).Draw(t, "further")
		if q, _ := l.Probability(further, s); q > p+1e-12 {
			t.Fatalf("p rises outwards: %v at %v, %v at %v", p, v, q, further)
		}
		if q, _ := (Limits{Low: &low}).Probability(v, s); q < p-1e-12 {
			t.Fatalf("p falls when a limit is taken away: %v, %v", p, q)
		}
		want := rapid.Float64Range(0.01, 0.99).Draw(t, "wanted")
		a, ok, err := l.Acceptance(s, want)
		if err != nil {
			t.Fatal(err)
		}
		if ok {
			for _, end := range []float64{*a.Low, *a.High} {
				if q, _ := l.Probability(end, s); math.Abs(q-want) > 1e-6 {
					t.Fatalf("at the end of the acceptance interval p is %v, want %v", q, want)
				}
			}
		}
		if inside := ok && v >= *a.Low && v <= *a.High; inside != (p >= want) && math.Abs(p-want) > 1e-9 {
			t.Fatalf("value %v, p %v, wanted %v, accepted %+v", v, p, want, a)
		}
	})
}

// The classes' probabilities add up to one.
func TestSharesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := spread(t)
		cut := rapid.Float64Range(-100, 100).Draw(t, "first cut")
		cuts := []float64{cut}
		for range rapid.IntRange(0, 4).Draw(t, "more") {
			cut += rapid.Float64Range(1e-3, 100).Draw(t, "step")
			cuts = append(cuts, cut)
		}
		shares, err := Shares(rapid.Float64Range(-200, 200).Draw(t, "value"), s, cuts)
		if err != nil || len(shares) != len(cuts)+1 {
			t.Fatal(shares, err)
		}
		sum := 0.0
		for _, p := range shares {
			if !(p >= 0 && p <= 1) {
				t.Fatal(p)
			}
			sum += p
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Fatalf("the shares add up to %v", sum)
		}
	})
}

func TestRule(t *testing.T) {
	r := DefaultRule()
	for p, want := range map[float64]string{1: Accept, 0.95: Accept, 0.9499: Hold, 0.0501: Hold, 0.05: Reject, 0: Reject} {
		if got := r.Decide(p); got != want {
			t.Errorf("p %v: %s, want %s", p, got, want)
		}
	}
	for _, risks := range [][2]float64{{0.5, 0.5}, {-0.1, 0}, {0.2, -0.1}, {math.NaN(), 0}, {0.9, 0.2}} {
		if _, err := NewRule(risks[0], risks[1]); err == nil {
			t.Errorf("risks %v make a rule", risks)
		}
	}
}

func TestRefusals(t *testing.T) {
	ok := Spread{U: 1}
	bad := []struct {
		name  string
		l     Limits
		value float64
		s     Spread
	}{
		{"upside down", Limits{at(1), at(0)}, 0, ok}, {"equal limits", Limits{at(1), at(1)}, 0, ok}, {"NaN limit", Limits{Low: at(math.NaN())}, 0, ok},
		{"infinite value", Limits{Low: at(1)}, math.Inf(1), ok}, {"negative u", Limits{Low: at(1)}, 0, Spread{U: -1}}, {"u NaN", Limits{Low: at(1)}, 0, Spread{U: math.NaN()}},
		{"half a degree of freedom", Limits{Low: at(1)}, 0, Spread{U: 1, DF: 0.5}},
	}
	for _, c := range bad {
		var wrong *ValueError
		if p, err := c.l.Probability(c.value, c.s); !errors.As(err, &wrong) {
			t.Errorf("%s: %v, %v", c.name, p, err)
		}
	}
	if _, err := Shares(0, ok, []float64{1, 1}); err == nil {
		t.Error("equal cuts")
	}
	if _, err := Shares(0, ok, nil); err == nil {
		t.Error("no cuts")
	}
	if _, _, err := (Limits{Low: at(0)}).Acceptance(ok, 1); err == nil {
		t.Error("a probability of 1 is asked for")
	}
}
