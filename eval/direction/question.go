package direction

import (
	"context"
	"slices"
	"strconv"

	"flourcast/dataset/trait"
	"flourcast/eval/direction/evidence"
	"flourcast/stat/correlation"
)

// results are the figures of one column, from which every rule about it under
// the same conditions is judged.
type results struct {
	n      int
	out    int    // lots that the conditions leave out
	flat   string // "feature" or "response" when that one does not vary, "resamples" when too many of them do not
	sdX    float64
	pooled *correlation.Estimate
	within *correlation.Estimate
	years  int
	given  *Correlation
	sprout int // sprouted lots among those of a paste in water
	sound  *correlation.Estimate
	// topInside says, for a curvature, that the highest point of the fitted
	// parabola lies inside the range of the lots.
	topInside bool
}

// question is one column put to the lots of one set of conditions.
type question struct {
	l       *evidence.Lots
	col     evidence.Column
	measure string
	among   evidence.Among
	water   bool // a pasting feature of a paste in water
	seed    uint64
	cores   int
}

// test computes the figures.
func (q question) test(ctx context.Context) (results, error) {
	var x, y []float64
	var year []string
	var group []int
	var sprouted []bool
	low := q.l.Sprouted()
	for i, known := range q.col.Known {
		if !known || !q.among.In[i] {
			continue
		}
		x, y, year, sprouted = append(x, q.col.X[i]), append(y, q.l.Y[i]), append(year, q.l.Year[i]), append(sprouted, low[i])
		if q.among.Group != nil {
			group = append(group, q.among.Group[i])
		}
	}
	res := results{n: len(x), out: q.among.Out, sdX: correlation.SD(x)}
	if res.n < leastLots {
		return res, nil
	}
	// Every group whose mean is taken off costs a degree of freedom.
	f, held := func(at []int) (float64, bool) { return correlation.Within(x, y, group, at) }, q.among.Groups-1
	if q.measure == MeasureCurvature {
		f, held = func(at []int) (float64, bool) { return correlation.Curvature(x, y, at) }, 1
		res.topInside = correlation.TopInside(x, y)
	}
	all := make([]int, res.n)
	for i := range all {
		all[i] = i
	}
	label := q.col.ID + " " + q.measure
	b, err := correlation.Bootstrap(ctx, all, f, held, resamples, q.seed, label, q.cores)
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
	if q.measure == MeasureCurvature {
		return res, nil
	}
	res.given = q.givenProtein()
	if err := q.soundOnly(ctx, &res, f, held, sprouted); err != nil {
		return res, err
	}
	at, in, years := withYears(year, group)
	if years < 2 {
		return res, nil
	}
	res.years = years
	within := func(at []int) (float64, bool) { return correlation.Within(x, y, in, at) }
	res.within, err = correlation.Bootstrap(ctx, at, within, 1+slices.Max(in)-1, resamples, q.seed, q.col.ID+" within year", q.cores)
	return res, err
}

// soundOnly adds the figure without sprouted lots, for a paste in water.
func (q question) soundOnly(ctx context.Context, res *results, f func([]int) (float64, bool), held int, sprouted []bool) error {
	if !q.water || !pasting(q.col.ID) {
		return nil
	}
	var sound []int
	for i, s := range sprouted {
		if !s {
			sound = append(sound, i)
		}
	}
	if res.sprout = len(sprouted) - len(sound); res.sprout == 0 || len(sound) < leastLots {
		return nil
	}
	var err error
	res.sound, err = correlation.Bootstrap(ctx, sound, f, held, resamples, q.seed, q.col.ID+" sound", q.cores)
	return err
}

// pasting reports that a column is read off the curve.
func pasting(column string) bool {
	t, ok := trait.Lookup(column)
	return ok && t.Role == trait.RoleFeature
}

// withYears are the lots whose crop year has five lots, and each lot's year as a
// number; with groups, its year and group.
func withYears(year []string, group []int) (at, in []int, years int) {
	count, name := map[string]int{}, make([]string, len(year))
	for _, y := range year {
		count[y]++
	}
	seen := map[string]bool{}
	for i, y := range year {
		if y == "" || count[y] < lotsInYear {
			continue
		}
		if seen[y] = true; group != nil {
			y += "\x00" + strconv.Itoa(group[i])
		}
		name[i] = y
		at = append(at, i)
	}
	names := make([]string, len(at))
	for k, i := range at {
		names[k] = name[i]
	}
	of, _ := evidence.Numbered(names)
	in = make([]int, len(year))
	for k, i := range at {
		in[i] = of[k]
	}
	return at, in, len(seen)
}

// givenProtein is the correlation with protein held constant over the lots that
// have it, with Fisher's interval (SE 1/√(n − 4), less where group means are
// taken off first).
func (q question) givenProtein() *Correlation {
	l := q.l
	if l.Protein == nil || l.Protein.ID == q.col.ID {
		return nil
	}
	var x, y, z []float64
	var group []int
	for i := range l.Y {
		if q.col.Known[i] && l.Protein.Known[i] && q.among.In[i] {
			x, y, z = append(x, q.col.X[i]), append(y, l.Y[i]), append(z, l.Protein.X[i])
			if q.among.Group != nil {
				group = append(group, q.among.Group[i])
			}
		}
	}
	if group != nil {
		x, y, z = correlation.Centred(x, group), correlation.Centred(y, group), correlation.Centred(z, group)
	}
	r, ok := correlation.Partial(x, y, z, nil)
	if !ok {
		return nil
	}
	low, high, ok := correlation.Fisher(r, len(x), q.among.Groups)
	if !ok {
		return nil
	}
	return &Correlation{R: r, Low: low, High: high, N: len(x)}
}
