package trial

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"flourcast/eval/direction"
	"flourcast/eval/verdict"
	"flourcast/study/fitting"
)

// row is one kind of mill: how its lots are drawn, and what must come of it.
type row struct {
	name, truth string
	lots        int
	draw        func(r *rand.Rand, n int) *lots
	// fitMost and fitLeast bound the share of mills that may, or must, be fit for use.
	fitMost, fitLeast float64
	// looksFor says what seen looks for; seenLeast is the share in which it must be there.
	looksFor  string
	seen      func(*fitting.Result) bool
	seenLeast float64
}

// apart is the lot that makes the model of row "one lot".
const apart = "L001"

// rows are the kinds of mill, in the order of the table.
func rows() []row {
	return []row{
		{name: "worthless", truth: "nothing goes with hardness", lots: 40, fitMost: 0.04, fitLeast: 0, draw: independent},
		{name: "strong", truth: "r −0.75 of hardness with peak and with breakdown", lots: 80, fitMost: 1, fitLeast: 0.90, draw: with(-0.75)},
		{name: "moderate", truth: "r −0.5 of hardness with peak and with breakdown", lots: 60, fitMost: 1, fitLeast: 0.85, draw: with(-0.5)},
		{name: "reversed", truth: "r +0.75: against what is established", lots: 80, fitMost: 0, draw: with(0.75),
			looksFor: "an established direction contradicted", seenLeast: 0.9, seen: func(r *fitting.Result) bool {
				return check(r, verdict.CheckDirections) == verdict.Fail
			}},
		{name: "protein", truth: "peak and hardness both follow protein, and nothing else", lots: 80, fitMost: 0.02, draw: throughProtein,
			looksFor: "a caution on protein", seenLeast: 0.9, seen: func(r *fitting.Result) bool {
				return check(r, verdict.CheckProtein) == verdict.Caution || check(r, verdict.CheckDirections) == verdict.Caution
			}},
		{name: "years", truth: "crop years shift peak and hardness, each by its own amounts; no relation", lots: 60, fitMost: 0.06, draw: yearEffects},
		{name: "new year", truth: "r −0.75, and hardness of the last crop year shifted by 1 SD", lots: 80, fitMost: 1, draw: shiftedYear,
			looksFor: "a caution on coverage, or a fail", seenLeast: 0.5, seen: func(r *fitting.Result) bool {
				c := check(r, verdict.CheckCoverage)
				return c == verdict.Caution || c == verdict.Fail
			}},
		{name: "one lot", truth: "nothing, but for one lot far out on both sides", lots: 40, fitMost: 0.04, draw: oneLot,
			looksFor: "stopped outright, or that lot named as one that decides", seenLeast: 0.9, seen: func(r *fitting.Result) bool {
				return r.Verdict.Standing == verdict.NotFitForUse ||
					r.OneLot != nil && slices.ContainsFunc(r.OneLot.Changes, func(c verdict.WithoutLot) bool { return c.Lot == apart })
			}},
		{name: "narrow", truth: "r −0.75, but peak and breakdown differ by less than three repeatability SDs", lots: 80, fitMost: 0, draw: narrow,
			looksFor: "cannot tell of the peak, for its narrow range", seenLeast: 1, seen: func(r *fitting.Result) bool {
				for _, a := range r.Directions {
					if a.Applies && a.Rule.ID == "A13" {
						return a.Outcome == direction.CannotTell && a.Code == "narrow-range"
					}
				}
				return false
			}},
		{name: "leak", truth: "20 lots without relation, three strands of each named as lots of their own", lots: 60, fitMost: 0, draw: leaking,
			looksFor: "replicates found on both sides", seenLeast: 1, seen: func(r *fitting.Result) bool {
				return check(r, verdict.CheckData) == verdict.Fail && r.Findings.Has("lots-alike")
			}},
		{name: "sprouted", truth: "r −0.75 among 50 sound lots; 10 sprouted ones of low peak and soft", lots: 60, fitMost: 1, draw: sprouted,
			looksFor: "the sprouted lots named", seenLeast: 1, seen: func(r *fitting.Result) bool { return r.Findings.Has("sprouted-in-water") }},
	}
}

