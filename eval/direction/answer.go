package direction

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/direction/evidence"
	"flourcast/stat/correlation"
)

// side is +1 or −1 when the intervals lie on that side of zero, else 0. Below 30
// lots the Fisher interval must agree.
func side(b correlation.Estimate) int {
	s := sideOf(b.Low, b.High)
	if b.N < fewLots && sideOf(b.FisherLow, b.FisherHigh) != s {
		return 0
	}
	return s
}

// isSlight reports that the intervals lie within ±0.3.
func isSlight(b correlation.Estimate) bool {
	ok := -slight < b.Low && b.High < slight
	return ok && (b.N >= fewLots || -slight < b.FisherLow && b.FisherHigh < slight)
}

func sideOf(low, high float64) int {
	switch {
	case low > 0:
		return 1
	case high < 0:
		return -1
	}
	return 0
}

// judge fills the answer of a rule that applies, from its column's figures.
func (a *Answer) judge(res results, column FeatureColumn, rules []Rule) {
	feature, response := label(column.ID), label(a.Rule.Response)
	a.N, a.GivenProtein, a.LeftOut, a.Sprouted = res.n, res.given, res.out, res.sprout
	if s := res.sound; s != nil {
		a.Sound = &Correlation{R: s.R, Low: s.Low, High: s.High, N: s.N}
	}
	switch {
	case res.n == 0 && res.out > 0:
		a.Applies = false
		a.cannot("other-lots", fmt.Sprintf("the rule is for lots with %s; none of these is known to be one", a.Rule.When))
		return
	case res.n < leastLots:
		a.cannot("too-few-lots", fmt.Sprintf("%d lots have both figures; a fair check takes about %d", res.n, a.Needed))
		return
	case res.flat == "resamples":
		a.cannot("no-variation", fmt.Sprintf("so many of the %d lots share one value that resamples of them do not vary", res.n))
		return
	case res.flat != "":
		name := feature
		if res.flat == "response" {
			name = response
		}
		a.cannot("no-variation", fmt.Sprintf("%s does not vary enough over the %d lots", name, res.n))
		return
	}
	b := res.pooled
	a.R, a.Low, a.High = &b.R, &b.Low, &b.High
	a.Fisher = &Correlation{R: b.R, Low: b.FisherLow, High: b.FisherHigh, N: b.N}
	if w := res.within; w != nil {
		a.Within = &Correlation{R: w.R, Low: w.Low, High: w.High, N: w.N, Years: res.years}
	}
	if a.Measure == MeasureCorrelation {
		p := correlation.P(b.R, b.N)
		a.P = &p
		if a.Rule.R != nil && a.Rule.N != nil {
			d := correlation.DifferenceP(b.R, b.N, *a.Rule.R, *a.Rule.N)
			a.PPublished = &d
		}
	}
	if column.RepeatSD != nil && res.sdX < repeatFactor**column.RepeatSD {
		a.cannot("narrow-range", fmt.Sprintf("%s varies too little: its SD over lots is %s, less than %d times its repeatability SD of %s; add lots that differ more",
			feature, trait.Format(column.ID, res.sdX), repeatFactor, trait.Format(column.ID, *column.RepeatSD)))
		return
	}
	a.conclude(res, feature, response)
	if res.out > 0 {
		a.Reason += fmt.Sprintf("; %d lots left out, for which the rule is not meant (%s)", res.out, a.Rule.When)
	}
	if a.OnlySprouted() {
		a.Reason += fmt.Sprintf("; without the %d lots of a falling number below %d s it is %s, so sprouting may make the relation", a.Sprouted, evidence.FallingLow, span(a.Sound.R, a.Sound.Low, a.Sound.High))
	}
	if a.Rule.Standing == Contested {
		a.party(rules)
	}
}

// OnlySprouted reports that the data answer the rule only with sprouted lots
// among them: without these the interval includes zero, or lies on the other side.
func (a Answer) OnlySprouted() bool {
	if a.Sound == nil || a.Outcome == CannotTell || a.Rule.Sign == None {
		return false
	}
	return sideOf(a.Sound.Low, a.Sound.High) != sideOf(*a.Low, *a.High)
}

