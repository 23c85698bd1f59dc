package tolerance

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Two-sided factors at 95 % confidence as printed by Berthouex & Brown 2002,
// Statistics for Environmental Engineers, table 21.1 (two decimals).
func TestPublishedFactors(t *testing.T) {
	printed := map[int][3]float64{ // shares 0.90, 0.95, 0.99
		4: {5.37, 6.34, 8.22}, 5: {4.29, 5.08, 6.60}, 6: {3.73, 4.42, 5.76}, 10: {2.86, 3.39, 4.44}, 15: {2.49, 2.96, 3.89}, 20: {2.32, 2.76, 3.62},
		30: {2.15, 2.55, 3.35}, 60: {1.96, 2.34, 3.07},
	}
	for n, want := range printed {
		for i, share := range []float64{0.90, 0.95, 0.99} {
			if k, err := Factor(n, share, 0.95, Both); err != nil || math.Abs(k-want[i]) > 0.0101 {
				t.Errorf("n %d, share %v: %v, %v; printed %v", n, share, k, err, want[i])
			}
		}
	}
	// One limit, n 50, 95/95: 2.065 (Owen 1963, Sandia SCR-607, as quoted widely).
	if k, err := Factor(50, 0.95, 0.95, Upper); err != nil || math.Abs(k-2.065) > 5e-4 {
		t.Errorf("one limit of 50: %v, %v", k, err)
	}
}

// Computed with R 4.2.2: two limits by integrate() over pchisq and qchisq (noncentral),
// one by qt() (noncentral).
func TestFactorsAgainstR(t *testing.T) {
	for _, c := range []struct {
		n                 int
		share, confidence float64
		sides             Sides
		want              float64
	}{
		{2, .95, .95, Both, 36.519215}, {4, .95, .95, Both, 6.341083}, {10, .95, .95, Both, 3.393429}, {10, .90, .95, Both, 2.856311}, {20, .99, .95, Both, 3.620986},
		{30, .95, .95, Both, 2.554893}, {43, .90, .99, Both, 2.222825}, {60, .95, .95, Both, 2.335065}, {300, .95, .95, Both, 2.105767},
		{3, .95, .95, Lower, 7.655900}, {10, .95, .95, Upper, 2.910963}, {40, .90, .99, Upper, 1.901726}, {43, .90, .99, Lower, 1.873954}, {50, .95, .95, Upper, 2.064993}, {300, .95, .95, Upper, 1.799642},
	} {
		if k, err := Factor(c.n, c.share, c.confidence, c.sides); err != nil || math.Abs(k/c.want-1) > 2e-5 {
			t.Errorf("n %d, %v/%v, sides %d: %.6f, %v; R gives %v", c.n, c.share, c.confidence, c.sides, k, err, c.want)
		}
	}
}

// Sample sizes for the range of the whole sample: 93, 59, 46, 29, 473 (Wilks 1941;
// Hahn & Meeker 1991, tables A.16 and A.17, from memory).
func TestNeeds(t *testing.T) {
	for _, c := range []struct {
		share, confidence float64
		sides             Sides
		want              int
	}{{.95, .95, Both, 93}, {.95, .95, Lower, 59}, {.90, .95, Both, 46}, {.90, .95, Upper, 29}, {.99, .95, Both, 473}, {.99, .95, Lower, 299}} {
		if n, err := Needs(c.share, c.confidence, c.sides); err != nil || n != c.want {
			t.Errorf("%v/%v, sides %d: %d, %v; want %d", c.share, c.confidence, c.sides, n, err, c.want)
		}
	}
	for n, want := range map[int]bool{92: false, 93: true} {
		figures := make([]float64, n)
		for i := range figures {
			figures[i] = float64(i)
		}
		l, ok, err := Free(figures, 0.95, 0.95, Both)
		if err != nil || ok != want {
			t.Fatalf("%d figures: %v, %v", n, ok, err)
		}
		if ok && (*l.Low != 0 || *l.High != 92 || l.Rank != 1 || l.Confidence < 0.95 || l.Confidence > 0.9502) {
			t.Errorf("%+v", l)
		}
	}
}

