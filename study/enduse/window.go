package enduse

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/forecast/conformance"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/newlots"
)

// windows holds every lot against every window.
func (q Request) windows(ctx context.Context, env job.Env, res *Result, keep func(string, Fit)) error {
	for _, w := range q.Windows {
		if w.Product == "" || len(w.Limits) == 0 {
			return &job.RequestError{Field: "window", Found: "a window without product or limits", Want: "a product, and limits of test figures"}
		}
		asks := &card.Card{Product: w.Product, Method: w.Method}
		for _, s := range w.Limits {
			if err := s.Check(); err != nil {
				return &job.RequestError{Field: "window", Found: err.Error(), Want: "limits of a window"}
			}
			asks.Features = append(asks.Features, s.Response)
		}
		files := newlots.Files{Paths: q.Paths, Lot: q.Lot, Lots: q.Lots, Map: q.Map, Methods: q.Methods, Table: q.Table}
		if q.Book != "" {
			lots, err := study.BookLots(ctx, env, q.Book, asks, q.Only, q.Methods)
			if err != nil {
				return err
			}
			files = newlots.Files{Known: lots}
		}
		found, err := newlots.Read(ctx, env, asks, files)
		if err != nil {
			return err
		}
		res.Refused = max(res.Refused, found.Refused)
		for _, x := range found.Findings {
			if !slices.Contains(res.Findings, x) {
				res.Findings.Add(x)
			}
		}
		for _, l := range found.Lots {
			keep(l.Name, within(w, l, res.Rule))
		}
	}
	return nil
}

// within holds one lot against one window. A figure that was measured n ≥ 2 times with
// SD s has a standard error s/√n with n − 1 degrees of freedom, and so a probability; one
// measured once is in or out. The lowest probability of the limits counts: that of
// meeting all of them is at most that.
func within(w Window, l newlots.Lot, rule forecast.Rule) Fit {
	f := Fit{Product: w.Product, By: "window", Origin: w.Origin, Limits: []string{}, Class: Decided, Reasons: []string{}}
	least, all, met := 1.0, true, true
	for _, s := range w.Limits {
		f.Limits = append(f.Limits, s.String())
		sum, _, ok := l.Find(s.Response, w.Method)
		if !ok {
			f.Class, all = Unknown, false
			f.Reasons = append(f.Reasons, "no figure for "+trait.Label(s.Response))
			continue
		}
		met = met && (s.Low == nil || sum.Mean >= *s.Low) && (s.High == nil || sum.Mean <= *s.High)
		f.Reasons = append(f.Reasons, describe(s, sum.Mean))
		if sum.N < 2 || sum.SD <= 0 {
			all = false
			continue
		}
		spread := conformance.Spread{U: sum.SD / math.Sqrt(float64(sum.N)), DF: float64(sum.N - 1)}
		p, err := conformance.Limits{Low: s.Low, High: s.High}.Probability(sum.Mean, spread)
		if err != nil {
			all = false
			continue
		}
		least = min(least, p)
	}
	if w.Method != "" && l.Method != "" && l.Method != w.Method {
		f.Class = Unknown
		f.Reasons = append([]string{"the run is by " + l.Method + ", the window is for " + w.Method}, f.Reasons...)
	}
	for _, p := range l.Problems {
		f.Class = Unknown
		f.Reasons = append(f.Reasons, p)
	}
	switch {
	case f.Class == Unknown:
		f.Decision = forecast.Hold
	case all:
		f.Probability = &least
		f.Decision = rule.Decide(least)
	case met:
		f.Decision = forecast.Accept
		f.Reasons = append(f.Reasons, "measured once: no probability")
	default:
		f.Decision = forecast.Reject
		f.Reasons = append(f.Reasons, "measured once: no probability")
	}
	return f
}

// describe says how a figure stands to its limits.
func describe(s forecast.Spec, value float64) string {
	t, _ := trait.Lookup(s.Response)
	label := cmp.Or(t.Label, s.Response)
	amount := func(v float64) string { return strings.TrimSpace(trait.Format(s.Response, v) + " " + t.Unit) }
	switch {
	case s.Low != nil && value < *s.Low:
		return label + " " + amount(value) + " is below " + amount(*s.Low)
	case s.High != nil && value > *s.High:
		return label + " " + amount(value) + " is above " + amount(*s.High)
	}
	return label + " " + amount(value) + " lies within its limits"
}
