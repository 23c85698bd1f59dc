package control

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s: got %v, want %v ± %v", what, got, want, tol)
	}
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (DOI 10.18434/M32189):
// λ 0.3, target 50, s 2.0539, L 3; z and limits as printed.
func TestEWMAOnTheHandbooksExample(t *testing.T) {
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	z := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	e := EWMA{Lambda: 0.3, L: 3, Centre: 50, Sigma: 2.0539, Steady: true}
	for i, p := range e.Run(x, nil, nil) {
		near(t, "z", p.Value, z[i], 0.005+1e-9)
		near(t, "upper limit", p.High, 52.5884, 5e-5)
		near(t, "lower limit", p.Low, 47.4115, 1e-4)
		if p.Signal != None {
			t.Errorf("figure %d: %s; the handbook has no signal", i+1, p.Signal)
		}
	}
	e.Steady = false // figures of the first point computed by us from the printed formula
	first := e.Run(x, nil, nil)[0]
	near(t, "first upper limit", first.High, 51.8485, 5e-5)
	near(t, "first lower limit", first.Low, 48.1515, 5e-5)
}

// NIST/SEMATECH handbook 6.3.2.3 (from memory): target 325, K 0.3175, H 4.1959.
func TestCUSUMOnTheHandbooksExample(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	up := []float64{0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350}
	worst := 0.0
	for i, s := range (CUSUM{Target: 325, K: 0.3175, H: 4.1959}).Run(x) {
		near(t, "upper sum", s.Up, up[i], 1e-9)
		worst = max(worst, s.Down)
		if (s.Signal == Above) != (i >= 13) || s.Signal == Below {
			t.Errorf("figure %d: signal %q", i+1, s.Signal)
		}
	}
	near(t, "largest lower sum", worst, 0.7150, 1e-9)
}

// Eight figures; limits, σ and the range's limit by the tabled factors 2.66, 1.128
// and 3.267, computed by us; tolerances are those factors' own rounding.
func TestIndividuals(t *testing.T) {
	l, err := Individuals([]float64{2480, 2510, 2495, 2530, 2470, 2505, 2520, 2490}, 3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", l.Centre, 2500, 1e-9)
	near(t, "mean range", l.MeanRange, 31.42857, 5e-6)
	near(t, "σ", l.Sigma, 27.8622, 0.01)
	near(t, "lower limit", l.Low(), 2416.40, 0.05)
	near(t, "upper limit", l.High(), 2583.60, 0.05)
	near(t, "range limit", l.RangeHigh(), 102.677, 0.02)
}

// Factors as tabled in ISO 7870-2 (from memory), n 2 to 10.
func TestFactorsAsTabled(t *testing.T) {
	a2 := []float64{1.880, 1.023, 0.729, 0.577, 0.483, 0.419, 0.373, 0.337, 0.308}
	dd3 := []float64{0, 0, 0, 0, 0, 0.076, 0.136, 0.184, 0.223}
	d4 := []float64{3.267, 2.574, 2.282, 2.114, 2.004, 1.924, 1.864, 1.816, 1.777}
	for i := range a2 {
		f, err := FactorsOf(i + 2)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "A2", f.A2, a2[i], 0.0006)
		near(t, "D3", f.D3, dd3[i], 0.0011)
		near(t, "D4", f.D4, d4[i], 0.0011)
	}
}

// Mean and SD of the range by its distribution function,
// P(R ≤ r) = n ∫ φ(x)·(Φ(x + r) − Φ(x))^(n−1) dx, integrated by us.
func TestRangesOfNormalFigures(t *testing.T) {
	u := distuv.UnitNormal
	for n := 2; n <= 10; n++ {
		above := func(r float64) float64 {
			return 1 - quad.Fixed(func(x float64) float64 {
				return float64(n) * u.Prob(x) * math.Pow(u.CDF(x+r)-u.CDF(x), float64(n-1))
			}, -8, 8, 120, nil, 0)
		}
		mean := quad.Fixed(above, 0, 12, 120, nil, 0)
		square := quad.Fixed(func(r float64) float64 { return 2 * r * above(r) }, 0, 12, 120, nil, 0)
		near(t, "d2", d2[n], mean, 2e-6)
		near(t, "d3", d3[n], math.Sqrt(square-mean*mean), 2e-6)
	}
}

