package measurement

import (
	"flourcast/stat/precision"
)

// estimate works out one feature of one group. Sessions of one lot are one lot for
// what lies between lots.
func estimate(feature string, cells []cell) RepeatOfAFeature {
	f := RepeatOfAFeature{Feature: feature, Suspects: []RepeatSuspect{}}
	lots, means, n := lotMeans(cells)
	f.Lots = len(lots)
	for _, m := range means {
		f.Mean += m / float64(len(means))
	}
	sizes, sds := make([]int, len(cells)), make([]float64, len(cells))
	duplicated := map[string]bool{}
	for i, c := range cells {
		sizes[i], sds[i] = c.n, c.sd
		if c.n > 1 {
			duplicated[c.lot] = true
		}
	}
	f.Duplicated = len(duplicated)
	r, err := precision.Pooled(sizes, sds)
	if err != nil {
		return f // no duplicates
	}
	r.Mean = f.Mean
	low, high := r.Interval(level)
	f.DF, f.RepeatSD, f.RepeatSDLow, f.RepeatSDHigh, f.RepeatLimit = r.DF, &r.SD, &low, &high, &r.Limit
	if cv, ok := r.CV(); ok {
		f.CVPct = &cv
	}
	f.suspectSpreads(cells, sizes, sds)
	for _, s := range precision.Apart(means) {
		test, named := "Grubbs", []int{s.Index}
		if s.Also >= 0 {
			test, named = "Grubbs pair", append(named, s.Also)
		}
		for _, k := range named {
			f.Suspects = append(f.Suspects, RepeatSuspect{Test: test, Lot: lots[k], Statistic: s.Statistic, P: s.P, Standing: s.Standing})
		}
	}
	if between, err := precision.Between(means, n, r.SD); err == nil {
		f.BetweenSD = &between
		apart := between >= ApartRatio*r.SD && between > 0
		f.TellsApart = &apart
		if r.SD > 0 {
			ratio := between / r.SD
			f.Ratio = &ratio
		}
	}
	return f
}

// suspectSpreads names the sessions whose replicates differ more than others do and,
// where there are three or more, which of them stands apart. Where some are outliers,
// the repeatability without them stands beside that of all.
func (f *RepeatOfAFeature) suspectSpreads(cells []cell, sizes []int, sds []float64) {
	without := append([]int(nil), sizes...)
	outliers := false
	for _, s := range precision.Spreads(sizes, sds) {
		c := cells[s.Index]
		x := RepeatSuspect{Test: "Cochran", Lot: c.lot, Day: c.day, Statistic: s.Statistic, P: s.P, Standing: s.Standing}
		if g, err := precision.Grubbs(c.values); err == nil && g.Standing != "" {
			x.Run = c.runs[g.Index]
		}
		f.Suspects = append(f.Suspects, x)
		if s.Standing == precision.Outlier {
			outliers = true
			without[s.Index] = 0
		}
	}
	if !outliers {
		return
	}
	if r, err := precision.Pooled(without, sds); err == nil {
		f.SDWithoutOutliers = &r.SD
	}
}

// lotMeans is the mean of each lot over all its figures, in order of appearance.
func lotMeans(cells []cell) (lots []string, means []float64, n []int) {
	at := map[string]int{}
	for _, c := range cells {
		k, known := at[c.lot]
		if !known {
			k = len(lots)
			at[c.lot] = k
			lots, means, n = append(lots, c.lot), append(means, 0), append(n, 0)
		}
		n[k] += c.n
		means[k] += float64(c.n) * c.mean
	}
	for k := range means {
		means[k] /= float64(n[k])
	}
	return lots, means, n
}
