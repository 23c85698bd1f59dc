package control

import (
	"cmp"
	"math"
	"slices"
)

// days gives every day with a control its standing. A day is out if the last run of
// any batch or method is.
func (j *Judgement) days(all []*series) {
	for _, s := range all {
		for i, c := range s.checks {
			day, clock := split(c.TestedAt)
			k := slices.IndexFunc(j.Days, func(d Day) bool { return d.Instrument == s.instrument && d.Day == day })
			if k < 0 {
				k = len(j.Days)
				j.Days = append(j.Days, Day{Instrument: s.instrument, Day: day, Signals: []Signal{}})
			}
			d := &j.Days[k]
			v := verdict{s, clock, NotJudged}
			switch {
			case s.out[i]:
				v.standing = OutControl
			case s.judged[i]:
				v.standing = InControl
			}
			d.Controls++
			d.checks = append(d.checks, v)
			d.Signals = append(d.Signals, s.signals[i]...)
		}
	}
	for i := range j.Days {
		d := &j.Days[i]
		d.Standing = d.at("")
		wasOut := slices.ContainsFunc(d.checks, func(v verdict) bool { return v.standing == OutControl })
		if d.Standing == InControl && wasOut {
			d.Standing = Repeated
		}
	}
	slices.SortStableFunc(j.Days, func(a, b Day) int {
		return cmp.Or(cmp.Compare(a.Instrument, b.Instrument), cmp.Compare(a.Day, b.Day))
	})
}

// Overlap compares a batch with the next one, by the days on which both were run
// on an instrument by a method: Difference is next − batch, the mean over Days days;
// SD (of the differences) and SE are null below two.
type Overlap struct {
	Instrument string   `json:"instrument"`
	Method     string   `json:"method"`
	Batch      string   `json:"batch"`
	Next       string   `json:"next"`
	Feature    string   `json:"feature"`
	Days       int      `json:"days"`
	Difference float64  `json:"difference"`
	SD         *float64 `json:"sd"`
	SE         *float64 `json:"se"`
}

// overlaps finds, for each batch, the one that begins next on the same instrument
// by the same method, and compares the deciding features on shared days.
func (j *Judgement) overlaps(all []*series) {
	order := slices.Clone(all)
	slices.SortStableFunc(order, func(a, b *series) int {
		return cmp.Or(cmp.Compare(a.instrument, b.instrument), cmp.Compare(a.method, b.method), cmp.Compare(a.checks[0].TestedAt, b.checks[0].TestedAt))
	})
	for i := 1; i < len(order); i++ {
		a, b := order[i-1], order[i]
		if a.instrument != b.instrument || a.method != b.method {
			continue
		}
		for _, c := range j.Charts {
			if c.Decides && c.Instrument == a.instrument && c.Method == a.method && c.Batch == a.batch {
				if o, ok := compare(a, b, c.Feature); ok {
					j.Overlaps = append(j.Overlaps, o)
				}
			}
		}
	}
}

// compare takes the mean of each day, then the differences.
func compare(a, b *series, feature string) (Overlap, bool) {
	o := Overlap{Instrument: a.instrument, Method: a.method, Batch: a.batch, Next: b.batch, Feature: feature}
	first, next := a.daily(feature), b.daily(feature)
	var differences []float64
	for _, c := range a.checks {
		day, _ := split(c.TestedAt)
		if v, ok := first[day]; ok {
			if w, ok := next[day]; ok {
				differences = append(differences, w-v)
				delete(first, day) // each day once
			}
		}
	}
	o.Days = len(differences)
	if o.Days == 0 {
		return o, false
	}
	n := float64(o.Days)
	for _, d := range differences {
		o.Difference += d / n
	}
	if o.Days > 1 {
		ss := 0.0
		for _, d := range differences {
			ss += (d - o.Difference) * (d - o.Difference)
		}
		sd := math.Sqrt(ss / (n - 1))
		se := sd / math.Sqrt(n)
		o.SD, o.SE = &sd, &se
	}
	return o, true
}

// daily is the mean of a feature by day.
func (s *series) daily(feature string) map[string]float64 {
	sum, n := map[string]float64{}, map[string]float64{}
	for _, c := range s.checks {
		if v, ok := c.Values[feature]; ok {
			day, _ := split(c.TestedAt)
			sum[day], n[day] = sum[day]+v, n[day]+1
		}
	}
	for day := range sum {
		sum[day] /= n[day]
	}
	return sum
}
