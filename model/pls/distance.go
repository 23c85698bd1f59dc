package pls

import (
	"gonum.org/v1/gonum/mat"

	"flourcast/model/design"
)

// T2 is Hotelling's T² of a row in original units on the model's components,
//
//	T² = Σ t_a²/s_a²,  s_a² = t_aᵀt_a/(n − 1)
//
// with the scores of the n training rows: how far out a row lies in the ways in
// which training rows differed. It panics when len(x) is not p.
func (m *Model) T2(x []float64) float64 {
	sum := 0.0
	for a, t := range m.Scores(x) {
		sum += t * t / m.path.components[a].tt
	}
	return sum * float64(m.path.rows-1)
}

// Q is the squared distance of a row from the model's plane in centred, scaled
// units, Σ_j (z_j − Σ_a t_a·p_ja)²: what of it no component describes. It panics
// when len(x) is not p.
func (m *Model) Q(x []float64) float64 {
	e := m.residual(x)
	return dot(e, e)
}

func (m *Model) residual(x []float64) []float64 {
	t := m.Scores(x)
	e := make([]float64, len(x))
	for j, v := range x {
		e[j] = (v - m.path.xMean[j]) / m.path.scale[j]
		for a := range t {
			e[j] -= t[a] * m.path.components[a].p[j]
		}
	}
	return e
}

// ResidualVariances are the variances of the principal components of what the
// model leaves of the training matrix: the squared singular values of its
// residuals over n − 1, largest first. Limits of Q are made from them. ok is false
// when they cannot be computed.
func (m *Model) ResidualVariances(training *design.Matrix) (variances []float64, ok bool) {
	n := training.N()
	e := mat.NewDense(n, training.P(), nil)
	for i := range n {
		e.SetRow(i, m.residual(training.Row(i)))
	}
	var svd mat.SVD
	if n < 2 || !svd.Factorize(e, mat.SVDNone) {
		return nil, false
	}
	for _, s := range svd.Values(nil) {
		variances = append(variances, s*s/float64(n-1))
	}
	return variances, true
}
