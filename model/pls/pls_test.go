package pls

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/work"
)

func matrix(t testing.TB, x [][]float64, y []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Response: "hardness", X: x, Y: y}
	for j := range x[0] {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	for i := range y {
		s.Lots = append(s.Lots, fmt.Sprint("lot ", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// latent is n rows of p features driven by three latent ones, each with its own
// offset and scale.
func latent(t testing.TB, n, p int, seed uint64) *design.Matrix {
	t.Helper()
	r := work.Rand(seed, "latent")
	mix := make([][3]float64, p)
	for j := range mix {
		mix[j] = [3]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
	}
	x, y := make([][]float64, n), make([]float64, n)
	for i := range n {
		l := [3]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		y[i] = 40 + l[0] - 0.5*l[1] + 0.2*r.NormFloat64()
		for j := range p {
			v := 0.3 * r.NormFloat64()
			for k := range l {
				v += l[k] * mix[j][k]
			}
			x[i] = append(x[i], 10*float64(j)+math.Pow(3, float64(j%5-2))*v)
		}
	}
	return matrix(t, x, y)
}

// nipals is the classical algorithm (Wold; here for one response, no iteration
// needed), deflating copies of X and y: weights, loadings, y loadings, scores.
func nipals(z [][]float64, y []float64, comps int) (w, p [][]float64, q []float64, ts [][]float64) {
	n, width := len(z), len(z[0])
	for range comps {
		wa, pa, t := make([]float64, width), make([]float64, width), make([]float64, n)
		length := 0.0
		for j := range wa {
			for i := range z {
				wa[j] += z[i][j] * y[i]
			}
			length += wa[j] * wa[j]
		}
		tt, qa := 0.0, 0.0
		for i := range z {
			for j := range wa {
				t[i] += z[i][j] * wa[j] / math.Sqrt(length)
			}
			tt += t[i] * t[i]
			qa += t[i] * y[i]
		}
		qa /= tt
		for j := range wa {
			wa[j] /= math.Sqrt(length)
			for i := range z {
				pa[j] += z[i][j] * t[i] / tt
			}
		}
		for i := range z {
			for j := range pa {
				z[i][j] -= t[i] * pa[j]
			}
			y[i] -= qa * t[i]
		}
		w, p, q, ts = append(w, wa), append(p, pa), append(q, qa), append(ts, t)
	}
	return w, p, q, ts
}

func differ(a, b []float64) float64 {
	d, size := 0.0, 0.0
	for i := range a {
		d, size = max(d, math.Abs(a[i]-b[i])), max(size, math.Abs(b[i]))
	}
	return d / size
}

func scaled(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] * by
	}
	return out
}

// TestNIPALS: the kernel algorithm, from rows and from cross-products, equals the
// classical one, and its invariants hold.
func TestNIPALS(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n, p := rapid.IntRange(8, 40).Draw(rt, "rows"), rapid.IntRange(2, 50).Draw(rt, "features")
		m := latent(t, n, p, rapid.Uint64().Draw(rt, "seed"))
		scaling := rapid.SampledFrom([]model.Scaling{model.ScaleUnit, model.ScaleNone}).Draw(rt, "scaling")
		comps := min(p, n-2, 4)
		s, err := model.Standardise("test", m, scaling)
		if err != nil {
			rt.Fatal(err)
		}
		z := make([][]float64, n)
		for i := range z {
			z[i] = append([]float64(nil), s.Z[i*p:(i+1)*p]...)
		}
		w, load, q, ts := nipals(z, append([]float64(nil), s.Y...), comps)
		f := PLS{Components: comps, Scaling: scaling}
		rows, err := f.Fit(m)
		if err != nil {
			rt.Fatal(err)
		}
		mo, err := model.NewMoments("test", m)
		if err != nil {
			rt.Fatal(err)
		}
		paths := []model.Path{rows}
		if crossed, err := f.FitMoments(mo); err == nil {
			paths = append(paths, crossed)
		} else if !errors.Is(err, model.ErrNeedRows) {
			rt.Fatal(err)
		}
		for k, path := range paths {
			if path.Len() != comps {
				rt.Fatalf("%d components, expected %d", path.Len(), comps)
			}
			got := path.At(comps - 1).(*Model)
			tol := []float64{1e-9, 1e-7}[k]
			for a := range comps {
				sign := 1.0
				if got.Weights()[a][0]*w[a][0] < 0 {
					sign = -1
				}
				dw, dp := differ(scaled(got.Weights()[a], sign), w[a]), differ(scaled(got.Loadings()[a], sign), load[a])
				dq := differ([]float64{sign * got.YLoadings()[a]}, q[a:a+1])
				var scores []float64
				for i := range n {
					scores = append(scores, sign*got.Scores(m.Row(i))[a])
				}
				if dt := differ(scores, ts[a]); !(max(dw, dp, dq, dt) <= tol) {
					rt.Fatalf("component %d: weights %.1g, loadings %.1g, y loading %.1g, scores %.1g", a+1, dw, dp, dq, dt)
				}
				biggest := 0.0
				for _, v := range got.Weights()[a] {
					if math.Abs(v) > math.Abs(biggest) {
						biggest = v
					}
				}
				if biggest <= 0 {
					rt.Fatal("the largest weight is not positive")
				}
				if d := differ([]float64{got.ScoreSS()[a]}, []float64{dot(scores, scores)}); d > tol {
					rt.Fatalf("tᵀt differs by %.1g", d)
				}
			}
			vip := 0.0
			for _, v := range got.VIP() {
				vip += v * v
			}
			if math.Abs(vip-float64(p)) > 1e-9*float64(p) {
				rt.Fatalf("Σ VIP² = %v, expected %d", vip, p)
			}
			// b0 + x·b is Predict; leverages sum to 1 + components; explained y is R².
			l, sum, rss, yss := got.Linear(), 0.0, 0.0, dot(s.Y, s.Y)
			for i, y := range m.Y() {
				direct, linear := got.Predict(m.Row(i)), l.Intercept+dot(l.Coefficients, m.Row(i))
				if math.Abs(direct-linear) > 1e-9*math.Abs(direct) {
					rt.Fatalf("Predict %v, linear %v", direct, linear)
				}
				sum += got.LeverageAt(m.Row(i))
				rss += (y - direct) * (y - direct)
			}
			explained := 0.0
			for _, v := range got.YExplained() {
				explained += v
			}
			if math.Abs(sum-float64(1+comps)) > 1e-7 || math.Abs(explained-(1-rss/yss)) > 1e-9 {
				rt.Fatalf("leverages sum to %v, explained %v of %v", sum, explained, 1-rss/yss)
			}
		}
	})
}

