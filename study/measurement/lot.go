package measurement

import (
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/run"
	"flourcast/dataset/session"
	"flourcast/dataset/trait"
	"flourcast/stat/precision"
)

// SessionOfLot is the runs of one lot by one method on one instrument on one day, and
// what they say of each feature. Runs are the runs' names.
type SessionOfLot struct {
	Method     string
	Instrument string
	Day        string // "" if it is not known
	Runs       []string
	Waiting    bool // for their line in a runs file: instrument and day are not known
	Features   []FeatureOfLot
}

// FeatureOfLot is one feature of a session, in its unit. Values are those of the runs,
// nil where a run does not have it. Spread is the largest less the smallest of two runs
// or more. RepeatSD is the repeatability of the method on the instrument, over the
// laboratory's lots, and Limit what runs of one flour differ by at most in 95 % of cases
// (precision.CriticalRange); both are nil where they are not known. Agrees is whether
// Spread keeps within Limit.
type FeatureOfLot struct {
	Feature  string
	Values   []*float64
	Mean     float64
	N        int
	Spread   *float64
	RepeatSD *float64
	Limit    *float64
	Agrees   *bool
}

// AsideOfLot is a run of the lot that is in no session, and why.
type AsideOfLot struct{ Run, Method, Day, Why string }

// OfLot are the sessions of a lot in the order of its runs, and its runs that are in
// none. rep is the laboratory's repeatability, nil where it has none.
func OfLot(read *dataset.Joined, rep *RepeatabilityResult, lot string) (sessions []SessionOfLot, aside []AsideOfLot) {
	var own []run.Run
	for _, r := range read.Runs {
		if r.Lot == lot {
			own = append(own, r)
		}
	}
	for _, s := range session.Pick(own).Sessions {
		out := SessionOfLot{Method: s.Method, Instrument: s.Instrument, Day: s.Day}
		for _, r := range s.Runs {
			out.Runs = append(out.Runs, nameOf(r))
		}
		out.take(func(run int, id string) (float64, bool) { return s.Runs[run].Features.Get(id) })
		for i := range out.Features {
			out.Features[i].against(rep, s)
		}
		sessions = append(sessions, out)
	}
	for i := range own {
		if why := session.Barred(&own[i]); why != "" {
			aside = append(aside, AsideOfLot{nameOf(&own[i]), own[i].Method, session.Day(own[i].TestedAt), why})
		}
	}
	return sessions, aside
}

// Waiting is a session of runs of one method that wait for their line in a runs file, by
// the features of their curves in the order of runs. Nothing is said of repeatability:
// neither instrument nor day is known.
func Waiting(method string, runs []string, features []map[string]float64) SessionOfLot {
	s := SessionOfLot{Method: method, Runs: runs, Waiting: true}
	s.take(func(run int, id string) (float64, bool) { v, ok := features[run][id]; return v, ok })
	return s
}

// take fills the features that at least one of the runs has.
func (s *SessionOfLot) take(get func(run int, id string) (float64, bool)) {
	for _, t := range trait.All() {
		f := FeatureOfLot{Feature: t.ID}
		var values []float64
		for run := range s.Runs {
			if v, ok := get(run, t.ID); ok {
				values, f.Values = append(values, v), append(f.Values, &v)
			} else {
				f.Values = append(f.Values, nil)
			}
		}
		if f.N = len(values); f.N == 0 {
			continue
		}
		f.Mean = summary(values).Mean
		if f.N > 1 {
			spread := slices.Max(values) - slices.Min(values)
			f.Spread = &spread
		}
		s.Features = append(s.Features, f)
	}
}

// against sets the feature against the repeatability of its method and instrument.
func (f *FeatureOfLot) against(rep *RepeatabilityResult, s session.Session) {
	if rep == nil {
		return
	}
	for _, g := range rep.Groups {
		if g.Method != s.Method || g.Instrument != s.Instrument {
			continue
		}
		for _, of := range g.Features {
			if of.Feature != f.Feature || of.RepeatSD == nil {
				continue
			}
			f.RepeatSD = of.RepeatSD
			if limit, ok := precision.CriticalRange(f.N, *of.RepeatSD); ok {
				agrees := *f.Spread <= limit
				f.Limit, f.Agrees = &limit, &agrees
			}
		}
	}
}
