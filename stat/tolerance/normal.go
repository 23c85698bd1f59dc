// Package tolerance gives limits that hold a wanted share of a population with a
// wanted confidence, from a sample of it.
//
//  1. Factor is k of mean ± k·s for normal figures, two limits or one.
//  2. Free gives limits that are figures of the sample, whatever the distribution,
//     and Needs says how many figures that takes.
//  3. AndersonDarling asks whether figures may be taken for normal.
//
// It refuses shares and confidences outside (0, 1), samples of one, and figures
// that are not finite or do not differ. It knows no flour.
package tolerance

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// ValueError says which figure cannot be used, what it was, and what was expected.
type ValueError struct{ Part, Found, Want string }

func (e *ValueError) Error() string {
	return fmt.Sprintf("tolerance: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}

// Sides that limits may have.
type Sides int

// Both limits, or one of them.
const (
	Both Sides = iota
	Lower
	Upper
)

func check(n, least int, share, confidence float64) error {
	switch {
	case n < least:
		return &ValueError{"figures", fmt.Sprint(n), fmt.Sprintf("%d or more", least)}
	case !(share > 0 && share < 1):
		return &ValueError{"share", fmt.Sprint(share), "between 0 and 1, such as 0.95"}
	case !(confidence > 0 && confidence < 1):
		return &ValueError{"confidence", fmt.Sprint(confidence), "between 0 and 1, such as 0.95"}
	}
	return nil
}

const nodes = 80 // of the Gauss–Legendre rules; twice as many change no printed digit

// Factor is k such that mean ± k·s (or the one limit mean + k·s or mean − k·s) of n
// normal figures holds at least share of the population with the confidence. It is
// exact: two limits after Odeh & Owen 1980,
//
//	∫ P(χ²_{n−1} > (n − 1)·r(z)²/k²)·φ(z; 0, 1/n) dz = confidence
//	r: Φ(z + r) − Φ(z − r) = share
//
// one limit by the noncentral t distribution, k = t_{n−1}(confidence; z_share·√n)/√n
// (ISO 16269-6:2014). It returns a *ValueError for n below 2, for share or confidence
// outside (0, 1), and for one limit with so little confidence that it would lie on
// the near side of the mean.
func Factor(n int, share, confidence float64, sides Sides) (float64, error) {
	if err := check(n, 2, share, confidence); err != nil {
		return 0, err
	}
	reached := reachedByBoth(n, share)
	if sides != Both {
		reached = reachedByOne(n, share)
	}
	low, high := 0.0, 1.0
	if reached(0) > confidence {
		return 0, &ValueError{"confidence", fmt.Sprint(confidence), "more than the sample's mean alone gives"}
	}
	for reached(high) < confidence {
		low, high = high, 2*high
		if high > 1e12 {
			return 0, &ValueError{"confidence", fmt.Sprint(confidence), fmt.Sprintf("less than that, with %d figures", n)}
		}
	}
	for high-low > 1e-10*math.Abs(high) {
		half := low + (high-low)/2
		if half <= low || half >= high {
			break
		}
		if reached(half) < confidence {
			low = half
		} else {
			high = half
		}
	}
	return high, nil
}

// reachedByBoth is the confidence that mean ± k·s holds the share.
func reachedByBoth(n int, share float64) func(k float64) float64 {
	df, root := float64(n-1), math.Sqrt(float64(n))
	chi := distuv.ChiSquared{K: df}
	var at, weight [nodes]float64
	quad.Legendre{}.FixedLocations(at[:], weight[:], 0, 8.5/root) // 8.5 SDs of the mean
	var r2 [nodes]float64
	for i, z := range at {
		r := reach(z, share)
		r2[i] = r * r
		weight[i] *= 2 * root * distuv.UnitNormal.Prob(z*root)
	}
	return func(k float64) float64 {
		if k == 0 {
			return 0
		}
		sum := 0.0
		for i := range at {
			sum += weight[i] * chi.Survival(df*r2[i]/(k*k))
		}
		return sum
	}
}

// reach is r with Φ(z + r) − Φ(z − r) = share.
func reach(z, share float64) float64 {
	low, high := 0.0, z+9
	for range 100 {
		half := low + (high-low)/2
		if distuv.UnitNormal.CDF(z+half)-distuv.UnitNormal.CDF(z-half) < share {
			low = half
		} else {
			high = half
		}
	}
	return high
}

// reachedByOne is the confidence that mean + k·s, k ≥ 0, lies above the share
// quantile q: the mean of P(s ≥ (q − z)/k) over the sample's mean z, which is the
// distribution of noncentral t.
func reachedByOne(n int, share float64) func(k float64) float64 {
	df, root := float64(n-1), math.Sqrt(float64(n))
	q := distuv.UnitNormal.Quantile(share)
	chi := distuv.ChiSquared{K: df}
	low, high := -8.5/root, min(q, 8.5/root)
	above := 0.5 * math.Erfc(q*root/math.Sqrt2) // means beyond q
	var at, weight [nodes]float64
	if low < high {
		quad.Legendre{}.FixedLocations(at[:], weight[:], low, high)
	}
	for i, z := range at {
		weight[i] *= root * distuv.UnitNormal.Prob(z*root)
	}
	return func(k float64) float64 {
		if k == 0 {
			return above
		}
		sum := above
		for i, z := range at {
			need := (q - z) / k
			sum += weight[i] * chi.Survival(df*need*need)
		}
		return sum
	}
}

// Limits are the ends of a range; nil on an open side.
type Limits struct{ Low, High *float64 }

// Moments are mean and SD (n − 1) of figures. It returns a *ValueError for figures
// that are not finite or do not differ.
func Moments(figures []float64) (mean, sd float64, err error) {
	for _, v := range figures {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, 0, &ValueError{"figures", fmt.Sprint(v), "finite figures"}
		}
	}
	mean, sd = stat.MeanStdDev(figures, nil)
	if !(sd > 0) || math.IsInf(sd, 0) {
		return 0, 0, &ValueError{"figures", fmt.Sprintf("%d that do not differ", len(figures)), "figures that differ"}
	}
	return mean, sd, nil
}