// TestFullPathIsOLS: as many components as features is least squares, and one
// feature has one component.
func TestFullPathIsOLS(t *testing.T) {
	m := latent(t, 40, 5, 3)
	path, err := PLS{Components: 5}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	f, err := linear.OLS{}.Regress(m)
	if err != nil {
		t.Fatal(err)
	}
	if d := differ(path.At(4).Linear().Coefficients, f.Linear().Coefficients); d > 1e-9 {
		t.Errorf("coefficients differ by %.1g", d)
	}
	if path.Label(0) != "1 component" || path.Label(2) != "3 components" || path.At(2).Complexity() != (model.Complexity{Name: "components", Value: 3}) || path.At(2).DF() != 3 {
		t.Error("labels or complexity are wrong")
	}
}

// TestVIPExample: weights (0.6, 0.8, 0) and (0, 0.6, 0.8), sums of squares 9 and
// 1, worked by hand from the formula of Chong and Jun 2005.
func TestVIPExample(t *testing.T) {
	got := vip([][]float64{{0.6, 0.8, 0}, {0, 0.6, 0.8}}, []float64{9, 1})
	for j, want := range []float64{0.985901, 1.354991, 0.438178} {
		if math.Abs(got[j]-want) > 5e-7 {
			t.Errorf("feature %d: %v, expected %v", j+1, got[j], want)
		}
	}
}

func TestCap(t *testing.T) {
	dependent := func(n int) *design.Matrix {
		r := work.Rand(4, "dependent")
		var x [][]float64
		var y []float64
		for range n {
			peak, trough, final := 2500+300*r.NormFloat64(), 1600+150*r.NormFloat64(), 2900+200*r.NormFloat64()
			x = append(x, []float64{peak, trough, peak - trough, final, final - trough, final - peak})
			y = append(y, peak/100+r.NormFloat64())
		}
		return matrix(t, x, y)
	}
	for _, c := range []struct {
		name string
		f    PLS
		m    *design.Matrix
		want model.Cap
		cut  bool
	}{
		{"automatic, many rows", PLS{}, latent(t, 100, 12, 1), model.Cap{Asked: 10, Given: 10}, false},
		{"automatic, few features", PLS{}, latent(t, 100, 4, 1), model.Cap{Asked: 10, Given: 4, Why: "features"}, true},
		{"automatic, few rows", PLS{}, latent(t, 30, 12, 1), model.Cap{Asked: 10, Given: 5, Why: "training rows / 6"}, true},
		{"asked, wide", PLS{Components: 9}, latent(t, 6, 12, 1), model.Cap{Asked: 9, Given: 5, Why: "training rows"}, true},
		{"asked, dependent", PLS{Components: 6}, dependent(50), model.Cap{Asked: 6, Given: 3, Why: "rank"}, true},
		{"asked and given", PLS{Components: 3}, dependent(50), model.Cap{Asked: 3, Given: 3}, false},
	} {
		path, err := c.f.Fit(c.m)
		if err != nil {
			t.Fatal(c.name, err)
		}
		got, cut := path.(model.Capped).Cap()
		if got != c.want || cut != c.cut || path.Len() != c.want.Given {
			t.Errorf("%s: %+v, cut %v, length %d; expected %+v", c.name, got, cut, path.Len(), c.want)
		}
	}
}

