package pls

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"flourcast/model"
)

// simpls is de Jong's algorithm (1993, Chemometrics and Intelligent Laboratory
// Systems 18:251) for one response, on copies: the covariance vector is deflated
// by the loadings made orthonormal, no matrix is. It returns the coefficients on z
// of 1…comps components.
func simpls(z [][]float64, y []float64, comps int) [][]float64 {
	n, p := len(z), len(z[0])
	s, b := make([]float64, p), make([]float64, p)
	for i, row := range z {
		for j, v := range row {
			s[j] += v * y[i]
		}
	}
	var basis, out [][]float64
	for range comps {
		r := append([]float64(nil), s...)
		t := make([]float64, n)
		tt := 0.0
		for i, row := range z {
			t[i] = dot(row, r)
			tt += t[i] * t[i]
		}
		norm, q := math.Sqrt(tt), 0.0
		load := make([]float64, p)
		for i, row := range z {
			t[i] /= norm
			q += t[i] * y[i]
			for j, v := range row {
				load[j] += v * t[i]
			}
		}
		for j := range b {
			b[j] += q * r[j] / norm
		}
		out = append(out, append([]float64(nil), b...))
		v := append([]float64(nil), load...)
		for range 2 { // orthogonalised twice, for digits
			for _, u := range basis {
				c := dot(u, v)
				for j := range v {
					v[j] -= c * u[j]
				}
			}
		}
		length := math.Sqrt(dot(v, v))
		for j := range v {
			v[j] /= length
		}
		basis = append(basis, v)
		c := dot(v, s)
		for j := range s {
			s[j] -= c * v[j]
		}
	}
	return out
}

// TestSIMPLS: with one response SIMPLS is the same model as the kernel algorithm,
// for every number of components.
func TestSIMPLS(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		// Many rows and features: with few, the last component follows what rounding left
		// of the covariance, and its coefficients have no more digits than that.
		n, p := rapid.IntRange(20, 40).Draw(rt, "rows"), rapid.IntRange(6, 50).Draw(rt, "features")
		m := latent(t, n, p, rapid.Uint64().Draw(rt, "seed"))
		scaling := rapid.SampledFrom([]model.Scaling{model.ScaleUnit, model.ScaleNone}).Draw(rt, "scaling")
		comps := min(p, n-2, 4)
		s, err := model.Standardise("test", m, scaling)
		if err != nil {
			rt.Fatal(err)
		}
		var z [][]float64
		for i := range n {
			z = append(z, s.Z[i*p:(i+1)*p])
		}
		want := simpls(z, s.Y, comps)
		path, err := PLS{Components: comps, Scaling: scaling}.Fit(m)
		if err != nil {
			rt.Fatal(err)
		}
		for a := range comps {
			got := path.At(a).Linear().Coefficients
			for j := range got {
				got[j] *= s.Scale[j]
			}
			if d := differ(got, want[a]); !(d <= 1e-8) {
				rt.Fatalf("%d components: coefficients differ by %.1g", a+1, d)
			}
		}
	})
}

// TestDistances: over the training rows T² sums to A(n − 1), as the scores' own
// variances make it, and Q to Σ Z² less what the components explain; the variances
// left sum to the mean Q; a row at the means has neither.
func TestDistances(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n, p := rapid.IntRange(10, 40).Draw(rt, "rows"), rapid.IntRange(3, 20).Draw(rt, "features")
		m := latent(t, n, p, rapid.Uint64().Draw(rt, "seed"))
		path, err := PLS{Components: 2}.Fit(m)
		if err != nil {
			rt.Fatal(err)
		}
		f := path.At(path.Len() - 1).(*Model)
		t2, q, mean := 0.0, 0.0, make([]float64, p)
		for i := range n {
			t2 += f.T2(m.Row(i))
			q += f.Q(m.Row(i))
			for j, v := range m.Row(i) {
				mean[j] += v / float64(n)
			}
		}
		explained := 0.0
		for _, v := range f.XExplained() {
			explained += v
		}
		total := float64(p * (n - 1)) // Σ Z² of autoscaled features
		left, ok := f.ResidualVariances(m)
		sum := 0.0
		for _, v := range left {
			sum += v
		}
		if a := float64(f.Components()); math.Abs(t2-a*float64(n-1)) > 1e-7*t2 || math.Abs(q-(1-explained)*total) > 1e-8*total || !ok || math.Abs(sum*float64(n-1)-q) > 1e-8*total {
			rt.Fatalf("T² sums to %v, Q to %v of %v (explained %v), variances left to %v", t2, q, total, explained, sum)
		}
		if f.T2(mean) > 1e-15 || f.Q(mean) > 1e-15 {
			rt.Fatalf("at the means T² %v, Q %v", f.T2(mean), f.Q(mean))
		}
	})
}