// Computed with R 4.2.2 by the formula over pnorm(log.p = TRUE).
func TestAndersonDarling(t *testing.T) {
	x := []float64{2310, 2450, 2520, 2380, 2610, 2490, 2550, 2700, 2430, 2580, 2640, 2470}
	if a, doubtful, err := AndersonDarling(x); err != nil || doubtful || math.Abs(a-0.08976884) > 1e-8 {
		t.Errorf("%v, %v, %v", a, doubtful, err)
	}
	for i := range x {
		x[i] = math.Exp((x[i] - 2300) / 60)
	}
	if a, doubtful, err := AndersonDarling(x); err != nil || !doubtful || math.Abs(a-2.00356653) > 1e-8 {
		t.Errorf("%v, %v, %v", a, doubtful, err)
	}
}

// Of 2,000 simulated samples as many limits hold the share as the confidence says,
// within four standard errors.
func TestLimitsHoldTheirShare(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	const trials, n, share, confidence = 2000, 60, 0.90, 0.90
	normal, free := 0, 0
	k, err := Factor(n, share, confidence, Both)
	if err != nil {
		t.Fatal(err)
	}
	for range trials {
		x := make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		mean, sd, err := Moments(x)
		if err != nil {
			t.Fatal(err)
		}
		if held(mean+k*sd)-held(mean-k*sd) >= share {
			normal++
		}
		f, ok, err := Free(x, share, confidence, Both)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		if held(*f.High)-held(*f.Low) >= share {
			free++
		}
	}
	se := math.Sqrt(confidence * (1 - confidence) / trials)
	if p := float64(normal) / trials; math.Abs(p-confidence) > 4*se {
		t.Errorf("normal limits hold the share in %v of samples, want %v", p, confidence)
	}
	if p := float64(free) / trials; p < confidence-4*se {
		t.Errorf("distribution-free limits hold the share in %v of samples, want %v at least", p, confidence)
	}
}

func held(v float64) float64 { return 0.5 * math.Erfc(-v/math.Sqrt2) }

func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 200).Draw(t, "n")
		share, confidence := rapid.Float64Range(0.55, 0.99).Draw(t, "share"), rapid.Float64Range(0.5, 0.99).Draw(t, "confidence")
		sides := Sides(rapid.IntRange(0, 2).Draw(t, "sides"))
		k, err := Factor(n, share, confidence, sides)
		if err != nil || !(k > 0) {
			t.Fatal(k, err)
		}
		if more, _ := Factor(n+1, share, confidence, sides); more > k*(1+1e-9) && confidence > 0.6 {
			t.Fatalf("k grows from %v to %v with one more figure", k, more)
		}
		if wider, _ := Factor(n, share+0.005, confidence, sides); wider < k {
			t.Fatalf("a larger share has a smaller k: %v, %v", k, wider)
		}
		if surer, _ := Factor(n, share, confidence+0.005, sides); surer < k {
			t.Fatalf("more confidence has a smaller k: %v, %v", k, surer)
		}
	})
}

func TestRefusals(t *testing.T) {
	var wrong *ValueError
	for _, c := range [][3]float64{{1, .9, .9}, {5, 0, .9}, {5, 1, .9}, {5, .9, 1}, {5, math.NaN(), .9}} {
		if _, err := Factor(int(c[0]), c[1], c[2], Both); !errors.As(err, &wrong) {
			t.Errorf("%v: %v", c, err)
		}
	}
	for _, x := range [][]float64{{1, 1, 1}, {1, math.NaN(), 2}, {1, math.Inf(1), 2}} {
		if _, _, err := Moments(x); !errors.As(err, &wrong) {
			t.Errorf("%v: %v", x, err)
		}
	}
	if _, _, err := Free([]float64{1, math.NaN()}, 0.9, 0.9, Both); !errors.As(err, &wrong) {
		t.Error(err)
	}
	if _, err := Needs(1, 0.5, Both); !errors.As(err, &wrong) {
		t.Error(err)
	}
	if _, _, err := AndersonDarling(make([]float64, 20)); !errors.As(err, &wrong) {
		t.Error(err)
	}
}
