package correlation

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

func TestFisher(t *testing.T) {
	// r 0.6, n 30: z 0.693147, SE 0.192450 (Fisher's formula computed with SciPy).
	low, high, ok := Fisher(0.6, 30, 0)
	near(t, "low", low, 0.305842, 1e-6)
	near(t, "high", high, 0.789590, 1e-6)
	if !ok {
		t.Error("r 0.6, n 30 has an interval")
	}
	if low, high, ok = Fisher(1, 10, 0); !ok || !(low <= high && high <= 1) {
		t.Errorf("r 1: %v to %v, %v", low, high, ok)
	}
	if _, _, ok = Fisher(0.5, 4, 1); ok {
		t.Error("four rows with one variable held have an interval")
	}
	near(t, "p of r 0.361, n 30", P(0.361, 30), 0.0494920, 1e-6) // erfc(atanh 0.361·√27/√2) by Python
	near(t, "p of no difference", DifferenceP(0.6, 30, 0.6, 80), 1, 1e-12)
	near(t, "p of a difference", DifferenceP(0.6, 30, 0, 30), twoSided(0.693147/math.Sqrt(2.0/27)), 1e-6)
}

// NIST StRD Longley: certified regression of employment on six figures; here the
// plain correlations, against the square root of R² of one-feature least squares.
func TestPearsonIsTheRootOfR2(t *testing.T) {
	x := []float64{83.0, 88.5, 88.2, 89.5, 96.2, 98.1, 99.0, 100.0, 101.2, 104.6, 108.4, 110.8, 112.6, 114.2, 115.7, 116.9}
	y := []float64{60323, 61122, 60171, 61187, 63221, 63639, 64989, 63761, 66019, 67857, 68169, 66513, 68655, 69564, 69331, 70551}
	r, ok := Pearson(x, y, nil)
	if !ok {
		t.Fatal("not defined")
	}
	var sse, sst, mx, my, xx, xy float64
	for i := range x {
		mx, my = mx+x[i]/16, my+y[i]/16
	}
	for i := range x {
		xx, xy, sst = xx+(x[i]-mx)*(x[i]-mx), xy+(x[i]-mx)*(y[i]-my), sst+(y[i]-my)*(y[i]-my)
	}
	for i := range x {
		e := y[i] - my - xy/xx*(x[i]-mx)
		sse += e * e
	}
	near(t, "r", r, math.Sqrt(1-sse/sst), 1e-12)
	near(t, "r", r, 0.970899, 1e-6) // as the data set's published correlation table has it, 0.971 (from memory)
}

// Benjamini & Hochberg 1995, J R Stat Soc B 57:289, the fifteen p-values of their
// example: four are below 0.05 adjusted. Adjusted values computed with SciPy.
func TestFalseDiscovery(t *testing.T) {
	p := []float64{0.4262, 0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.5719, 0.6528, 0.7590, 1.0}
	want := []float64{0.581182, 0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571, 0.0638571, 0.0645, 0.0765, 0.486, 0.714875, 0.753231, 0.813214, 1}
	kept, called := append([]float64(nil), p...), 0
	for i, v := range FalseDiscovery(p) {
		near(t, "adjusted", v, want[i], 1e-6)
		if v <= 0.05 {
			called++
		}
	}
	if called != 4 || !reflect.DeepEqual(p, kept) {
		t.Errorf("%d called at 5 %%, want 4; input kept: %v", called, reflect.DeepEqual(p, kept))
	}
	if out := FalseDiscovery(nil); len(out) != 0 {
		t.Errorf("no p-values gave %v", out)
	}
}

func TestPercentile(t *testing.T) {
	values := make([]float64, 1999)
	for i, k := range rand.New(rand.NewPCG(1, 1)).Perm(1999) {
		values[i] = float64(k + 1)
	}
	low, high, ok := Percentile(values)
	if low != 50 || high != 1950 || !ok {
		t.Errorf("of 1…1999: %v to %v, want the 50th and the 1950th", low, high)
	}
	if _, _, ok := Percentile(make([]float64, 38)); ok {
		t.Error("38 values have 2.5 % tails")
	}
}

