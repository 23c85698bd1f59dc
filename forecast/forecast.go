// Package forecast says, for one new lot, what a model expects of it, how sure
// that is, and whether the lot may be accepted by a specification.
//
//  1. The lot's features are put into the model's order; a missing one holds.
//     Replicates that disagree hold, and those that are worse than calibration's
//     add to the uncertainty.
//  2. The model gives a value, the domain a placement, the interval a range; the
//     features' contributions say what moved the value off the average lot's.
//  3. With a specification, the probability of meeting it decides: accept, reject
//     or hold by a rule stated beforehand. With named bands, each gets its
//     probability.
//  4. Whatever speaks against deciding (outside the domain, another method, a
//     failing run, a model not fit for use) holds, and says what to do next.
//
// A forecast supports a decision; it releases nothing. The package refuses to
// decide without a specification, and never turns a doubt into an accept or a
// reject. It knows no files and no folds.
//
// # In a few lines
//
// One lot, the model, a specification:
//
//	limits, err := forecast.ParseSpec("hardness_N=..3.9")
//	f := forecast.Make(forecast.Input{Lot: "N26-001", Features: features, Model: model, Spec: &limits, Level: 0.90})
//	fmt.Println(f.Decision, f.Reasons)
package forecast

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/replicate"
	"flourcast/dataset/trait"
	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/forecast/conformance"
)

// Caution is what every face prints beside forecasts.
const Caution = "A forecast supports a decision; it releases nothing."

// Decisions on a lot.
const (
	Accept = conformance.Accept
	Hold   = conformance.Hold
	Reject = conformance.Reject
)

// Rule is the decision rule: accept at a probability of meeting the specification
// of Accept or more, reject at Reject or less, else hold.
type Rule = conformance.Rule

// DefaultRule accepts at 0.95 and rejects at 0.05.
func DefaultRule() Rule { return conformance.DefaultRule() }

// Predictor is what a forecast needs of a fitted model; model.Fitted is one.
type Predictor interface {
	Predict(x []float64) float64
}

// Model is what a forecast needs to know of a model.
type Model struct {
	Response      string
	Features      []string // in the order that Fitted and Domain take
	Method        string   // of the calibration; "" when its table named none
	Fitted        Predictor
	Interval      interval.Interval // used where Cross is nil
	Cross         *interval.Cross
	Domain        *domain.Domain
	Standing      string   // of the verdict
	StandingCause string   // the verdict's sentence, or ""
	Overrides     []string // contradictions that a person overrode, with the reason; each is repeated

	// Coefficients and Average are the model's slopes in original units and the mean
	// of each feature over the calibration lots, in the order of Features; nil where
	// contributions and the weight of replicates cannot be had.
	Coefficients []float64
	Average      []float64
	// Repeat is how well the calibration's runs repeated, by feature; a feature
	// without is not in it.
	Repeat map[string]replicate.Pooled
	// Distances places features on a PLS model's components; nil for other methods.
	Distances func(x []float64) Distance
}

// Input is one new lot put to a model. Features are by the model's names, in
// their units; a missing figure is a missing key. Problems are what the readers
// found against using the runs (a failing run, another unit, replicates that
// disagree): each holds the lot, and should say what to do.
type Input struct {
	Lot      string
	Features map[string]float64
	// Replicates are the number and SD of the runs behind a feature's mean; a feature
	// that is not in it counts as run once.
	Replicates map[string]replicate.Summary
	Method     string // of the lot's runs; "" when not known
	Problems   []string
	Notes      []string // repeated among the reasons, without holding
	Model      Model
	Spec       *Spec
	Bands      *Bands  // named classes of the response; nil: none
	Level      float64 // of the interval, such as 0.90
	Rule       *Rule   // nil: DefaultRule
	// Bridged is the variance that features converted from another instrument add, in
	// squared response units; 0 for features of the model's own.
	Bridged float64
}

