package precision

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Standing of a suspect, by the two levels of ISO 5725-2 (from memory).
const (
	Straggler = "straggler" // probability above 1 % and up to 5 %
	Outlier   = "outlier"   // probability up to 1 %
)

// standing names what a probability makes of a suspect; "" if it makes nothing.
func standing(p float64) string {
	switch {
	case p <= 0.01:
		return Outlier
	case p <= 0.05:
		return Straggler
	}
	return ""
}

// Suspect is what an outlier test found. Index (and, for a pair, Also) are the
// group or figure most unlike the others; P is the probability that chance alone
// makes any as extreme, at most (a Bonferroni bound that is all but exact where it is
// small). Standing is "" where P is above 5 %: nobody is suspected then.
// Nothing is left out of any figure: to suspect is all that a test does.
type Suspect struct {
	Index, Also int // Also is −1 unless a pair is suspected
	Statistic   float64
	P           float64
	Standing    string
}

// Cochran tests whether one group spreads more than the others. sd are the SDs of
// groups of n figures each; groups of fewer than two are passed over. Statistic is
// C = (n_i − 1)·sd_i² / Σ (n − 1)·sd², which for groups of one size is Cochran's
// sd_max²/Σ sd². The probability is that of
//
//	F = sd_i² / (pooled variance of the other groups)
//
// times the number of groups: for groups of one size exactly the way in which
// Cochran's critical values are had (Cochran 1941, Ann Eugen 11:47-52; ISO 5725-2
// tables it; both from memory), and it holds for unequal sizes too. The group of the
// smallest probability is returned. It returns a *TooFewError for fewer than two
// groups with a spread, and for an SD that is negative or not finite.
func Cochran(n []int, sd []float64) (Suspect, error) {
	pooled, err := Pooled(n, sd)
	if err != nil {
		return Suspect{}, err
	}
	groups, total := 0, 0.0
	for i, k := range n {
		if k > 1 {
			groups++
			total += float64(k-1) * sd[i] * sd[i]
		}
	}
	if groups < 2 {
		return Suspect{}, &TooFewError{"groups with replicates", fmt.Sprint(groups), "two or more"}
	}
	best := Suspect{Index: -1, Also: -1, P: 1}
	for i, k := range n {
		if k < 2 {
			continue
		}
		ss, df := float64(k-1)*sd[i]*sd[i], float64(k-1)
		p, c := 1.0, 0.0
		if total > 0 {
			rest := max(0, total-ss)
			if p = 0; rest > 0 { // else no other group spreads at all
				f := ss / df / (rest / (float64(pooled.DF) - df))
				p = min(1, float64(groups)*distuv.F{D1: df, D2: float64(pooled.DF) - df}.Survival(f))
			}
			c = ss / total
		}
		if best.Index < 0 || p < best.P || p == best.P && c > best.Statistic {
			best = Suspect{Index: i, Also: -1, Statistic: c, P: p}
		}
	}
	best.Standing = standing(best.P)
	return best, nil
}

// CochranCritical is the C that chance exceeds with probability alpha among
// groups of n figures each:
//
//	C = 1 / (1 + (groups − 1)/F),  F the upper alpha/groups point of F(n − 1, (groups − 1)(n − 1))
//
// It panics unless groups and n are 2 or more and 0 < alpha < 1.
func CochranCritical(alpha float64, groups, n int) float64 {
	if groups < 2 || n < 2 || !(alpha > 0 && alpha < 1) {
		panic(fmt.Sprintf("precision: CochranCritical(%v, %d groups, n %d)", alpha, groups, n))
	}
	d1 := float64(n - 1)
	f := distuv.F{D1: d1, D2: float64(groups-1) * d1}.Quantile(1 - alpha/float64(groups))
	return 1 / (1 + float64(groups-1)/f)
}

