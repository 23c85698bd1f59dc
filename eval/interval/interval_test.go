package interval

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func ptr(v float64) *float64 { return &v }

// large is an interval whose t is the normal to 1e-6, with standard error u at leverage 0.
func large(u float64) Interval { return Interval{MSECV: u * u, DF: 1e7, N: 1e7 + 2} }

func TestConformanceNormalLimit(t *testing.T) {
	tests := []struct {
		source    string
		value, u  float64
		low, high *float64
		want, tol float64
	}{
		// JCGM 106:2012, Evaluation of measurement data: the role of measurement
		// uncertainty in conformity assessment, worked examples. Inputs from
		// memory; printed 0.92, 0.99, 0.66; third digit by SciPy's normal.
		{"JCGM 106, upper limit", -5.47, 0.05, nil, ptr(-5.40), 0.919, 5e-4},
		{"JCGM 106, lower limit", 509.7, 8.6, ptr(490), nil, 0.989, 5e-4},
		{"JCGM 106, two-sided", 13.6, 1.8, ptr(12.5), ptr(16.3), 0.663, 5e-4},
		// A guard band of U = 2u leaves a risk of Φ(−2) = 2.275 % (ILAC-G8:09/2019).
		{"ILAC-G8, guard band 2u", 2600, 50, ptr(2500), nil, 1 - 0.02275, 1e-5},
		// SciPy norm.cdf, computed for this test.
		{"3u inside", 2650, 50, ptr(2500), nil, 0.99865, 5e-6},
		{"0.4u inside", 2520, 50, ptr(2500), nil, 0.65542, 5e-6},
		{"0.4u outside", 2480, 50, ptr(2500), nil, 0.34458, 5e-6},
		{"2.4u outside", 2380, 50, ptr(2500), nil, 0.00820, 5e-6},
		{"two-sided, one limit far", 2900, 60, ptr(2400), ptr(3000), 0.95221, 5e-6},
		{"no limits", 1, 1, nil, nil, 1, 0},
	}
	for _, c := range tests {
		if got := large(c.u).Conformance(c.value, 0, c.low, c.high); math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: p = %.6f, want %.6f ± %g", c.source, got, c.want, c.tol)
		}
	}
}

func TestAroundOutsideValues(t *testing.T) {
	// NIST StRD Norris (36 rows), prediction at x = 500: s, leverage and
	// half-width computed from the exact least-squares solution; t₀.₉₇₅,₃₄ = 2.032244509.
	iv, err := New(0.884796396*0.884796396, 36, 1)
	if err != nil {
		t.Fatal(err)
	}
	low, high, err := iv.Around(500.796085936, 0.0293191280, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if half := (high - low) / 2; math.Abs(half-1.824291882) > 1e-8 {
		t.Errorf("half-width %.9f, want 1.824291882", half)
	}
	if mid := (high + low) / 2; math.Abs(mid-500.796085936) > 1e-9 {
		t.Errorf("centre %.9f, want 500.796085936", mid)
	}
	// Error of a PLS prediction with MSE 4, h 0.15 and σ_ref 1 taken off:
	// √(4·1.15 − 1) = 1.897367 (form of Faber & Kowalski 1997, J Chemom 11:181,
	// from memory). Ours leaves σ_ref in.
	pls, _ := New(4, 30, 3)
	se, err := pls.SE(0.15)
	if err != nil || math.Abs(math.Sqrt(se*se-1)-1.897367) > 1e-6 {
		t.Errorf("SE %.6f (%v), want √(1.897367² + 1)", se, err)
	}
	if pls.DF != 26 {
		t.Errorf("df %v, want 30 − 3 − 1 = 26", pls.DF)
	}
}

// A lot in the middle of a spec that is exactly its 90 % interval conforms with 90 %.
func TestConformanceOfOwnInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		iv, err := New(rapid.Float64Range(1e-6, 1e6).Draw(t, "msecv"), rapid.IntRange(4, 200).Draw(t, "n"), 2)
		if err != nil {
			t.Fatal(err)
		}
		value, h := rapid.Float64Range(-1e4, 1e4).Draw(t, "value"), rapid.Float64Range(0, 3).Draw(t, "h")
		level := rapid.Float64Range(0.5, 0.99).Draw(t, "level")
		low, high, err := iv.Around(value, h, level)
		if err != nil {
			t.Fatal(err)
		}
		if p := iv.Conformance(value, h, &low, &high); math.Abs(p-level) > 1e-6 {
			t.Fatalf("p = %v, want the level %v", p, level)
		}
		both := iv.Conformance(value, h, &low, &high)
		if one := iv.Conformance(value, h, &low, nil); one < both {
			t.Fatalf("dropping a limit lowered p from %v to %v", both, one)
		}
		// A wider level or a larger leverage never narrows.
		if l2, h2, _ := iv.Around(value, h+0.1, level); h2-l2 < high-low {
			t.Fatalf("more leverage narrowed the interval")
		}
	})
}

