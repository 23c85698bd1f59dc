package control

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/finding"
	chart "flourcast/stat/control"
)

// series is the checks of one batch by one method on one instrument, in order of time.
type series struct {
	instrument, batch, method string
	checks                    []Check
	out, judged               []bool // by check: a deciding feature has a signal; has limits
	signals                   [][]Signal
}

// Judge charts the checks and gives every day its standing. Limits come from the
// batch's own runs (moving ranges; those outside are set aside, from the limits only)
// around its assigned figure or, without one, its mean. A run outside the limits is
// not carried on in the EWMA, since its control has to be repeated; an event of the
// instrument lets the EWMA begin again. Where k features decide, limits are so wide
// that a run in order is called out as seldom as by one feature at 3 SD.
//
// Checks without a date are named and not charted.
func Judge(checks []Check, batches []Batch, events []Event, opt Options) Judgement {
	deciding := opt.Features
	if len(deciding) == 0 {
		deciding = Deciding
	}
	j := Judgement{Charts: []Chart{}, Days: []Day{}, Overlaps: []Overlap{}}
	all := j.group(checks)
	for _, s := range all {
		b := batchOf(batches, s.batch, s.method)
		j.noteBatch(s, b, len(batches) > 0)
		s.out, s.judged, s.signals = make([]bool, len(s.checks)), make([]bool, len(s.checks)), make([][]Signal, len(s.checks))
		for t := range trait.Each() {
			if t.Role == trait.RoleFeature {
				j.chart(s, t.ID, b, events, deciding, opt.Base)
			}
		}
		j.noteLimits(s)
	}
	j.days(all)
	j.overlaps(all)
	return j
}

// group parts the checks by instrument, batch and method, and puts each in order of time.
func (j *Judgement) group(checks []Check) []*series {
	var all []*series
	undated := 0
	var first finding.Place
	for _, c := range checks {
		if day, _ := split(c.TestedAt); day == "" {
			if undated++; undated == 1 {
				first = c.At
			}
			continue
		}
		k := slices.IndexFunc(all, func(s *series) bool {
			return s.instrument == c.Instrument && s.batch == c.Batch && s.method == c.Method
		})
		if k < 0 {
			k = len(all)
			all = append(all, &series{instrument: c.Instrument, batch: c.Batch, method: c.Method})
		}
		all[k].checks = append(all[k].checks, c)
	}
	if undated > 0 {
		j.Findings.Add(finding.Finding{Code: "control-undated", Severity: finding.Doubt, At: first, Found: fmt.Sprintf("%d control runs without a date that can be read; they are not charted", undated),
			Want: "the day of each control run in the runs file (tested_at)", Do: "fill it in: without it no day is vouched for"})
	}
	for _, s := range all {
		slices.SortStableFunc(s.checks, func(a, b Check) int { return strings.Compare(a.TestedAt, b.TestedAt) })
	}
	return all
}

// batchOf is the batch by its method or, failing that, for any method; nil if neither.
func batchOf(batches []Batch, lot, method string) *Batch {
	for _, m := range []string{method, ""} {
		for i := range batches {
			if batches[i].Lot == lot && batches[i].Method == m {
				return &batches[i]
			}
		}
	}
	return nil
}

// noteBatch tells of a batch that is not listed, or past its date.
func (j *Judgement) noteBatch(s *series, b *Batch, listed bool) {
	if b == nil {
		if listed {
			j.Findings.Add(finding.Finding{Code: "control-batch-unknown", Severity: finding.Doubt, At: s.checks[0].At, Found: fmt.Sprintf("control batch %s, which no controls file has", s.batch),
				Want: "a batch of the controls file", Do: "enter the batch with its assigned figures and expiry"})
		}
		return
	}
	if b.ExpiresOn == "" {
		return
	}
	for i, c := range s.checks {
		if day, _ := split(c.TestedAt); day > b.ExpiresOn[:len("2006-01-02")] {
			j.Findings.Add(finding.Finding{Code: "control-expired", Severity: finding.Doubt, At: c.At, Found: fmt.Sprintf("%d runs of control batch %s after %s", len(s.checks)-i, s.batch, b.ExpiresOn),
				Want: "runs up to its expiry", Do: "go over to the next batch, with overlap runs of both"})
			return
		}
	}
}

