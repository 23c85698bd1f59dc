package direction

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
)

// results are the figures of one column, from which every rule about it is judged.
type results struct {
	n      int
	flat   string // "feature" or "response" when that one does not vary, "resamples" when too many of them do not
	sdX    float64
	r      *float64 // present when defined
	pooled bounds
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
	var at []int
	for i := range l.y {
		if col.known[i] {
			at = append(at, i)
		}
	}
	res := results{n: len(at)}
	p := pair{}
	var flatX, flatY bool
	p.x, p.sdX, flatX = standardise(col.x, at)
	p.y, _, flatY = standardise(l.y, at)
	res.sdX = p.sdX
	switch {
	case res.n < leastLots:
		return res, nil
	case flatX:
		res.flat = "feature"
		return res, nil
	case flatY:
		res.flat = "response"
		return res, nil
	}
	all := make([]int, res.n)
	for i := range all {
		all[i] = i
	}
	f, held := p.correlation, 0
	if measure == MeasureCurvature {
		f, held = p.curvature, 1
		res.topInside = p.topInside(all)
	}
	r, ok := f(all)
	if !ok {
		res.flat = "feature" // two values only: no curvature can be seen
		return res, nil
	}
	res.r = &r
	b, ok, err := interval(ctx, all, f, r, held, seed, col.id+" "+measure, cores)
	if err != nil {
		return res, err
	}
	if !ok {
		res.flat = "resamples"
		return res, nil
	}
	res.pooled = b
	if measure == MeasureCorrelation {
		if err := res.withinYears(ctx, p, l.year, at, seed, col.id, cores); err != nil {
			return res, err
		}
		res.givenProtein(l, col, at)
	}
	return res, nil
}

func interval(ctx context.Context, lots []int, f statistic, r float64, held int, seed uint64, label string, cores int) (bounds, bool, error) {
	low, high, ok, err := bootstrap(ctx, lots, f, seed, label, cores)
	if err != nil || !ok || len(lots)-3-held < 1 {
		return bounds{}, false, err
	}
	b := bounds{r: r, low: low, high: high, n: len(lots)}
	b.fisherLow, b.fisherHigh = fisher(r, len(lots), held)
	return b, true, nil
}

// withinYears fills the correlation within crop years, over the years that have
// five lots, when there are two such years.
func (res *results) withinYears(ctx context.Context, p pair, year []string, at []int, seed uint64, id string, cores int) error {
	count := map[string]int{}
	for _, i := range at {
		count[year[i]]++
	}
	var names []string
	var lots []int
	p.year = make([]int, len(at))
	for k, i := range at {
		y := year[i]
		if y == "" || count[y] < lotsInYear {
			continue
		}
		if !slices.Contains(names, y) {
			names = append(names, y)
		}
		p.year[k] = slices.Index(names, y)
		lots = append(lots, k)
	}
	p.years = len(names)
	if p.years < 2 {
		return nil
	}
	r, ok := p.within(lots)
	if !ok {
		return nil
	}
	b, ok, err := interval(ctx, lots, p.within, r, p.years-1, seed, id+" within year", cores)
	if err == nil && ok {
		res.within, res.years = &b, p.years
	}
	return err
}

// givenProtein fills the correlation with protein held constant, with Fisher's
// interval (SE 1/√(n − 4)).
func (res *results) givenProtein(l *lots, col column, at []int) {
	if l.protein == nil || l.protein.id == col.id {
		return
	}
	var both []int
	for _, i := range at {
		if l.protein.known[i] {
			both = append(both, i)
		}
	}
	n := len(both)
	if n < leastLots {
		return
	}
	x, _, flatX := standardise(col.x, both)
	y, _, flatY := standardise(l.y, both)
	z, _, flatZ := standardise(l.protein.x, both)
	if flatX || flatY || flatZ {
		return
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	xy, _ := pair{x: x, y: y}.correlation(all)
	xz, _ := pair{x: x, y: z}.correlation(all)
	yz, _ := pair{x: y, y: z}.correlation(all)
	if r, ok := given(xy, xz, yz); ok {
		low, high := fisher(r, n, 1)
		res.given = &Correlation{R: r, Low: low, High: high, N: n}
	}
}

// standardise brings the chosen figures to mean 0 and SD 1; flat is true when
// they do not vary.
func standardise(v []float64, at []int) (z []float64, sd float64, flat bool) {
	z = make([]float64, len(at))
	mean, largest := 0.0, 0.0
	for k, i := range at {
		mean += (v[i] - mean) / float64(k+1)
	}
	for k, i := range at {
		z[k] = v[i] - mean
		largest = max(largest, math.Abs(z[k]))
	}
	if len(at) < 2 || largest <= 1e-12*math.Abs(mean) || math.IsInf(largest, 0) {
		return z, 0, true
	}
	ss := 0.0
	for k := range z {
		z[k] /= largest
		ss += z[k] * z[k]
	}
	scale := math.Sqrt(ss / float64(len(at)-1))
	for k := range z {
		z[k] /= scale
	}
	return z, scale * largest, false
}

// topInside reports whether the parabola fitted to y over x has its top inside
// the range of x.
func (p pair) topInside(all []int) bool {
	square := make([]float64, len(p.x))
	for i, v := range p.x {
		square[i] = v * v
	}
	q, sdQ, flat := standardise(square, all)
	if flat {
		return false
	}
	yx, _ := p.correlation(all)
	yq, _ := pair{x: q, y: p.y}.correlation(all)
	qx, _ := pair{x: q, y: p.x}.correlation(all)
	// Coefficients of x and q in SD units, both over the same 1 − r²_qx.
	b, c := yx-qx*yq, yq-qx*yx
	if c >= 0 {
		return false
	}
	top := -b * sdQ / (2 * c)
	return top > slices.Min(p.x) && top < slices.Max(p.x)
}

// judge fills the answer of a rule that applies, from its column's figures.
func (a *Answer) judge(res results, column FeatureColumn, rules []Rule) {
	feature, response := label(column.ID), label(a.Rule.Response)
	a.N, a.R, a.GivenProtein = res.n, res.r, res.given
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
	a.Low, a.High = &b.low, &b.high
	a.Fisher = &Correlation{R: b.r, Low: b.fisherLow, High: b.fisherHigh, N: b.n}
	if w := res.within; w != nil {
		a.Within = &Correlation{R: w.r, Low: w.low, High: w.high, N: w.n, Years: res.years}
	}
	if a.Measure == MeasureCorrelation {
		p := fisherP(b.r, b.n)
		a.P = &p
		if a.Rule.R != nil && a.Rule.N != nil {
			d := differenceP(b.r, b.n, *a.Rule.R, *a.Rule.N)
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
