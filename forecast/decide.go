package forecast

import (
	"fmt"

	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/forecast/conformance"
)

// decide fills probability and decision.
func (m *maker) decide(x []float64, ok bool) {
	spec, rule := m.in.Spec, DefaultRule()
	if m.in.Rule != nil {
		rule = *m.in.Rule
	}
	if spec == nil {
		if len(m.holds) > 0 {
			m.f.Decision = Hold
		}
		m.note("no specification was given, so nothing is decided")
		return
	}
	m.f.Decision = Hold
	switch err := spec.Check(); {
	case err != nil:
		m.hold("%v", err)
		return
	case spec.Response != m.in.Model.Response:
		m.hold("the specification is for %s, the model forecasts %s; use a model for %s", spec.Response, m.in.Model.Response, spec.Response)
		return
	case rule.Check() != nil:
		m.hold("the decision rule (accept from %v, reject to %v) cannot be followed; state it with reject below accept", rule.Accept, rule.Reject)
		return
	case !ok || m.in.Model.Standing == verdict.NotFitForUse:
		return
	}
	source, limits := m.in.Model.source(m.extra), conformance.Limits{Low: spec.Low, High: spec.High}
	p, spread, err := m.probability(source, x, limits)
	if err != nil {
		m.hold("no probability can be given (%v); see the model", err)
		return
	}
	m.f.Probability = &p
	if accepted, ok, err := limits.Acceptance(spread, rule.Accept); err == nil && ok && !source.OnLog() {
		m.f.AcceptFrom, m.f.AcceptTo = accepted.Low, accepted.High
	}
	chance := fmt.Sprintf("the probability of meeting %s is %s", spec.words(), probability(p))
	if len(m.holds) > 0 {
		m.note("%s, but the lot is held for what is said above", chance)
		return
	}
	m.count(source, x, p, rule)
	switch rule.Decide(p) {
	case Accept:
		m.f.Decision = Accept
		m.note("%s, at least %.4g: this supports accepting the lot; the release stays with whoever signs for it", chance, rule.Accept)
	case Reject:
		m.f.Decision = Reject
		m.note("%s, at most %.4g: this supports rejecting the lot for this use; another use or a blend may suit it", chance, rule.Reject)
	default:
		m.hold("%s, between %.4g and %.4g, too unsure to decide by: %s", chance, rule.Reject, rule.Accept, m.measure())
	}
}

// probability is that of meeting the limits: by Student's t, or, for a model of
// logarithms, whose errors grow with the value, counted from the folds' own errors;
// spread is then empty.
func (m *maker) probability(source interval.Source, x []float64, limits conformance.Limits) (p float64, spread conformance.Spread, err error) {
	if source.OnLog() {
		p, err = source.Conformance(x, *m.f.Value, limits.Low, limits.High)
		return p, spread, err
	}
	if spread, err = source.Spread(x); err != nil {
		return 0, spread, err
	}
	p, err = limits.Probability(*m.f.Value, spread)
	return p, spread, err
}

// count gives the probability that the folds' own errors give, and says so where
// it would decide otherwise.
func (m *maker) count(source interval.Source, x []float64, p float64, rule Rule) {
	if source.Cross == nil {
		return
	}
	counted, err := source.Conformance(x, *m.f.Value, m.in.Spec.Low, m.in.Spec.High)
	if err != nil {
		return // the probability stands; an interval that could not be had holds by itself
	}
	m.f.FromErrors = &counted
	if rule.Decide(counted) != rule.Decide(p) {
		m.note("counted from the errors of %d lots, without a distribution, the probability is %s", source.Cross.Lots, probability(counted))
	}
}