// Grubbs tests whether one figure stands apart from the others at either end.
// Statistic is G = |x − x̄|/s, the probability that of
//
//	t² = n(n − 2)G² / ((n − 1)² − nG²)  by Student's t with n − 2 degrees of freedom
//
// times 2n (Grubbs 1950, Ann Math Stat 21:27-58; NIST/SEMATECH handbook
// 1.3.5.17.1). Where all figures are equal nobody is suspected. It returns a
// *TooFewError for fewer than three figures, or one that is not finite.
func Grubbs(x []float64) (Suspect, error) {
	n := float64(len(x))
	mean, ss, err := checked(x, 3)
	if err != nil {
		return Suspect{}, err
	}
	out := Suspect{Also: -1, P: 1}
	for i := range x {
		if math.Abs(x[i]-mean) > math.Abs(x[out.Index]-mean) {
			out.Index = i
		}
	}
	if ss == 0 {
		return out, nil
	}
	out.Statistic = math.Abs(x[out.Index]-mean) / math.Sqrt(ss/(n-1))
	g2 := out.Statistic * out.Statistic
	t := math.Inf(1) // the other figures are all equal
	if rest := (n-1)*(n-1) - n*g2; rest > 0 {
		t = math.Sqrt(n * (n - 2) * g2 / rest)
	}
	out.P = min(1, 2*n*distuv.StudentsT{Sigma: 1, Nu: n - 2}.Survival(t))
	out.Standing = standing(out.P)
	return out, nil
}

// GrubbsCritical is the G that chance exceeds with probability alpha, at either
// end, among n figures. It panics unless n is 3 or more and 0 < alpha < 1.
func GrubbsCritical(alpha float64, n int) float64 {
	if n < 3 || !(alpha > 0 && alpha < 1) {
		panic(fmt.Sprintf("precision: GrubbsCritical(%v, %d)", alpha, n))
	}
	k := float64(n)
	t := distuv.StudentsT{Sigma: 1, Nu: k - 2}.Quantile(1 - alpha/(2*k))
	return (k - 1) / math.Sqrt(k) * math.Sqrt(t*t/(k-2+t*t))
}

// GrubbsPair tests whether the two highest, or the two lowest, figures stand
// apart: together they may hide each other from Grubbs. Statistic is
// Λ = SS without the pair / SS of all. For any two figures named beforehand
// P(Λ < c) = c^((n−3)/2); a pair on one side is the share
// (2/π)·atan √(n/(n−2)) of that, and there are n(n−1)/2 pairs. The product bounds
// the probability from above; it is within two points of the published percentages
// that were had by simulation. It returns a *TooFewError for fewer than four
// figures, or one that is not finite.
func GrubbsPair(x []float64) (Suspect, error) {
	_, total, err := checked(x, 4)
	if err != nil {
		return Suspect{}, err
	}
	n := len(x)
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return 0
	})
	without := func(rest []int) float64 {
		v := make([]float64, len(rest))
		for i, k := range rest {
			v[i] = x[k]
		}
		_, ss, _ := meanSS(v) // finite, as all of x is
		return ss
	}
	out := Suspect{Index: order[n-1], Also: order[n-2], P: 1, Statistic: 1}
	if total == 0 {
		return out, nil
	}
	out.Statistic = without(order[:n-2]) / total
	if low := without(order[2:]) / total; low < out.Statistic {
		out.Index, out.Also, out.Statistic = order[0], order[1], low
	}
	k := float64(n)
	out.P = min(1, pairs(k)*math.Pow(out.Statistic, (k-3)/2))
	out.Standing = standing(out.P)
	return out, nil
}

// GrubbsPairCritical is the Λ below which chance comes with probability alpha at
// most, at either end. It panics unless n is 4 or more and 0 < alpha < 1.
func GrubbsPairCritical(alpha float64, n int) float64 {
	if n < 4 || !(alpha > 0 && alpha < 1) {
		panic(fmt.Sprintf("precision: GrubbsPairCritical(%v, %d)", alpha, n))
	}
	k := float64(n)
	return min(1, math.Pow(alpha/pairs(k), 2/(k-3)))
}

// pairs is how many independent pairs on one side n figures are worth.
func pairs(n float64) float64 {
	return n * (n - 1) / 2 * 2 / math.Pi * math.Atan(math.Sqrt(n/(n-2)))
}