func TestSDs(t *testing.T) {
	near(t, "one", SDs(1), 3, 0)
	// tail 0.00135/3 = 0.00045 a side: 3.3205 (tables of the normal distribution; from memory)
	near(t, "three", SDs(3), 3.3205, 5e-4)
}

// Average run lengths, by Markov chain (computed by us; they agree with the tables
// in common use): from target, and after a shift of one standard deviation. Simulated here on
// the charts themselves, so the tolerance is four standard errors.
func TestRunLengths(t *testing.T) {
	shewhart := func(x []float64) int {
		l := Limits{Sigma: 1, K: 3}
		return slices.IndexFunc(l.Shewhart(x), func(p Point) bool { return p.Signal != None })
	}
	cusum := func(h float64) func([]float64) int {
		return func(x []float64) int {
			return slices.IndexFunc(CUSUM{K: 0.5, H: h}.Run(x), func(s Sum) bool { return s.Signal != None })
		}
	}
	ewma := func(lambda, l float64) func([]float64) int {
		return func(x []float64) int {
			return slices.IndexFunc(EWMA{Lambda: lambda, L: l, Sigma: 1, Steady: true}.Run(x, nil, nil), func(p Point) bool { return p.Signal != None })
		}
	}
	cases := []struct {
		name               string
		first              func([]float64) int
		inControl, shifted float64
	}{
		{"Shewhart", shewhart, 370.4, 43.9},
		{"CUSUM h 4", cusum(4), 167.7, 8.38},
		{"CUSUM h 5", cusum(5), 465.4, 10.38},
		{"EWMA 0.1", ewma(0.1, 2.814), 499.5, 10.3},
		{"EWMA 0.2", ewma(0.2, 2.962), 499.7, 10.5},
		{"EWMA 0.4", ewma(0.4, 3.054), 499.9, 14.3},
	}
	const runs = 1500
	r := rand.New(rand.NewPCG(7, 7870))
	for _, c := range cases {
		for _, shift := range []float64{0, 1} {
			want, sum, sum2 := map[float64]float64{0: c.inControl, 1: c.shifted}[shift], 0.0, 0.0
			for range runs {
				n := float64(runLength(c.first, shift, r))
				sum, sum2 = sum+n, sum2+n*n
			}
			mean := sum / runs
			se := math.Sqrt((sum2/runs - mean*mean) / runs)
			near(t, c.name, mean, want, 4*se)
		}
	}
}

// runLength is how many figures a chart takes to its first signal.
func runLength(first func([]float64) int, shift float64, r *rand.Rand) int {
	var x []float64
	for n := 32; ; n *= 2 {
		for len(x) < n {
			x = append(x, r.NormFloat64()+shift)
		}
		if at := first(x); at >= 0 {
			return at + 1
		}
	}
}

// A figure far off is set aside and named; the limits are those without it.
func TestEstimateSetsAsideAndSaysSo(t *testing.T) {
	x := []float64{10, 11, 9, 10, 10.5, 9.5, 10, 4, 10.2, 9.9, 10.4, 9.8}
	l, err := Estimate(x, 3)
	if err != nil {
		t.Fatal(err)
	}
	clean, err := Individuals(slices.Delete(slices.Clone(x), 7, 8), 3)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(l.SetAside, []int{7}) || l.N != 11 || l.Centre != clean.Centre || l.Sigma != clean.Sigma {
		t.Errorf("%+v, want the limits without figure 8: %+v", l, clean)
	}
	if p := l.Shewhart(x); p[7].Signal != Below || p[0].Signal != None {
		t.Errorf("signals %+v", p)
	}
}