// chart makes the chart of one feature, if any check has it.
func (j *Judgement) chart(s *series, feature string, b *Batch, events []Event, deciding []string, base int) {
	c := Chart{Instrument: s.instrument, Batch: s.batch, Method: s.method, Feature: feature, Decides: slices.Contains(deciding, feature), Points: []Point{}}
	var at []int // checks that have the feature
	var x []float64
	for i, check := range s.checks {
		if v, ok := check.Values[feature]; ok {
			at, x = append(at, i), append(x, v)
			c.Points = append(c.Points, Point{Run: check.Run, TestedAt: check.TestedAt, Value: v})
		}
	}
	if len(x) == 0 {
		return
	}
	if b != nil {
		if v, ok := b.Assigned[feature]; ok {
			c.Assigned = &v
		}
	}
	for _, v := range x {
		c.Mean += v / float64(len(x))
	}
	if l, aside, err := c.estimate(x, base, len(deciding)); err != nil {
		c.Reason = strings.TrimPrefix(err.Error(), "control: ")
	} else {
		for _, k := range aside {
			c.Points[k].SetAside = true
		}
		c.draw(x, l, func(i int) bool {
			return i > 0 && between(events, s.instrument, s.checks[at[i-1]].TestedAt, s.checks[at[i]].TestedAt)
		})
		if c.Decides {
			c.decide(s, at)
		}
	}
	j.Charts = append(j.Charts, c)
}

// estimate takes the limits from the first base figures, or from all. aside are
// the figures that were set aside for them.
func (c *Chart) estimate(x []float64, base, features int) (l chart.Limits, aside []int, err error) {
	if base > 0 && base < len(x) {
		x = x[:base]
	}
	if len(x) < leastRuns {
		return l, nil, &chart.Error{What: "control runs for limits", Found: fmt.Sprint(len(x)), Want: fmt.Sprint(leastRuns, " or more")}
	}
	if l, err = chart.Estimate(x, chart.SDs(features)); err != nil {
		return l, nil, err
	}
	c.Mean = l.Centre
	if c.Assigned != nil {
		l.Centre = *c.Assigned
	}
	return l, l.SetAside, nil
}

// draw fills the points in.
func (c *Chart) draw(x []float64, l chart.Limits, fresh func(i int) bool) {
	e := chart.EWMA{Lambda: lambda, L: ewmaSDs * l.K / 3, Centre: l.Centre, Sigma: l.Sigma}
	c.Limits = &Limits{Centre: l.Centre, SD: l.Sigma, Low: l.Low(), High: l.High(), SDs: l.K, EWMASDs: e.L, Runs: l.N}
	single := l.Shewhart(x)
	gathered := e.Run(x, fresh, func(i int) bool { return single[i].Signal != chart.None })
	for i := range x {
		p, g := &c.Points[i], gathered[i]
		p.EWMA, p.EWMALow, p.EWMAHigh = &g.Value, &g.Low, &g.High
		p.Single, p.Gathered = string(single[i].Signal), string(g.Signal)
	}
}

// decide takes a deciding chart's signals over to the runs.
func (c *Chart) decide(s *series, at []int) {
	l := c.Limits
	for k, p := range c.Points {
		i := at[k]
		s.judged[i] = true
		add := func(kind, side string, value, sds float64) {
			if side != "" {
				s.out[i] = true
				s.signals[i] = append(s.signals[i], Signal{p.Run, c.Batch, c.Method, c.Feature, kind, side, value, sds})
			}
		}
		add("single", p.Single, p.Value, (p.Value-l.Centre)/l.SD)
		add("gathered", p.Gathered, *p.EWMA, (*p.EWMA-l.Centre)/((*p.EWMAHigh-l.Centre)/l.EWMASDs))
	}
}

// noteLimits tells, once for a reason, which deciding charts of a series have no
// limits, or rough ones.
func (j *Judgement) noteLimits(s *series) {
	var reasons []string
	features := map[string][]string{}
	for _, c := range j.Charts {
		if !c.Decides || c.Instrument != s.instrument || c.Batch != s.batch || c.Method != s.method {
			continue
		}
		reason := c.Reason
		if c.Limits != nil {
			if c.Limits.Runs >= goodRuns {
				continue
			}
			reason = fmt.Sprintf("limits from %d runs are rough, expected %d or more", c.Limits.Runs, goodRuns)
		}
		if features[reason] == nil {
			reasons = append(reasons, reason)
		}
		features[reason] = append(features[reason], c.Feature)
	}
	for _, reason := range reasons {
		j.Findings.Add(finding.Finding{Code: "control-limits", Severity: finding.Note, At: s.checks[0].At,
			Found: fmt.Sprintf("control batch %s by %s on instrument %s, %s: %s", s.batch, s.method, cmp.Or(s.instrument, "not stated"), strings.Join(features[reason], ", "), reason),
			Do:    "run the control flour every day"})
	}
}

// between reports whether an event of the instrument lies after one run and up to
// the next. An event without a time of day counts as before the day's runs.
func between(events []Event, instrument, after, upTo string) bool {
	return slices.ContainsFunc(events, func(e Event) bool {
		return (e.Instrument == "" || e.Instrument == instrument) && e.TestedAt > after[:min(len(after), len(e.TestedAt))] && e.TestedAt <= upTo
	})
}