// TestRankFromMoments: cross-products find the same rank.
func TestRankFromMoments(t *testing.T) {
	r := work.Rand(9, "rank")
	var x [][]float64
	var y []float64
	for range 40 {
		a, b := r.NormFloat64(), r.NormFloat64()
		x, y = append(x, []float64{a, b, a + b, a - 2*b}), append(y, a+r.NormFloat64())
	}
	m := matrix(t, x, y)
	mo, err := model.NewMoments("test", m)
	if err != nil {
		t.Fatal(err)
	}
	path, err := PLS{Components: 4}.FitMoments(mo)
	if err != nil || path.Len() != 2 {
		t.Fatalf("rank 2: %v components, %v", path, err)
	}
}

// TestResolution: features that differ by less than a thousandth of their spread
// are one direction, from rows and from cross-products alike and whatever their
// units; features that differ by more are two.
func TestResolution(t *testing.T) {
	for _, c := range []struct {
		apart   float64
		scaling model.Scaling
		unit    float64
		want    int
	}{{1e-5, model.ScaleUnit, 1, 1}, {1e-3, model.ScaleUnit, 1, 1}, {4e-3, model.ScaleUnit, 1, 2}, {1e-5, model.ScaleNone, 1, 1}, {4e-3, model.ScaleNone, 1, 2}, {0.1, model.ScaleNone, 1e-7, 2}} {
		r := work.Rand(5, "resolution")
		var x [][]float64
		var y []float64
		for range 40 {
			a, d := r.NormFloat64(), r.NormFloat64()
			x, y = append(x, []float64{a, c.unit * (a + c.apart*d)}), append(y, a+0.5*d)
		}
		m := matrix(t, x, y)
		mo, err := model.NewMoments("test", m)
		if err != nil {
			t.Fatal(err)
		}
		f := PLS{Components: 2, Scaling: c.scaling}
		rows, err := f.Fit(m)
		if err != nil {
			t.Fatal(err)
		}
		crossed, err := f.FitMoments(mo)
		if c.unit != 1 { // not scaled and of another size by far: cross-products have too few digits
			if rows.Len() != c.want || !errors.Is(err, model.ErrNeedRows) {
				t.Errorf("%+v: %d components from rows; from cross-products %v, expected that rows are asked for", c, rows.Len(), err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if rows.Len() != c.want || crossed.Len() != c.want {
			t.Errorf("%+v: %d components from rows, %d from cross-products", c, rows.Len(), crossed.Len())
		}
	}
}

// TestSameBits: fit A, then B, then A again; scores of a far-off unit do not
// matter when features are scaled.
func TestSameBits(t *testing.T) {
	a, b := latent(t, 30, 6, 11), latent(t, 25, 9, 12)
	x := append([]float64(nil), a.X()...)
	first, err := PLS{}.Fit(a)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (PLS{}).Fit(b); err != nil {
		t.Fatal(err)
	}
	again, err := PLS{}.Fit(a)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, again) || !reflect.DeepEqual(x, a.X()) {
		t.Error("the second fit differs, or the matrix was written to")
	}
	var other [][]float64
	for i := range a.N() {
		other = append(other, scaled(a.Row(i), 1024)) // exact in binary
	}
	path, err := PLS{}.Fit(matrix(t, other, a.Y()))
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.N() {
		if got, want := path.At(2).Predict(other[i]), first.At(2).Predict(a.Row(i)); got != want {
			t.Errorf("another unit: %v, expected %v", got, want)
		}
	}
}

// TestSolverAllocates nothing for another response.
func TestSolverAllocates(t *testing.T) {
	m := latent(t, 60, 10, 13)
	mo, err := model.NewMoments("test", m)
	if err != nil {
		t.Fatal(err)
	}
	s, err := PLS{}.Prepare(mo.X, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := make([]float64, 100)
	if n := testing.AllocsPerRun(20, func() { s.Solve(mo.Y, b) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// BenchmarkFit: W1, one fit of S 60×12 with 5 components, M 400×12 with 10, C
// 300×800 with 10, on rows and on cross-products.
func BenchmarkFit(b *testing.B) {
	for _, c := range []struct{ n, p, a int }{{60, 12, 5}, {400, 12, 10}, {300, 800, 10}} {
		m := latent(b, c.n, c.p, 1)
		f := PLS{Components: c.a}
		b.Run(fmt.Sprintf("rows %dx%d", c.n, c.p), func(b *testing.B) {
			for b.Loop() {
				if _, err := f.Fit(m); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// LeverageForm is LeverageAt.
func TestLeverageForm(t *testing.T) {
	s := design.Spec{Features: []string{"a", "b", "c"}, Response: "y"}
	for i := range 9 {
		s.X = append(s.X, []float64{float64(i), float64((i * 4) % 7), float64(i * i)})
		s.Y, s.Lots = append(s.Y, float64(3*i+i%2)), append(s.Lots, fmt.Sprint(i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	path, err := PLS{Components: 2}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	f := path.At(1).(*Model)
	x := []float64{11, -3, 40}
	h, centre, root := f.LeverageForm()
	for a := range root[0] {
		v := 0.0
		for j := range x {
			v += root[j][a] * (x[j] - centre[j])
		}
		h += v * v
	}
	if want := f.LeverageAt(x); math.Abs(h-want) > 1e-12*want {
		t.Errorf("%v, LeverageAt has %v", h, want)
	}
}