// names are the kinds of mill.
func names() []string {
	var out []string
	for _, r := range rows() {
		out = append(out, r.name)
	}
	return out
}

func check(r *fitting.Result, name string) string {
	for _, c := range r.Verdict.Checks {
		if c.Name == name {
			return c.Outcome
		}
	}
	return ""
}

func with(rho float64) func(*rand.Rand, int) *lots {
	return func(r *rand.Rand, n int) *lots { return related(r, n, rho) }
}

// throughProtein: a relation of −0.64 between peak and hardness, all of it by way of
// protein.
func throughProtein(r *rand.Rand, n int) *lots {
	l := independent(r, n)
	l.protein = make([]float64, n)
	for i := range l.protein {
		p := r.NormFloat64()
		l.protein[i] = p
		l.peak[i] = -0.8*p + 0.6*l.peak[i]
		l.hard[i] = 0.8*p + 0.6*l.hard[i]
	}
	return l
}

// yearEffects: every year moves peak and hardness by amounts of SD 1 that have
// nothing to do with each other.
func yearEffects(r *rand.Rand, n int) *lots {
	l := independent(r, n)
	peak, hard := map[string]float64{}, map[string]float64{}
	for i, y := range l.year {
		if _, seen := peak[y]; !seen {
			peak[y], hard[y] = r.NormFloat64(), r.NormFloat64()
		}
		l.peak[i] += peak[y]
		l.hard[i] += hard[y]
	}
	return l
}

// shiftedYear: in the last year hardness is higher by one SD at the same curve.
func shiftedYear(r *rand.Rand, n int) *lots {
	l := related(r, n, -0.75)
	last := l.year[3]
	for i, y := range l.year {
		if y == last {
			l.hard[i]++
		}
	}
	return l
}

// oneLot: the first lot lies eight SDs out, where the direction would have it.
func oneLot(r *rand.Rand, n int) *lots {
	l := independent(r, n)
	l.peak[0], l.hard[0] = 8, -8
	l.own[0] = ownCurve{}
	return l
}

// narrow: the peak's SD between lots is 90 mPa·s and that between duplicates 40.
func narrow(r *rand.Rand, n int) *lots {
	l := related(r, n, -0.75)
	l.peakSpan, l.pairs = 90, true
	return l
}

// leaking: three rows a lot of one curve, each with a strand of its own.
func leaking(r *rand.Rand, n int) *lots {
	base := independent(r, n/3)
	l := &lots{}
	for i := range base.name {
		for k := range 3 {
			l.name = append(l.name, fmt.Sprintf("%s-%d", base.name[i], k+1))
			l.year, l.peak, l.own = append(l.year, base.year[i]), append(l.peak, base.peak[i]), append(l.own, base.own[i])
			l.hard = append(l.hard, base.hard[i]+0.3*r.NormFloat64())
		}
	}
	return l
}

// sprouted: every sixth lot has a falling number near 150 s, a peak lower by 2 SD and
// a noodle softer by 1 SD.
func sprouted(r *rand.Rand, n int) *lots {
	l := related(r, n, -0.75)
	for i := range n {
		l.falling = append(l.falling, 340+20*r.NormFloat64())
		if i%6 == 0 {
			l.falling[i] = math.Max(70, 150+15*r.NormFloat64())
			l.peak[i] -= 2
			l.hard[i]--
		}
	}
	return l
}

// expected says what must come of a row.
func (r row) expected() string {
	var out []string
	switch {
	case r.fitMost == 0:
		out = append(out, "none fit for use")
	case r.fitMost < 1:
		out = append(out, fmt.Sprintf("at most %.0f %% fit for use", 100*r.fitMost))
	}
	if r.fitLeast > 0 {
		out = append(out, fmt.Sprintf("at least %.0f %% fit for use", 100*r.fitLeast))
	}
	if r.seen != nil {
		share := "in all"
		if r.seenLeast < 1 {
			share = fmt.Sprintf("in at least %.0f %%", 100*r.seenLeast)
		}
		out = append(out, r.looksFor+" "+share)
	}
	return strings.Join(out, "; ")
}