// Forecast is the answer for one lot. Value, Low, High and Probability are absent
// where they could not be had.
type Forecast struct {
	Lot      string   `json:"lot"`
	Response string   `json:"response"`
	Value    *float64 `json:"value"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	Level    float64  `json:"level"`
	// IntervalKind says how low and high were had (jackknife+, cv+, parametric),
	// and IntervalLevel what they hold: order statistics of few lots give the next
	// level above the one asked for, 1 with infinite limits.
	IntervalKind  string  `json:"interval_kind,omitempty"`
	IntervalLevel float64 `json:"interval_level,omitempty"`

	// StandardError is √(MSECV·(1 + h) + variance of the replicates beyond
	// calibration's), DF the degrees of freedom of Student's t. ReplicateError is the
	// root of that added variance. In response units.
	StandardError  *float64 `json:"standard_error"`
	DF             *float64 `json:"df"`
	ReplicateError *float64 `json:"replicate_error,omitempty"`
	// BridgeError is the standard error that a bridge from another instrument adds.
	BridgeError *float64 `json:"bridge_error,omitempty"`

	Domain   string   `json:"domain"`    // inside | edge | outside; "" when it could not be placed
	DomainBy []string `json:"domain_by"` // features that cause it, heaviest first
	// Nearest is the calibration lot most like this one; absent where the lot could
	// not be placed, or the model file does not know its lots. Shown, not judged.
	Nearest     *domain.Nearest `json:"nearest"`
	Probability *float64        `json:"probability"` // of meeting the specification
	// FromErrors is the same probability counted from the errors of the folds, without
	// a distribution; absent for a model without a jackknife+ or CV+ interval.
	FromErrors *float64 `json:"probability_from_errors,omitempty"`
	// AcceptFrom and AcceptTo are the forecasts of such a lot that would be accepted:
	// the specification less its guard bands. Both absent where none would be.
	AcceptFrom *float64 `json:"accept_from,omitempty"`
	AcceptTo   *float64 `json:"accept_to,omitempty"`
	Spec       string   `json:"spec"`     // as ParseSpec reads it; "" without one
	Decision   string   `json:"decision"` // accept | hold | reject; "" where nothing holds and no specification was given
	Reasons    []string `json:"reasons"`

	// Class is the most probable of Classes, which are given where bands were.
	Class   string  `json:"class,omitempty"`
	Classes []Class `json:"classes,omitempty"`
	// Average is the forecast of the average calibration lot; Value is Average plus
	// all Contributions.
	Average       *float64       `json:"average"`
	Contributions []Contribution `json:"contributions"`
	// Distance is the lot on a PLS model's own components: shown, not judged, for
	// Domain asks the same of all features.
	Distance   *Distance    `json:"components,omitempty"`
	Replicates []Replicated `json:"replicates"`
}

// Make forecasts one lot and decides. It never fails: what speaks against a
// figure or a decision is among the reasons, those that hold first. The decision
// is
//
//   - hold, whatever the specification, when the model is not fit for use or of
//     unknown standing, the method differs or is not known, a run has a problem, a
//     feature is missing, the lot lies outside the domain, or a figure could not
//     be computed;
//   - else accept, reject or hold by the conformance probability and the rule;
//   - else, without a specification, empty.
func Make(in Input) Forecast {
	f := Forecast{Lot: in.Lot, Response: in.Model.Response, Level: in.Level, DomainBy: []string{}, Reasons: []string{},
		Contributions: []Contribution{}, Replicates: []Replicated{}}
	if in.Spec != nil {
		f.Spec = in.Spec.String()
	}
	m := maker{in: in, f: &f}
	m.standing()
	m.method()
	for _, p := range in.Problems {
		m.hold("%s", p)
	}
	m.replicates()
	m.bridged()
	x, ok := m.predict()
	m.classify(x, ok && in.Model.Standing != verdict.NotFitForUse)
	m.decide(x, ok)
	f.Reasons = append(append(f.Reasons, m.holds...), m.notes...)
	return f
}

// maker collects what holds and what is only noted.
type maker struct {
	in    Input
	f     *Forecast
	extra float64 // variance of the replicates beyond calibration's, and of a bridge
	holds []string
	notes []string
}

func (m *maker) hold(format string, args ...any) {
	m.holds = append(m.holds, fmt.Sprintf(format, args...))
}

func (m *maker) note(format string, args ...any) {
	m.notes = append(m.notes, fmt.Sprintf(format, args...))
}

// standing holds a lot by a model that is not fit for use, and says that a model
// is provisional.
func (m *maker) standing() {
	cause := strings.TrimSuffix(m.in.Model.StandingCause, ".")
	say := func(plain string) string {
		if cause == "" {
			return plain
		}
		return "the verdict on the model: " + cause
	}
	switch m.in.Model.Standing {
	case verdict.FitForUse:
		cause = "" // not said, so that overrides are
	case verdict.Provisional:
		m.note("%s", say("the model is provisional"))
	case verdict.NotFitForUse:
		m.hold("%s; %s", say("the model is not fit for use"), m.measure())
	default:
		m.hold("the model's standing is not known; fit it again with its checks")
	}
	for _, o := range m.in.Model.Overrides {
		if !strings.Contains(cause, o) {
			m.note("overridden: %s", o)
		}
	}
	for _, n := range m.in.Notes {
		m.note("%s", n)
	}
}

// method holds a lot that was run by another method than the model's. A model
// over several methods names them in its features, which are then missing or not.
func (m *maker) method() {
	want, got := m.in.Model.Method, m.in.Method
	named := slices.ContainsFunc(m.in.Model.Features, func(f string) bool { _, by := trait.Split(f); return by != "" })
	switch {
	case want == got || want == "" && named:
	case got == "":
		m.hold("the method of the run is not known, the model is for %s; state the method", want)
	case want == "":
		m.hold("the run is by %s, the model does not say by which method it was calibrated; fit it again with the method stated", got)
	default:
		m.hold("the run is by %s, the model is for %s; run the lot by %s", got, want, want)
	}
}

// source is the model's interval. A fit that knows its own leverage gives it; the
// domain's serves the others.
func (m Model) source(extra float64) interval.Source {
	s := interval.Source{Normal: m.Interval, Cross: m.Cross, Extra: extra, Leverage: func(x []float64) float64 { return m.Domain.Place(x).Leverage }}
	if own, ok := m.Fitted.(interface{ LeverageAt(x []float64) float64 }); ok {
		s.Leverage = own.LeverageAt
	}
	return s
}

// mostNamed is how many absent figures of a lot are named.
const mostNamed = 6

// fewLots is the number of lots below which an interval's own level is said.
const fewLots = 30

// predict fills placement, value and interval, and gives the features in the
// model's order; ok is false when there is no value to decide by.
func (m *maker) predict() (x []float64, ok bool) {
	model := m.in.Model
	x = make([]float64, len(model.Features))
	var missing []string
	for j, name := range model.Features {
		v, has := m.in.Features[name]
		if !has || math.IsNaN(v) || math.IsInf(v, 0) {
			missing = append(missing, trait.Name(name))
			continue
		}
		x[j] = v
	}
	if n := len(missing); n > 0 {
		if n > mostNamed {
			missing = append(missing[:mostNamed:mostNamed], fmt.Sprintf("and %d more of %d", n-mostNamed, len(x)))
		}
		m.hold("no figure for %s, so nothing is forecast; repeat the run, or measure what is missing", strings.Join(missing, ", "))
		return nil, false
	}
	if model.Fitted == nil || model.Domain == nil || !slices.Equal(model.Domain.Features(), model.Features) ||
		model.Cross != nil && len(model.Cross.Models[0].Coefficients) != len(model.Features) {
		m.hold("the model's parts do not belong together; fit it again")
		return nil, false
	}
	place := model.Domain.Place(x)
	m.f.Domain, m.f.DomainBy = place.Where, place.By
	if place.Nearest.Lot != "" {
		m.f.Nearest = &place.Nearest
	}
	if place.Where == domain.Outside {
		m.hold("outside what the model was calibrated on: %s; repeat the run, and if it stands, %s", why(place, domain.Outside), m.measure())
	} else if place.Where == domain.Edge {
		m.note("at the edge of what the model was calibrated on: %s", why(place, domain.Edge))
	}
	value := model.Fitted.Predict(x)
	if math.IsNaN(value) || math.IsInf(value, 0) {
		m.hold("the model gives no finite figure for this lot; look at its features, and %s", m.measure())
		return nil, false
	}
	m.f.Value = &value
	m.contributions(x)
	if model.Distances != nil {
		d := model.Distances(x)
		m.f.Distance = &d
	}
	source := model.source(m.extra)
	r, err := source.Around(x, value, m.in.Level)
	if err != nil {
		m.hold("no interval can be given (%v); see level and model", err)
		return nil, false
	}
	if spread, err := source.Spread(x); err == nil && !source.OnLog() {
		m.f.StandardError, m.f.DF = &spread.U, &spread.DF
	}
	m.f.Low, m.f.High, m.f.IntervalKind, m.f.IntervalLevel = r.Low, r.High, source.Kind(), r.Level
	if r.Reason != "" {
		m.hold("%s; measure more lots, or ask for a lower level", r.Reason)
	} else if model.Cross != nil && model.Cross.Lots < fewLots {
		m.note("of %d lots the interval's level is %.1f %%, the next that so few can give", model.Cross.Lots, 100*r.Level)
	}
	return x, true
}

// measure is what to do when a forecast does not decide.
func (m *maker) measure() string {
	if t, ok := trait.Lookup(m.in.Model.Response); ok {
		switch t.Family {
		case "texture":
			return "make noodles and measure them"
		case "bake":
			return "bake and measure"
		}
	}
	return "measure " + trait.Name(m.in.Model.Response) + " itself"
}

// why names the features behind a placement, at most three, with value and
// calibrated range.
func why(p domain.Placement, where string) string {
	var parts, named []string
	for _, r := range p.Reasons {
		if r.Where != where || slices.Contains(named, r.Feature) || len(named) == 3 {
			continue
		}
		named = append(named, r.Feature)
		part := fmt.Sprintf("%s %s", trait.Name(r.Feature), amount(r.Feature, r.Value))
		if r.Test == domain.TestRange {
			part += fmt.Sprintf(" (calibrated %s to %s)", trait.Format(r.Feature, r.Low), trait.Format(r.Feature, r.High))
		} else {
			part += " (unusual beside the other features)"
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

// probability writes a probability with three decimals, cut towards one half so
// that it never looks surer than it is, and never 0 or 1.
func probability(p float64) string {
	switch {
	case p < 0.001:
		return "below 0.001"
	case p > 0.999:
		return "above 0.999"
	}
	if p >= 0.5 {
		return fmt.Sprintf("%.3f", math.Floor(p*1000)/1000)
	}
	return fmt.Sprintf("%.3f", math.Ceil(p*1000)/1000)
}
