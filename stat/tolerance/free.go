package tolerance

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// FreeLimits suppose no distribution: they are figures of the sample.
type FreeLimits struct {
	Limits
	// Rank counts from the nearest end: 1 is the smallest and the largest figure.
	Rank int
	// Confidence is what these limits reach, at least what was asked for.
	Confidence float64
}

// Free are the innermost limits out of the sample, as many figures left outside
// on either side, that hold share of any continuous population with the
// confidence (Wilks 1941, Ann Math Stat 12:91). With r figures outside or on each
// limit and m = 2r (one limit: m = r), the confidence is that a binomial of n
// figures, each outside the share with probability 1 − share, reaches m. ok is
// false where even the whole sample does not suffice: see Needs. It returns a
// *ValueError as Factor does, and for figures that are not finite.
func Free(figures []float64, share, confidence float64, sides Sides) (l FreeLimits, ok bool, err error) {
	n := len(figures)
	if err := check(n, 1, share, confidence); err != nil {
		return FreeLimits{}, false, err
	}
	for _, v := range figures {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return FreeLimits{}, false, &ValueError{"figures", fmt.Sprint(v), "finite figures"}
		}
	}
	sorted := slices.Clone(figures)
	slices.Sort(sorted)
	ends := 2
	if sides != Both {
		ends = 1
	}
	for r := 1; ends*r <= n; r++ {
		c := freeConfidence(n, ends*r, share)
		if c < confidence {
			break
		}
		l, ok = FreeLimits{Rank: r, Confidence: c}, true
		if sides != Upper {
			l.Low = &sorted[r-1]
		}
		if sides != Lower {
			l.High = &sorted[n-r]
		}
	}
	return l, ok, nil
}

// freeConfidence is P(B ≥ m) for B binomial of n and 1 − share, that is
// P(coverage > share) when m figures lie on or outside the limits.
func freeConfidence(n, m int, share float64) float64 {
	return 1 - distuv.Binomial{N: float64(n), P: 1 - share}.CDF(float64(m-1))
}

// Needs is the smallest sample whose whole range holds share with the confidence:
// 93 for two limits at 95 % and 95 %, 59 for one. It returns a *ValueError for
// share or confidence outside (0, 1), or so near 1 that a million do not suffice.
func Needs(share, confidence float64, sides Sides) (int, error) {
	if err := check(1, 1, share, confidence); err != nil {
		return 0, err
	}
	ends := 2
	if sides != Both {
		ends = 1
	}
	const most = 1_000_000
	low, high := ends-1, ends // high suffices, low does not
	for freeConfidence(high, ends, share) < confidence {
		if low, high = high, 2*high; high > most {
			return 0, &ValueError{"share", fmt.Sprint(share), "a share that a million figures can show"}
		}
	}
	for high-low > 1 {
		if half := (low + high) / 2; freeConfidence(half, ends, share) < confidence {
			low = half
		} else {
			high = half
		}
	}
	return high, nil
}

// AndersonDarling is A*² = A²·(1 + 0.75/n + 2.25/n²) of figures against the normal
// distribution with their own mean and SD; doubtful says that it is above 0.752,
// the 5 % point (D'Agostino & Stephens 1986, Goodness-of-Fit Techniques, table 4.7,
// from memory). It returns a *ValueError below 8 figures, for figures that are not
// finite or do not differ.
func AndersonDarling(figures []float64) (a2 float64, doubtful bool, err error) {
	n := len(figures)
	if n < 8 {
		return 0, false, &ValueError{"figures", fmt.Sprint(n), "8 or more"}
	}
	mean, sd, err := Moments(figures)
	if err != nil {
		return 0, false, err
	}
	sorted := slices.Clone(figures)
	slices.Sort(sorted)
	below := func(v float64) float64 { return 0.5 * math.Erfc(-(v-mean)/sd/math.Sqrt2) }
	above := func(v float64) float64 { return 0.5 * math.Erfc((v-mean)/sd/math.Sqrt2) }
	sum := 0.0
	for i := range sorted {
		sum += float64(2*i+1) * (math.Log(below(sorted[i])) + math.Log(above(sorted[n-1-i])))
	}
	size := float64(n)
	a2 = (-size - sum/size) * (1 + 0.75/size + 2.25/(size*size))
	return a2, a2 > 0.752, nil
}