// Charts move with the figures: shifted and scaled figures have the same signals.
func TestChartsMoveWithTheFigures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 1000), 4, 40).Draw(t, "x")
		shift, scale := rapid.IntRange(-512, 512).Draw(t, "shift"), float64(int(1)<<rapid.IntRange(0, 8).Draw(t, "scale"))
		a, b := make([]float64, len(x)), make([]float64, len(x))
		for i, v := range x {
			a[i], b[i] = float64(v), float64(v+shift)*scale
		}
		la, errA := Estimate(a, 3)
		lb, errB := Estimate(b, 3)
		if (errA == nil) != (errB == nil) {
			t.Fatal(errA, errB)
		}
		if errA != nil {
			return
		}
		if !slices.Equal(la.SetAside, lb.SetAside) || math.Abs(lb.Sigma-scale*la.Sigma) > 1e-9*lb.Sigma || len(la.SetAside)+la.N != len(x) {
			t.Fatalf("%+v and %+v", la, lb)
		}
		for _, i := range la.SetAside {
			if i < 0 || i >= len(x) {
				t.Fatal(la.SetAside)
			}
		}
		// λ = 1 gathers nothing: an EWMA of it is the Shewhart chart.
		for i, p := range (EWMA{Lambda: 1, L: 3, Centre: la.Centre, Sigma: la.Sigma}).Run(a, nil, nil) {
			if s := la.Shewhart(a)[i]; p.Signal != s.Signal && math.Abs(math.Abs(a[i]-la.Centre)-3*la.Sigma) > 1e-9*la.Sigma || p.Value != a[i] {
				t.Fatalf("%+v against %+v", p, s)
			}
		}
	})
}

func TestEWMABeginsAgainAndPassesOver(t *testing.T) {
	e := EWMA{Lambda: 0.2, L: 3, Centre: 0, Sigma: 1}
	x := []float64{1, 1, 9, 1, 1}
	at := func(k int) func(int) bool { return func(i int) bool { return i == k } }
	whole := e.Run(x, nil, nil)
	without := e.Run([]float64{1, 1, 1, 1}, nil, nil)
	skipped := e.Run(x, nil, at(2))
	if skipped[2] != whole[2] || skipped[3] != without[2] || skipped[4] != without[3] {
		t.Errorf("skipped %+v", skipped)
	}
	again := e.Run(x, at(3), nil)
	if again[3] != without[0] || again[4] != without[1] || again[2] != whole[2] {
		t.Errorf("begun again %+v", again)
	}
}

func TestRangeChart(t *testing.T) {
	groups := [][]float64{{10, 12}, {11, 9}, {10, 10}, {9, 11}, {10, 30}, {10, 11}, {9, 10}, {11, 10}, {12, 11}, {9, 9}}
	c, err := Ranges(groups)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "R̄", c.MeanRange, 3, 1e-12)
	near(t, "upper range limit", c.Ranges[0].High, 3.267*3, 0.002)
	near(t, "mean limit", c.Means[0].High-c.Centre, 1.880*3, 0.002)
	for i, p := range c.Ranges {
		if (p.Signal == Above) != (i == 4) {
			t.Errorf("group %d: %+v", i+1, p)
		}
	}
}

func TestHostileInput(t *testing.T) {
	bad := map[string]error{}
	_, bad["none"] = Individuals(nil, 3)
	_, bad["one"] = Estimate([]float64{1}, 3)
	_, bad["constant"] = Estimate([]float64{1, 1, 1, 1}, 3)
	_, bad["NaN"] = Estimate([]float64{1, 2, math.NaN(), 1}, 3)
	_, bad["Inf"] = Individuals([]float64{1, 2, math.Inf(1)}, 3)
	_, bad["constant but for one"] = Estimate([]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 7}, 3)
	_, bad["one group"] = Ranges([][]float64{{1, 2}})
	_, bad["unequal groups"] = Ranges([][]float64{{1, 2}, {1, 2, 3}})
	_, bad["NaN in a group"] = Ranges([][]float64{{1, 2}, {1, math.NaN()}})
	_, bad["constant groups"] = Ranges([][]float64{{1, 1}, {2, 2}})
	_, bad["large groups"] = FactorsOf(11)
	for name, err := range bad {
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