// conclude compares the intervals with the rule's sign.
func (a *Answer) conclude(res results, feature, response string) {
	b, w := res.pooled, res.within
	seen := side(*b)
	figures := fmt.Sprintf("%s %s over %d lots", a.Measure, span(b.R, b.Low, b.High), b.N)
	agree := true
	if w != nil {
		figures += fmt.Sprintf(", %s within crop years", span(w.R, w.Low, w.High))
		agree = side(*w) == seen
	}
	if b.N < fewLots {
		figures += fmt.Sprintf(", Fisher's interval %s to %s", signed(b.FisherLow), signed(b.FisherHigh))
	}
	expected, says := 0, "is not expected to move with "+feature
	switch a.Rule.Sign {
	case Rises:
		expected, says = 1, "is expected to rise with "+feature
	case Falls:
		expected, says = -1, "is expected to fall with "+feature
	case Optimum:
		expected, says = -1, "is expected to be highest at a middle "+feature
	}
	here := "it rises here"
	switch {
	case a.Rule.Sign == Optimum && seen > 0:
		here = "it is lowest in the middle here"
	case a.Rule.Sign == Optimum:
		here = "it is here"
	case seen < 0:
		here = "it falls here"
	}
	switch {
	case a.Rule.Sign == Optimum && seen < 0:
		a.seen = Optimum
	case a.Rule.Sign == Optimum:
	case seen > 0:
		a.seen = Rises
	case seen < 0:
		a.seen = Falls
	}
	set := func(outcome, code, tail string) {
		a.Outcome, a.Code, a.Reason = outcome, code, response+" "+says+"; "+tail+": "+figures
	}
	switch {
	case a.Rule.Sign == None && isSlight(*b) && (w == nil || isSlight(*w)):
		set(Confirmed, "sign-agrees", "it hardly does here")
	case a.Rule.Sign == Optimum && seen == -1 && !res.topInside:
		set(CannotTell, "top-outside", "the relation bends down, but its top lies outside the range of these lots")
	case seen != 0 && !agree:
		set(CannotTell, "years-disagree", "all lots together show a relation that lots of one crop year do not bear out")
	case seen == 0 && w != nil && side(*w) != 0:
		set(CannotTell, "years-disagree", "lots within a crop year show a relation that all lots together do not")
	case seen == 0 && b.N < a.Needed:
		set(CannotTell, "too-few-lots", fmt.Sprintf("the interval includes zero, and a fair check takes about %d lots", a.Needed))
	case seen == 0:
		set(CannotTell, "no-clear-relation", fmt.Sprintf("the interval includes zero though %d lots would do for the relation looked for", b.N))
	case seen == expected:
		set(Confirmed, "sign-agrees", here)
	default:
		set(Contradicted, "sign-differs", here)
	}
}

// party says, for a contested rule that was answered, with whom the data agree:
// rules for the same product, feature, response and kind, counted by rule.
func (a *Answer) party(rules []Rule) {
	if a.Outcome == CannotTell {
		return
	}
	seen := a.seen
	if a.Outcome == Confirmed {
		seen = a.Rule.Sign
	}
	for _, r := range rules {
		if r.Standing != Contested || r.Product != a.Rule.Product || r.Feature != a.Rule.Feature {
			continue
		}
		to := &a.AgreeAgainst
		if r.Sign == seen {
			to = &a.AgreeWith
		}
		if !slices.Contains(*to, r.ID) {
			*to = append(*to, r.ID)
		}
	}
	switch {
	case len(a.AgreeAgainst) > 0 && len(a.AgreeWith) > 0:
		a.Reason += "; contested: the data agree with " + strings.Join(a.AgreeWith, ", ") + " against " + strings.Join(a.AgreeAgainst, ", ")
	case len(a.AgreeAgainst) > 0:
		a.Reason += "; contested: no published party says what these data say; against " + strings.Join(a.AgreeAgainst, ", ")
	}
	a.AgainstMajority = len(a.AgreeAgainst) > len(a.AgreeWith)
}

// label is a trait's name in full words, its method beside it; an unknown
// column's own name.
func label(column string) string {
	t, ok := trait.Lookup(column)
	if !ok {
		return column
	}
	if _, method := trait.Split(column); method != "" {
		return t.Label + " (" + method + ")"
	}
	return t.Label
}

func span(r, low, high float64) string {
	return fmt.Sprintf("%s (%s to %s)", signed(r), signed(low), signed(high))
}

// signed writes two decimals with a real minus sign.
func signed(v float64) string { return strings.Replace(fmt.Sprintf("%.2f", v), "-", "−", 1) }