// Of 4,000 simulated sets of 15 lots with the mean as model, the next lot falls
// inside its 90 % interval in 90 % of them (binomial SE 0.5 %).
func TestCoverageSimulated(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	const n, sets = 15, 4000
	inside := 0
	for range sets {
		y, sum := make([]float64, n), 0.0
		for i := range y {
			y[i] = rng.NormFloat64()
			sum += y[i]
		}
		press := 0.0 // leave-one-lot-out
		for _, v := range y {
			e := v - (sum-v)/(n-1)
			press += e * e
		}
		iv, err := New(press/n, n, 0)
		if err != nil {
			t.Fatal(err)
		}
		low, high, err := iv.Around(sum/n, 1.0/n, 0.90)
		if err != nil {
			t.Fatal(err)
		}
		if next := rng.NormFloat64(); next >= low && next <= high {
			inside++
		}
	}
	if share := float64(inside) / sets; share < 0.89 || share > 0.93 {
		t.Errorf("covered %.3f of new lots, want 0.90 to 0.92 (1 + h is counted twice)", share)
	}
}

func TestPerfectModel(t *testing.T) {
	iv, err := New(0, 20, 2)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ value, want float64 }{{3, 1}, {2, 1}, {1.999, 0}, {4.001, 0}} {
		if p := iv.Conformance(c.value, 0.1, ptr(2), ptr(4)); p != c.want {
			t.Errorf("value %v: p = %v, want %v", c.value, p, c.want)
		}
	}
}

func TestRefusals(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		msecv      float64
		n          int
		complexity float64
	}{{nan, 20, 1}, {inf, 20, 1}, {-1, 20, 1}, {1, 2, 1}, {1, 0, 0}, {1, 20, nan}, {1, 20, -1}, {1, 20, 19}} {
		var ve *ValueError
		if _, err := New(c.msecv, c.n, c.complexity); !errors.As(err, &ve) {
			t.Errorf("New(%v, %d, %v): error %v, want a *ValueError", c.msecv, c.n, c.complexity, err)
		}
	}
	iv, _ := New(1, 20, 1)
	for _, c := range []struct{ value, h, level float64 }{{nan, 0, 0.9}, {inf, 0, 0.9}, {1, -0.1, 0.9}, {1, nan, 0.9},
		{1, 0, 0}, {1, 0, 1}, {1, 0, nan}, {1, 0, 90}} {
		var ve *ValueError
		if _, _, err := iv.Around(c.value, c.h, c.level); !errors.As(err, &ve) {
			t.Errorf("Around(%v, %v, %v): error %v, want a *ValueError", c.value, c.h, c.level, err)
		}
	}
	wide, _ := New(1e308, 20, 1)
	if _, _, err := wide.Around(math.MaxFloat64, 1e308, 0.9); err == nil {
		t.Error("limits beyond the largest number were given")
	}
	defer func() {
		if recover() == nil {
			t.Error("Conformance of NaN did not panic")
		}
	}()
	iv.Conformance(nan, 0, nil, nil)
}

func TestJSON(t *testing.T) {
	iv, _ := New(0.1234567890123456, 60, 3)
	data, err := json.Marshal(iv)
	if err != nil {
		t.Fatal(err)
	}
	var back Interval
	if err := json.Unmarshal(data, &back); err != nil || back != iv {
		t.Errorf("round trip gave %+v (%v), want %+v", back, err, iv)
	}
	for _, bad := range []string{`{}`, `null`, `[]`, `{"msecv":-1,"df":3,"n":9}`, `{"msecv":1e999,"df":3,"n":9}`,
		`{"msecv":1,"df":0,"n":9}`, `{"msecv":1,"df":9,"n":9}`, `{"msecv":1,"df":3,"n":9,"more":1}`, `{"msecv":1,"df":3}`, `{"msecv":"1","df":3,"n":9}`} {
		kept := iv
		if err := json.Unmarshal([]byte(bad), &kept); err == nil || kept != iv {
			t.Errorf("%s: read as %+v, error %v; want an error and no change", bad, kept, err)
		}
	}
}

func FuzzJSON(f *testing.F) {
	f.Add([]byte(`{"msecv":0.04,"df":56,"n":60}`))
	f.Add([]byte(`{"msecv":1e308,"df":1,"n":2}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var iv Interval
		if json.Unmarshal(data, &iv) != nil {
			return
		}
		if err := iv.Check(); err != nil {
			t.Fatalf("%s was read, yet: %v", data, err)
		}
		if _, _, err := iv.Around(1, 0, 0.9); err == nil {
			if p := iv.Conformance(1, 0, ptr(0), ptr(2)); !(p >= 0 && p <= 1) {
				t.Fatalf("%s: p = %v", data, p)
			}
		}
	})
}