// rounds is how many suspects a repeated test may name: a third of what it tests.
// Beyond, it is the spread itself that is not of one kind.
func rounds(n int) int { return n / 3 }

// Spreads repeats Cochran without the suspects found so far, until none is found or
// a third of the groups are. Indices are those of n and sd. It returns nil where
// Cochran cannot test.
func Spreads(n []int, sd []float64) []Suspect {
	left := slices.Clone(n)
	groups := 0
	for _, k := range n {
		if k > 1 {
			groups++
		}
	}
	var out []Suspect
	for range rounds(groups) {
		s, err := Cochran(left, sd)
		if err != nil || s.Standing == "" {
			break
		}
		out = append(out, s)
		left[s.Index] = 0 // out of the test, and of nothing else
	}
	return out
}

// Apart repeats Grubbs without the suspects found so far, until none is found or a
// third of the figures are. Where the first finds none, GrubbsPair is asked. Indices
// are those of x. It returns nil where Grubbs cannot test.
func Apart(x []float64) []Suspect {
	at := make([]int, len(x))
	for i := range at {
		at[i] = i
	}
	left := slices.Clone(x)
	var out []Suspect
	for range rounds(len(x)) {
		s, err := Grubbs(left)
		if err != nil || s.Standing == "" {
			break
		}
		k := s.Index
		s.Index = at[k]
		out = append(out, s)
		left, at = slices.Delete(left, k, k+1), slices.Delete(at, k, k+1)
	}
	if len(out) > 0 {
		return out
	}
	if s, err := GrubbsPair(x); err == nil && s.Standing != "" {
		return []Suspect{s}
	}
	return nil
}

// Between is the SD between groups, from their means of n_i figures each and the
// repeatability SD:
//
//	s_L² = s²(means) − s_r²·mean(1/n_i),  0 where it comes out negative
//
// For groups of one size it is the s_L of OneWay. It returns a *TooFewError for fewer
// than two groups, a group without figures, or a mean that is not finite. It panics
// on slices of unequal length.
func Between(means []float64, n []int, repeatSD float64) (float64, error) {
	if len(means) != len(n) {
		panic(fmt.Sprintf("precision: Between of %d means and %d counts", len(means), len(n)))
	}
	_, ss, err := checked(means, 2)
	if err != nil {
		return 0, err
	}
	inverse := 0.0
	for i, k := range n {
		if k < 1 {
			return 0, &TooFewError{fmt.Sprint("figures of group ", i+1), fmt.Sprint(k), "one or more"}
		}
		inverse += 1 / float64(k) / float64(len(n))
	}
	return math.Sqrt(max(0, ss/float64(len(means)-1)-repeatSD*repeatSD*inverse)), nil
}

func checked(x []float64, least int) (mean, ss float64, err error) {
	if len(x) < least {
		return 0, 0, &TooFewError{"figures", fmt.Sprint(len(x)), fmt.Sprint(least, " or more")}
	}
	if mean, ss, err = meanSS(x); err != nil {
		return 0, 0, &TooFewError{"figures", err.Error(), "finite figures"}
	}
	return mean, ss, nil
}

// Interval is the confidence interval of s_r at a level such as 0.95, by the χ²
// distribution with r.DF degrees of freedom:
//
//	s_r·√(DF/χ²_upper) … s_r·√(DF/χ²_lower)
//
// (NIST/SEMATECH handbook 7.2.3.1; from memory). It panics without degrees of
// freedom, or for a level outside 0 … 1.
func (r Repeatable) Interval(level float64) (low, high float64) {
	if r.DF < 1 || !(level > 0 && level < 1) {
		panic(fmt.Sprintf("precision: Interval(%v) of %d degrees of freedom", level, r.DF))
	}
	df := float64(r.DF)
	chi := distuv.ChiSquared{K: df}
	return r.SD * math.Sqrt(df/chi.Quantile((1+level)/2)), r.SD * math.Sqrt(df/chi.Quantile((1-level)/2))
}