// Partial and within-group correlations are those of residuals, and none depends
// on unit, origin or the order of rows.
func TestInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(6, 60).Draw(t, "n")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		by, off := rapid.Float64Range(1e-3, 1e3).Draw(t, "by"), rapid.Float64Range(-1e3, 1e3).Draw(t, "off")
		x, y, z, group := make([]float64, n), make([]float64, n), make([]float64, n), make([]int, n)
		scaled := make([]float64, n)
		for i := range x {
			z[i], group[i] = rng.NormFloat64(), i%3
			x[i], y[i] = rng.NormFloat64()+z[i], rng.NormFloat64()-z[i]
			scaled[i] = off + by*x[i]
		}
		same := func(what string, a, b float64, okA, okB bool) {
			if okA != okB || math.Abs(a-b) > 1e-8 {
				t.Fatalf("%s: %v (%v) and %v (%v)", what, a, okA, b, okB)
			}
		}
		r, ok := Pearson(x, y, nil)
		s, okS := Pearson(scaled, y, rng.Perm(n))
		same("rescaled and shuffled", r, s, ok, okS)
		p, ok := Partial(x, y, z, nil)
		q, okQ := Pearson(residuals(x, z), residuals(y, z), nil)
		same("partial by residuals", p, q, ok, okQ)
		w, ok := Within(x, y, group, nil)
		v, okV := Pearson(centred(x, group), centred(y, group), nil)
		same("within by centring", w, v, ok, okV)
		c, ok := Curvature(x, y, nil)
		d, okD := Curvature(scaled, y, nil)
		same("curvature rescaled", c, d, ok, okD)
		if TopInside(x, y) != TopInside(scaled, y) {
			t.Fatal("the top moved with the unit")
		}
	})
}

func residuals(y, x []float64) []float64 {
	mx, my, xx, xy := mean(x), mean(y), 0.0, 0.0
	for i := range x {
		xx, xy = xx+(x[i]-mx)*(x[i]-mx), xy+(x[i]-mx)*(y[i]-my)
	}
	out := make([]float64, len(x))
	for i := range x {
		out[i] = y[i] - my - xy/xx*(x[i]-mx)
	}
	return out
}

func centred(x []float64, group []int) []float64 {
	sum, count := map[int]float64{}, map[int]float64{}
	for i, g := range group {
		sum[g], count[g] = sum[g]+x[i], count[g]+1
	}
	out := make([]float64, len(x))
	for i, g := range group {
		out[i] = x[i] - sum[g]/count[g]
	}
	return out
}

func TestParabola(t *testing.T) {
	var x, top, valley, half []float64
	for i := range 41 {
		v := 18 + float64(i)*0.25
		x, top, valley = append(x, v), append(top, 5-(v-23)*(v-23)), append(valley, (v-23)*(v-23))
		half = append(half, 5-(v-30)*(v-30)) // highest beyond the last row, 28
	}
	for _, c := range []struct {
		name   string
		y      []float64
		bends  float64
		inside bool
	}{{"top", top, -1, true}, {"valley", valley, 1, false}, {"top outside", half, -1, false}} {
		r, ok := Curvature(x, c.y, nil)
		if !ok || math.Abs(r-c.bends) > 1e-9 || TopInside(x, c.y) != c.inside {
			t.Errorf("%s: curvature %v (%v), top inside %v; want %v, %v", c.name, r, ok, TopInside(x, c.y), c.bends, c.inside)
		}
	}
}

func TestNotDefined(t *testing.T) {
	x, flat := []float64{1, 2, 3, 4}, []float64{0.1, 0.1, 0.1, 0.1}
	nearly := []float64{1e9, 1e9 + 1e-7, 1e9, 1e9} // rounding of 1e9
	for name, pair := range map[string][2][]float64{
		"flat x": {flat, x}, "flat y": {x, flat}, "rounding": {nearly, x}, "two rows": {x[:2], x[:2]}, "none": {nil, nil},
		"overflow": {{math.MaxFloat64, -math.MaxFloat64, 1, 2}, x},
	} {
		if r, ok := Pearson(pair[0], pair[1], nil); ok {
			t.Errorf("%s: %v is given as defined", name, r)
		}
	}
	if _, ok := Pearson(x, x, []int{0, 0, 0, 0}); ok {
		t.Error("one row drawn four times is given as defined")
	}
	if _, ok := Partial(x, []float64{2, 1, 4, 3}, x, nil); ok {
		t.Error("x given x is given as defined")
	}
	if _, ok := Curvature([]float64{0, 1, 0, 1}, []float64{1, 2, 3, 5}, nil); ok {
		t.Error("two values of x have a curvature")
	}
	if TopInside([]float64{0, 1, 0, 1}, []float64{1, 2, 3, 5}) {
		t.Error("two values of x have a top")
	}
	defer func() {
		if recover() == nil {
			t.Error("unequal lengths did not panic")
		}
	}()
	Pearson(x, x[1:], nil)
}
