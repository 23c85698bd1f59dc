package direction

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/stat/correlation"
	"flourcast/work"
)

// results are the figures of one column, from which every rule about it is judged.
type results struct {
	n      int
	flat   string // "feature" or "response" when that one does not vary, "resamples" when too many of them do not
	sdX    float64
	pooled *bounds
	within *bounds
	years  int
	given  *Correlation
	// topInside says, for a curvature, that the highest point of the fitted
	// parabola lies inside the range of the lots.
	topInside bool
}

// bounds are a figure with its two intervals.
type bounds struct {
	r, low, high          float64
	n                     int
	fisherLow, fisherHigh float64
}

// side is +1 or −1 when the intervals lie on that side of zero, else 0. Below 30
// lots the Fisher interval must agree.
func (b bounds) side() int {
	s := sideOf(b.low, b.high)
	if b.n < fewLots && sideOf(b.fisherLow, b.fisherHigh) != s {
		return 0
	}
	return s
}

// slight reports that the intervals lie within ±0.3.
func (b bounds) slight() bool {
	ok := -slight < b.low && b.high < slight
	return ok && (b.n >= fewLots || -slight < b.fisherLow && b.fisherHigh < slight)
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

// test computes the figures of column c.
func test(ctx context.Context, l *lots, c int, measure string, seed uint64, cores int) (results, error) {
	col := l.features[c]
	var x, y []float64
	var year []string
	for i, known := range col.known {
		if known {
			x, y, year = append(x, col.x[i]), append(y, l.y[i]), append(year, l.year[i])
		}
	}
	res := results{n: len(x), sdX: correlation.SD(x)}
	if res.n < leastLots {
		return res, nil
	}
	f, held := func(at []int) (float64, bool) { return correlation.Pearson(x, y, at) }, 0
	if measure == MeasureCurvature {
		f, held = func(at []int) (float64, bool) { return correlation.Curvature(x, y, at) }, 1
		res.topInside = correlation.TopInside(x, y)
	}
	all := make([]int, res.n)
	for i := range all {
		all[i] = i
	}
	b, err := bootstrap(ctx, all, f, held, seed, col.id+" "+measure, cores)
	if err != nil {
		return res, err
	}
	if b == nil {
		res.flat = "resamples"
		if _, ok := f(nil); !ok {
			res.flat = "feature"
			if _, ok := correlation.Pearson(y, y, nil); !ok {
				res.flat = "response"
			}
		}
		return res, nil
	}
	res.pooled = b
	if measure == MeasureCurvature {
		return res, nil
	}
	res.givenProtein(l, col)
	at, group, years := withYears(year)
	if years < 2 {
		return res, nil
	}
	res.years = years
	within := func(at []int) (float64, bool) { return correlation.Within(x, y, group, at) }
	res.within, err = bootstrap(ctx, at, within, years-1, seed, col.id+" within year", cores)
	return res, err
}

// bootstrap is a figure of the given lots with its 95 % percentile interval over
// 1,999 resamples of whole lots, and Fisher's. It is nil where the figure is not
// defined, or not in more than one resample in twenty. Resample b draws from the
// stream of seed, label and b, so the interval does not depend on cores.
func bootstrap(ctx context.Context, lots []int, f func([]int) (float64, bool), held int, seed uint64, label string, cores int) (*bounds, error) {
	b := bounds{n: len(lots)}
	var ok, okFisher bool
	if b.r, ok = f(lots); !ok {
		return nil, nil
	}
	if b.fisherLow, b.fisherHigh, okFisher = correlation.Fisher(b.r, b.n, held); !okFisher {
		return nil, nil
	}
	values, defined := make([]float64, resamples), make([]bool, resamples)
	err := work.Each(ctx, resamples, cores, func(k int) error {
		rng := work.Rand(seed, "direction", label, strconv.Itoa(k))
		drawn := make([]int, len(lots))
		for i := range drawn {
			drawn[i] = lots[rng.IntN(len(lots))]
		}
		values[k], defined[k] = f(drawn)
		return nil
	})
	if err != nil {
		return nil, err
	}
	kept := make([]float64, 0, resamples)
	for k, v := range values {
		if defined[k] {
			kept = append(kept, v)
		}
	}
	if len(kept) < resamples*19/20 {
		return nil, nil
	}
	b.low, b.high, _ = correlation.Percentile(kept)
	return &b, nil
}

// withYears are the lots whose crop year has five lots, and each lot's year as a
// number.
func withYears(year []string) (at, group []int, years int) {
	count := map[string]int{}
	for _, y := range year {
		count[y]++
	}
	var names []string
	group = make([]int, len(year))
	for i, y := range year {
		if y == "" || count[y] < lotsInYear {
			continue
		}
		if !slices.Contains(names, y) {
			names = append(names, y)
		}
		group[i] = slices.Index(names, y)
		at = append(at, i)
	}
	return at, group, len(names)
}

// givenProtein fills the correlation with protein held constant over the lots
// that have it, with Fisher's interval (SE 1/√(n − 4)).
func (res *results) givenProtein(l *lots, col column) {
	if l.protein == nil || l.protein.id == col.id {
		return
	}
	var at []int
	for i := range l.y {
		if col.known[i] && l.protein.known[i] {
			at = append(at, i)
		}
	}
	r, ok := correlation.Partial(col.x, l.y, l.protein.x, at)
	if !ok {
		return
	}
	if low, high, ok := correlation.Fisher(r, len(at), 1); ok {
		res.given = &Correlation{R: r, Low: low, High: high, N: len(at)}
	}
}

// judge fills the answer of a rule that applies, from its column's figures.
func (a *Answer) judge(res results, column FeatureColumn, rules []Rule) {
	feature, response := label(column.ID), label(a.Rule.Response)
	a.N, a.GivenProtein = res.n, res.given
	switch {
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
	a.R, a.Low, a.High = &b.r, &b.low, &b.high
	a.Fisher = &Correlation{R: b.r, Low: b.fisherLow, High: b.fisherHigh, N: b.n}
	if w := res.within; w != nil {
		a.Within = &Correlation{R: w.r, Low: w.low, High: w.high, N: w.n, Years: res.years}
	}
	if a.Measure == MeasureCorrelation {
		p := correlation.P(b.r, b.n)
		a.P = &p
		if a.Rule.R != nil && a.Rule.N != nil {
			d := correlation.DifferenceP(b.r, b.n, *a.Rule.R, *a.Rule.N)
			a.PPublished = &d
		}
	}
	if column.RepeatSD != nil && res.sdX < repeatFactor**column.RepeatSD {
		a.cannot("narrow-range", fmt.Sprintf("%s varies too little: its SD over lots is %s, less than %d times its repeatability SD of %s; add lots that differ more",
			feature, trait.Format(column.ID, res.sdX), repeatFactor, trait.Format(column.ID, *column.RepeatSD)))
		return
	}
	a.conclude(res, feature, response)
	if a.Rule.Standing == Contested {
		a.party(rules)
	}
}

// conclude compares the intervals with the rule's sign.
func (a *Answer) conclude(res results, feature, response string) {
	b, w := res.pooled, res.within
	side := b.side()
	figures := fmt.Sprintf("%s %s over %d lots", a.Measure, span(b.r, b.low, b.high), b.n)
	agree := true
	if w != nil {
		figures += fmt.Sprintf(", %s within crop years", span(w.r, w.low, w.high))
		agree = w.side() == side
	}
	if b.n < fewLots {
		figures += fmt.Sprintf(", Fisher's interval %s to %s", signed(b.fisherLow), signed(b.fisherHigh))
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
	case a.Rule.Sign == Optimum && side > 0:
		here = "it is lowest in the middle here"
	case a.Rule.Sign == Optimum:
		here = "it is here"
	case side < 0:
		here = "it falls here"
	}
	set := func(outcome, code, tail string) {
		a.Outcome, a.Code, a.Reason = outcome, code, response+" "+says+"; "+tail+": "+figures
	}
	switch {
	case a.Rule.Sign == None && b.slight() && (w == nil || w.slight()):
		set(Confirmed, "sign-agrees", "it hardly does here")
	case a.Rule.Sign == Optimum && side == -1 && !res.topInside:
		set(CannotTell, "top-outside", "the relation bends down, but its top lies outside the range of these lots")
	case side != 0 && !agree:
		set(CannotTell, "years-disagree", "all lots together show a relation that lots of one crop year do not bear out")
	case side == 0 && w != nil && w.side() != 0:
		set(CannotTell, "years-disagree", "lots within a crop year show a relation that all lots together do not")
	case side == 0 && b.n < a.Needed:
		set(CannotTell, "too-few-lots", fmt.Sprintf("the interval includes zero, and a fair check takes about %d lots", a.Needed))
	case side == 0:
		set(CannotTell, "no-clear-relation", fmt.Sprintf("the interval includes zero though %d lots would do for the relation looked for", b.n))
	case side == expected:
		set(Confirmed, "sign-agrees", here)
	default:
		set(Contradicted, "sign-differs", here)
	}
}

// party says, for a contested rule, with whom the data agree: rules for the same
// product, feature, response and kind, counted by rule.
func (a *Answer) party(rules []Rule) {
	if a.Outcome != Confirmed {
		return
	}
	var with, against []string
	for _, r := range rules {
		if r.Standing != Contested || r.Product != a.Rule.Product || r.Feature != a.Rule.Feature || r.ID == a.Rule.ID {
			continue
		}
		to := &against
		if r.Sign == a.Rule.Sign {
			to = &with
		}
		if !slices.Contains(*to, r.ID) {
			*to = append(*to, r.ID)
		}
	}
	if len(against) > 0 {
		a.Reason += "; contested: the data agree with " + strings.Join(append([]string{a.Rule.ID}, with...), ", ") + " against " + strings.Join(against, ", ")
	}
	a.AgainstMajority = len(against) > len(with)+1
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
