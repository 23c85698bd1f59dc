// Package precision says how well a measurement repeats, from replicates.
//
//  1. A group is what was measured several times under the same conditions: the
//     replicates of one lot, or the results of one laboratory.
//  2. Repeatability pools the spread within groups.
//  3. OneWay splits the spread into within and between groups.
//  4. Cochran, Grubbs and GrubbsPair name the groups and figures that are unlike the
//     others, with the probability; none is ever left out for it.
//
// It refuses to give a spread where there are no replicates: the answer then is
// an error, never 0. It knows nothing of flour.
package precision

import (
	"fmt"
	"math"
)

// TooFewError says what lacks for an estimate.
type TooFewError struct{ What, Found, Want string }

func (e *TooFewError) Error() string {
	return fmt.Sprintf("precision: %s: found %s, expected %s", e.What, e.Found, e.Want)
}

// limitFactor is the factor between a standard deviation and the difference of
// two results that is exceeded in 5 % of cases: ISO 5725-6 rounds 1.96·√2 to 2.8.
const limitFactor = 2.8

// Repeatable is the spread of replicates within groups.
type Repeatable struct {
	SD    float64 // s_r, in the unit of the measurement
	DF    int     // degrees of freedom: Σ (n_i − 1)
	Mean  float64 // mean of the group means
	Limit float64 // r = 2.8·s_r: two results differ by more in 5 % of cases
}

// CV returns 100·s_r/mean, %; ok is false where the mean is 0.
func (r Repeatable) CV() (percent float64, ok bool) {
	if r.Mean == 0 {
		return 0, false
	}
	return 100 * r.SD / math.Abs(r.Mean), true
}

// Repeatability pools the variance within groups of unequal size:
//
//	s_r² = Σ (n_i − 1)·s_i² / Σ (n_i − 1)
//
// (ISO 5725-2, repeatability; from memory). Groups of one replicate count for
// the mean and not for the spread. It returns a *TooFewError when no group has
// two replicates or there is a figure that is not finite.
func Repeatability(groups [][]float64) (Repeatable, error) {
	var r Repeatable
	ss, means := 0.0, 0
	for i, g := range groups {
		if len(g) == 0 {
			continue
		}
		m, s, err := meanSS(g)
		if err != nil {
			return Repeatable{}, &TooFewError{fmt.Sprint("group ", i+1), err.Error(), "finite figures"}
		}
		ss += s
		r.DF += len(g) - 1
		r.Mean += m
		means++
	}
	if r.DF == 0 {
		return Repeatable{}, &TooFewError{"replicates", "no group with two or more", "at least one"}
	}
	r.Mean /= float64(means)
	r.SD = math.Sqrt(ss / float64(r.DF))
	r.Limit = limitFactor * r.SD
	return r, nil
}

// Pooled is Repeatability from summaries: groups of n_i replicates with the
// standard deviation sd_i (n − 1) each, as a table carries them. Groups with
// n_i < 2 are passed over. Only SD, DF and Limit are set.
func Pooled(n []int, sd []float64) (Repeatable, error) {
	if len(n) != len(sd) {
		panic(fmt.Sprintf("precision: Pooled of %d counts and %d SDs", len(n), len(sd)))
	}
	var r Repeatable
	ss := 0.0
	for i, k := range n {
		if k < 2 {
			continue
		}
		if !(sd[i] >= 0) || math.IsInf(sd[i], 0) {
			return Repeatable{}, &TooFewError{fmt.Sprint("SD of group ", i+1), fmt.Sprint(sd[i]), "a finite number from 0"}
		}
		ss += float64(k-1) * sd[i] * sd[i]
		r.DF += k - 1
	}
	if r.DF == 0 {
		return Repeatable{}, &TooFewError{"replicates", "no group with two or more", "at least one"}
	}
	r.SD = math.Sqrt(ss / float64(r.DF))
	r.Limit = limitFactor * r.SD
	return r, nil
}

// Components is a one-way analysis of equally sized groups.
type Components struct {
	Mean         float64
	WithinMS     float64 // mean square within groups = s_r²
	BetweenMS    float64 // mean square between groups
	BetweenVar   float64 // s_L² = (BetweenMS − WithinMS)/n, as estimated: may be negative
	RepeatSD     float64 // s_r
	ReproduceSD  float64 // s_R = √(s_r² + max(0, s_L²))
	RepeatLimit  float64 // r = 2.8·s_r
	BetweenLimit float64 // R = 2.8·s_R
}

// OneWay splits the variance of k groups of n replicates each into within and
// between groups by the analysis of variance (ISO 5725-2; from memory). It
// returns a *TooFewError for fewer than two groups, fewer than two replicates,
// groups of unequal size, or a figure that is not finite.
func OneWay(groups [][]float64) (Components, error) {
	k := len(groups)
	if k < 2 {
		return Components{}, &TooFewError{"groups", fmt.Sprint(k), "two or more"}
	}
	n := len(groups[0])
	if n < 2 {
		return Components{}, &TooFewError{"replicates in group 1", fmt.Sprint(n), "two or more"}
	}
	means := make([]float64, k)
	within := 0.0
	for i, g := range groups {
		if len(g) != n {
			return Components{}, &TooFewError{fmt.Sprint("replicates in group ", i+1), fmt.Sprint(len(g)), fmt.Sprint(n, " as in group 1")}
		}
		m, ss, err := meanSS(g)
		if err != nil {
			return Components{}, &TooFewError{fmt.Sprint("group ", i+1), err.Error(), "finite figures"}
		}
		means[i] = m
		within += ss
	}
	grand, between, err := meanSS(means)
	if err != nil {
		return Components{}, &TooFewError{"group means", err.Error(), "finite figures"}
	}
	c := Components{Mean: grand, WithinMS: within / float64(k*(n-1)), BetweenMS: float64(n) * between / float64(k-1)}
	c.BetweenVar = (c.BetweenMS - c.WithinMS) / float64(n)
	c.RepeatSD = math.Sqrt(c.WithinMS)
	c.ReproduceSD = math.Sqrt(c.WithinMS + max(0, c.BetweenVar))
	c.RepeatLimit, c.BetweenLimit = limitFactor*c.RepeatSD, limitFactor*c.ReproduceSD
	return c, nil
}

// meanSS is the mean and the sum of squares about it, in two passes.
func meanSS(v []float64) (mean, ss float64, err error) {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return 0, 0, fmt.Errorf("%v", x)
		}
		mean += x / float64(len(v))
	}
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	return mean, ss, nil
}
