package domain

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// axes are the principal components of autoscaled lots: every component of
// positive variance, largest first.
type axes struct {
	mean, sd    []float64
	loadings    [][]float64
	eigenvalues []float64
	total       float64 // variance, the number of features that vary
}

var errExtreme = errors.New("domain: the features cannot be decomposed into components; look for extreme figures among them")

// components decomposes x (n lots × p features) by the singular values of the
// autoscaled matrix, λ = s²/(n − 1). Directions in which lots differ by less than
// 1e-6 SD are rounding and are dropped. The largest |loading| of each component
// is positive.
func components(x [][]float64) (axes, error) {
	n, p := len(x), len(x[0])
	a := axes{mean: make([]float64, p), sd: make([]float64, p)}
	z := mat.NewDense(n, max(p, 1), nil)
	for j := range p {
		for i := range x {
			a.mean[j] += (x[i][j] - a.mean[j]) / float64(i+1)
		}
		largest := 0.0 // deviation; scales the sum of squares so that it cannot overflow
		for i := range x {
			largest = max(largest, math.Abs(x[i][j]-a.mean[j]))
		}
		if largest <= 1e-12*math.Abs(a.mean[j]) {
			continue
		}
		if math.IsInf(largest, 0) || math.IsNaN(largest) {
			return a, errExtreme
		}
		for i := range x {
			u := (x[i][j] - a.mean[j]) / largest
			a.sd[j] += u * u
		}
		a.sd[j] = largest * math.Sqrt(a.sd[j]/float64(n-1))
		for i := range x {
			z.Set(i, j, (x[i][j]-a.mean[j])/a.sd[j])
		}
		a.total++
	}
	if a.total == 0 {
		return a, nil
	}
	var svd mat.SVD
	if !svd.Factorize(z, mat.SVDThin) {
		return a, errExtreme
	}
	var v mat.Dense
	svd.VTo(&v)
	for k, s := range svd.Values(nil) {
		lambda := s * s / float64(n-1)
		if lambda < least {
			break
		}
		axis := mat.Col(nil, k, &v)
		top := 0
		for j := range axis {
			if math.Abs(axis[j]) > math.Abs(axis[top]) {
				top = j
			}
		}
		if axis[top] < 0 {
			for j := range axis {
				axis[j] = -axis[j]
			}
		}
		a.loadings, a.eigenvalues = append(a.loadings, axis), append(a.eigenvalues, lambda)
	}
	return a, nil
}

// keep is how many components describe n lots: enough for 95 % of the variance,
// at most one per six lots, at least one if anything varies.
func (a axes) keep(n int) int {
	sum := 0.0
	for k, lambda := range a.eigenvalues {
		if sum >= keepShare*a.total || (k > 0 && (k+1)*lotsPerAxis > n) {
			return k
		}
		sum += lambda
	}
	return len(a.eigenvalues)
}

// leftOutRatio is how much larger Q is, on average, for a lot that the
// components have not seen than for one that they have: each lot is left out in
// turn. Few lots describe their own residuals too well, and a limit from them
// would call good new lots outside. Above 200 lots the ratio is taken as 1.
func leftOutRatio(x [][]float64, a int, full axes) (float64, error) {
	seen := 0.0
	for _, lambda := range full.eigenvalues[a:] {
		seen += lambda
	}
	if seen < 1e-9 || len(x) > 200 || len(x) < 5 {
		return 1, nil
	}
	sum := 0.0
	for i := range x {
		rest := make([][]float64, 0, len(x)-1)
		rest = append(append(rest, x[:i]...), x[i+1:]...)
		b, err := components(rest)
		if err != nil {
			return 0, err
		}
		for j, v := range x[i] {
			if b.sd[j] == 0 {
				continue
			}
			z := (v - b.mean[j]) / b.sd[j]
			e := z
			for k := range min(a, len(b.loadings)) {
				t := 0.0
				for l, w := range b.loadings[k] {
					if b.sd[l] > 0 {
						t += w * (x[i][l] - b.mean[l]) / b.sd[l]
					}
				}
				e -= t * b.loadings[k][j]
			}
			sum += e * e
		}
	}
	return max(1, sum/float64(len(x))/seen), nil
}

// T2Limit is the limit of Hotelling's T² for a new lot after n calibration lots
// and a components, exceeded by chance in 1 − level of lots:
//
//	A(n² − 1)/[n(n − A)]·F_level(A, n − A)
//
// It is 0 without components. Source: Tracy, Young & Mason 1992, J Qual Technol
// 24:88 (from memory).
func T2Limit(n, a int, level float64) float64 {
	if a == 0 || n <= a {
		return 0
	}
	fn, fa := float64(n), float64(a)
	f := distuv.F{D1: fa, D2: fn - fa}.Quantile(level)
	return fa * (fn*fn - 1) / (fn * (fn - fa)) * f
}

// T2LimitSeen is the limit of Hotelling's T² of one of the n calibration lots
// themselves, whose scores made the variances:
//
//	(n − 1)²/n·Beta_level(A/2, (n − A − 1)/2)
//
// It is 0 without components or without lots beyond them. Source: Tracy, Young &
// Mason 1992, as above (from memory).
func T2LimitSeen(n, a int, level float64) float64 {
	if a == 0 || n <= a+1 {
		return 0
	}
	fn := float64(n)
	return (fn - 1) * (fn - 1) / fn * distuv.Beta{Alpha: float64(a) / 2, Beta: (fn - float64(a) - 1) / 2}.Quantile(level)
}

// QLimit is the limit of the Q residual from the variances of the components
// left out, with θ_k = Σλ^k and h₀ = 1 − 2θ₁θ₃/(3θ₂²):
//
//	Q = θ₁·[z√(2θ₂h₀²)/θ₁ + 1 + θ₂h₀(h₀ − 1)/θ₁²]^(1/h₀)
//
// Jackson & Mudholkar 1979, Technometrics 21:341. Where h₀ ≤ 0 it is Box's
// gχ²_h with g = θ₂/θ₁, h = θ₁²/θ₂ (Box 1954, Ann Math Stat 25:290, from
// memory). It is 0 when nothing was left out.
func QLimit(left []float64, level float64) float64 {
	var t1, t2, t3 float64
	for _, l := range left {
		t1, t2, t3 = t1+l, t2+l*l, t3+l*l*l
	}
	if t1 <= 0 || t2 <= 0 {
		return 0
	}
	h0 := 1 - 2*t1*t3/(3*t2*t2)
	if h0 <= 1e-3 {
		return boxLimit(t1, t2, level)
	}
	z := distuv.UnitNormal.Quantile(level)
	base := z*math.Sqrt(2*t2*h0*h0)/t1 + 1 + t2*h0*(h0-1)/(t1*t1)
	return t1 * math.Pow(base, 1/h0)
}

func boxLimit(t1, t2, level float64) float64 {
	return t2 / t1 * distuv.ChiSquared{K: t1 * t1 / t2}.Quantile(level)
}
