package domain

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"flourcast/model/design"
	"pgregory.net/rapid"
)

// flour draws the ten figures of one invented flour: three latent causes
// (swelling, reassociation, protein), four small independent ones, and three
// exact dependences, so rank seven.
func flour(rng *rand.Rand) []float64 {
	swelling, cold, protein := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
	peak := 2600 + 350*swelling - 120*protein
	trough := 0.55*peak + 60*rng.NormFloat64()
	final := trough + 1300 + 150*cold + 80*swelling
	temp := 68 - 0.8*swelling + 0.5*rng.NormFloat64()
	time := 370 + 6*swelling + 5*rng.NormFloat64()
	rate := peak/60 + 3*rng.NormFloat64()
	return []float64{temp, peak, trough, peak - trough, final, final - trough, final - peak, time, rate, 10.5 + 0.8*protein}
}

var flourNames = []string{"pasting_temp_C", "peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas",
	"setback_trough_mPas", "setback_peak_mPas", "peak_time_s", "rise_rate_mPas_per_s", "protein_pct"}

func matrix(t testing.TB, names []string, x [][]float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Features: names, Response: "y", X: x, Y: make([]float64, len(x)), Lots: make([]string, len(x))}
	for i := range x {
		s.Lots[i] = fmt.Sprint("L", i)
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func flours(t testing.TB, rng *rand.Rand, n int) *design.Matrix {
	x := make([][]float64, n)
	for i := range x {
		x[i] = flour(rng)
	}
	return matrix(t, flourNames, x)
}

func build(t testing.TB, m *design.Matrix) *Domain {
	t.Helper()
	d, err := Build(m)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// The shares of new lots of the calibrated population that are called outside or
// edge by chance are those of the package comment.
func TestFalseAlarms(t *testing.T) {
	for _, c := range []struct {
		n               int
		outside, either float64
	}{{15, 0.01, 0.07}, {30, 0.03, 0.11}, {60, 0.02, 0.11}, {100, 0.02, 0.09}} {
		rng := rand.New(rand.NewPCG(uint64(c.n), 1))
		outside, edge := 0, 0
		const sets, lots = 60, 50
		for range sets {
			d := build(t, flours(t, rng, c.n))
			for range lots {
				switch d.Place(flour(rng)).Where {
				case Outside:
					outside++
				case Edge:
					edge++
				}
			}
		}
		o, e := float64(outside)/(sets*lots), float64(outside+edge)/(sets*lots)
		if math.Abs(o-c.outside) > 0.005 || math.Abs(e-c.either) > 0.005 {
			t.Errorf("n %d: outside %.3f, edge or outside %.3f; the package comment says %g and %g", c.n, o, e, c.outside, c.either)
		}
	}
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

// Limits against SciPy (F, normal and χ² quantiles put into the formulas outside
// this program).
func TestLimits(t *testing.T) {
	near(t, "T² n 40, A 3, 95 %", T2Limit(40, 3, 0.95), 9.265976, 5e-7)
	near(t, "T² n 40, A 3, 99 %", T2Limit(40, 3, 0.99), 14.130211, 5e-7)
	near(t, "T² n 20, A 2, 95 %", T2Limit(20, 2, 0.95), 7.879268, 5e-7)
	near(t, "T² of a calibration lot, n 40, A 3, 95 %", T2LimitSeen(40, 3, 0.95), 7.331347, 5e-7)
	near(t, "T² of a calibration lot, n 40, A 3, 99 %", T2LimitSeen(40, 3, 0.99), 10.162917, 5e-7)
	near(t, "T² of a calibration lot, n 20, A 2, 95 %", T2LimitSeen(20, 2, 0.95), 5.361366, 5e-7)
	left := []float64{0.5, 0.3, 0.2}
	near(t, "Q 95 %", QLimit(left, 0.95), 2.740175, 5e-7)
	near(t, "Q 99 %", QLimit(left, 0.99), 4.217795, 5e-7)
	near(t, "Box 95 %", boxLimit(1, 0.38, 0.95), 2.722913, 5e-7)
	near(t, "Box 99 %", boxLimit(1, 0.38, 0.99), 4.023763, 5e-7)
	// One large and many small variances: θ₁θ₃ > 1.5 θ₂², h₀ < 0, Box takes over.
	spiked := []float64{1}
	for range 200 {
		spiked = append(spiked, 0.02)
	}
	t1, t2 := 5.0, 1+200*0.02*0.02
	near(t, "Box where h₀ fails", QLimit(spiked, 0.95), boxLimit(t1, t2, 0.95), 1e-9)
	near(t, "nothing left out", QLimit(nil, 0.95), 0, 0)
}

// Where all components are kept, leverage is the diagonal of the least-squares
// hat matrix: NIST StRD Norris, largest 0.1071063 at row 29, sum 2 (computed from
// the exact solution).
func TestLeverageIsTheHatMatrix(t *testing.T) {
	x := make([][]float64, len(norrisX))
	for i, v := range norrisX {
		x[i] = []float64{v}
	}
	d := build(t, matrix(t, []string{"x"}, x))
	sum, top, at := 0.0, 0.0, 0
	for i := range x {
		h := d.Place(x[i]).Leverage
		sum += h
		if h > top {
			top, at = h, i+1
		}
	}
	near(t, "largest leverage", top, 0.1071063, 5e-8)
	near(t, "its row", float64(at), 29, 0)
	near(t, "sum of leverages", sum, 2, 1e-12)
}

// NIST StRD Norris, predictor (US government work, public domain).
var norrisX = []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
	447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}

// T² and Q split into contributions without rest, and T² over the calibration
// lots sums to A(n − 1).
func TestSums(t *testing.T) {
	m := flours(t, rand.New(rand.NewPCG(3, 3)), 40)
	d := build(t, m)
	sum := 0.0
	for i := range m.N() {
		sum += d.Place(m.Row(i)).T2
	}
	near(t, "Σ T²", sum, float64(d.Components()*39), 1e-8)
	for k, axis := range d.loadings {
		if top := slices.MaxFunc(axis, func(a, b float64) int { return int(math.Copysign(1, math.Abs(a)-math.Abs(b))) }); top < 0 {
			t.Errorf("component %d: the largest loading is %v, want it positive", k+1, top)
		}
	}
	// Equal deviations everywhere: it takes three features to make up half of Q.
	even := flour(rand.New(rand.NewPCG(4, 4)))
	for j := range even {
		even[j] = d.mean[j] + 40*d.sd[j]*float64(1-2*(j%2))
	}
	p := d.Place(even)
	share, named := 0.0, 0
	for _, r := range p.Reasons {
		if r.Test == TestQ {
			share += r.Amount
			named++
		}
	}
	if named != 3 || share < 0.5 || share > 0.9 {
		t.Errorf("%d features with %v of Q are named, want the three that first make up half", named, share)
	}
}

func TestPlacements(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	d := build(t, flours(t, rng, 60))
	middle := []float64{68, 2600, 1430, 1170, 2730, 1300, 130, 370, 2600.0 / 60, 10.5}
	change := func(f func(x []float64)) []float64 {
		x := append([]float64(nil), middle...)
		f(x)
		return x
	}
	tests := []struct {
		name  string
		x     []float64
		where string
		by    string // must be named
	}{
		{"the middle of everything", middle, Inside, ""},
		{"peak typed ten times too high", change(func(x []float64) { x[1] *= 10 }), Outside, "peak_mPas"},
		{"peak in Pa·s", change(func(x []float64) { x[1] /= 1000 }), Outside, "peak_mPas"},
		{"breakdown that is not peak − trough, all within range", change(func(x []float64) { x[3] += 350 }), Outside, "breakdown_mPas"},
		{"protein a little beyond its range", change(func(x []float64) { _, hi, _ := d.Range("protein_pct"); x[9] = hi + 0.1 }), Edge, "protein_pct"},
		{"protein far beyond its range", change(func(x []float64) { _, hi, _ := d.Range("protein_pct"); x[9] = hi + 3 }), Outside, "protein_pct"},
		{"late peak of a low-temperature flour", change(func(x []float64) { x[7] += 60 }), Outside, "peak_time_s"},
		{"largest number", change(func(x []float64) { x[4] = math.MaxFloat64 }), Outside, "final_mPas"},
	}
	for _, c := range tests {
		p := d.Place(c.x)
		if p.Where != c.where {
			t.Errorf("%s: %s, want %s (%+v)", c.name, p.Where, c.where, p)
		}
		named := c.by == "" && len(p.By) == 0
		for _, f := range p.By {
			named = named || f == c.by
		}
		if !named {
			t.Errorf("%s: blamed %v, want %q among them", c.name, p.By, c.by)
		}
		if _, err := json.Marshal(p); err != nil {
			t.Errorf("%s: placement is no JSON: %v", c.name, err)
		}
	}
}

// Scale and origin of a feature, and an added feature that depends exactly on
// others, do not change T².
func TestInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 40).Draw(t, "n")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		scale, shift := rapid.Float64Range(1e-3, 1e3).Draw(t, "scale"), rapid.Float64Range(-1e3, 1e3).Draw(t, "shift")
		x, scaled := make([][]float64, n+1), make([][]float64, n+1)
		for i := range x {
			x[i] = flour(rng)
			scaled[i] = append([]float64(nil), x[i]...)
			scaled[i][1] = x[i][1]*scale + shift
		}
		a, b := mustBuild(t, x[:n]), mustBuild(t, scaled[:n])
		pa, pb := a.Place(x[n]), b.Place(scaled[n])
		if math.Abs(pa.T2-pb.T2) > 1e-6*(1+pa.T2) || math.Abs(pa.Q-pb.Q) > 1e-6*(1+pa.Q) {
			t.Fatalf("T² %v and %v, Q %v and %v after rescaling peak", pa.T2, pb.T2, pa.Q, pb.Q)
		}
		if pa.T2 < 0 || pa.Q < 0 || pa.Leverage < 1/float64(n) || (pa.Where == Inside) != (len(pa.By) == 0) {
			t.Fatalf("impossible placement %+v", pa)
		}
	})
}

func mustBuild(t *rapid.T, x [][]float64) *Domain {
	s := design.Spec{Features: flourNames, Response: "y", X: x, Y: make([]float64, len(x)), Lots: make([]string, len(x))}
	for i := range x {
		s.Lots[i] = fmt.Sprint("L", i)
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	d, err := Build(m)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestSmallAndDegenerateSets(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	var few *TooFewLotsError
	if _, err := Build(flours(t, rng, 2)); !errors.As(err, &few) {
		t.Errorf("two lots: error %v, want a *TooFewLotsError", err)
	}
	if d := build(t, flours(t, rng, 3)); d.Components() != 1 {
		t.Errorf("three lots: %d components, want 1", d.Components())
	}
	// No feature at all (the mean model).
	d := build(t, matrix(t, nil, make([][]float64, 5)))
	if p := d.Place(nil); p.Where != Inside || p.Leverage != 0.2 {
		t.Errorf("no features: %+v, want inside with leverage 1/5", p)
	}
	// A feature that never varied: the same value is inside, any other outside.
	x := [][]float64{{10.56, 1}, {10.56, 2}, {10.56, 3}, {10.56, 4}, {10.56, 5}}
	d = build(t, matrix(t, []string{"solids_pct", "peak_mPas"}, x))
	if p := d.Place([]float64{10.56, 3}); p.Where != Inside {
		t.Errorf("same solids: %+v", p)
	}
	if p := d.Place([]float64{12.3, 3}); p.Where != Outside || p.By[0] != "solids_pct" {
		t.Errorf("other solids: %+v, want outside by solids_pct", p)
	}
	if d := build(t, matrix(t, []string{"a", "b"}, [][]float64{{1, 2}, {1, 2}, {1, 2}})); d.Components() != 0 || d.Place([]float64{1, 2}).Where != Inside {
		t.Error("a set without variation does not take its own lots as inside")
	}
	// Nothing is left out by the components: rounding is allowed, a broken dependence is not.
	d = build(t, matrix(t, []string{"peak_min", "peak_s"}, [][]float64{{6, 360}, {6.1, 366}, {6.2, 372}, {6.3, 378}, {6.4, 384}, {6.5, 390}}))
	if p := d.Place([]float64{6.25, 375.1}); p.Where != Inside {
		t.Errorf("peak time rounded: %+v", p)
	}
	if p := d.Place([]float64{6.25, 381}); p.Where != Outside {
		t.Errorf("peak time that disagrees with itself: %+v", p)
	}
	// More features than lots.
	wide, names := make([][]float64, 8), make([]string, 50)
	for j := range names {
		names[j] = fmt.Sprint("f", j)
	}
	for i := range wide {
		wide[i] = make([]float64, 50)
		a := rng.NormFloat64()
		for j := range wide[i] {
			wide[i][j] = a*float64(j) + rng.NormFloat64()
		}
	}
	d = build(t, matrix(t, names, wide))
	for i := range wide {
		if p := d.Place(wide[i]); p.Where == Outside {
			t.Errorf("calibration lot %d of a wide set is outside: %+v", i, p)
		}
	}
	// Figures too far apart to be squared.
	if _, err := Build(matrix(t, []string{"a"}, [][]float64{{math.MaxFloat64}, {-math.MaxFloat64}, {1}})); err == nil {
		t.Error("an overflowing feature was decomposed")
	}
}

// Replicate rows of one lot count as one lot.
func TestLotsNotRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	once := design.Spec{Features: flourNames, Response: "y"}
	twice := once
	for i := range 20 {
		x := flour(rng)
		for k := range 2 {
			if k == 0 {
				once.X, once.Y, once.Lots = append(once.X, x), append(once.Y, 0), append(once.Lots, fmt.Sprint(i))
			}
			twice.X, twice.Y, twice.Lots = append(twice.X, x), append(twice.Y, 0), append(twice.Lots, fmt.Sprint(i))
		}
	}
	a, _ := design.New(once)
	b, _ := design.New(twice)
	x := flour(rng)
	if pa, pb := build(t, a).Place(x), build(t, b).Place(x); !reflect.DeepEqual(pa, pb) {
		t.Errorf("doubled rows changed the placement:\n%+v\n%+v", pa, pb)
	}
}
