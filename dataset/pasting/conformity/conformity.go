// Package conformity judges how a pasting run kept to its method.
//
//  1. The measured temperature is compared with the programme stage by stage:
//     offset, lag, overshoot, rates, length of the hot hold. A clock that started
//     early or late is told from a block that lags.
//  2. Speed, if recorded, is compared with the method's.
//  3. The viscosity is looked at for what is no property of the flour: coarse
//     particles that settle at the start, a noisy paddle.
//  4. These, and what package trace found in the record, become Deviations: each
//     with its stage, its size and its likely effect on named features.
//  5. The user's Policy says which of them refuse the run.
//
// A run that followed another programme, or turned at another speed, is refused
// whatever the policy: it is a run of another method. Nothing is corrected. The
// package knows one run and its method; limits that no method file states are
// constants here, and ours.
package conformity

import (
	"fmt"
	"strings"

	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Deviation is one way in which a run did not keep to its method. Size is in
// Unit; a deviation without a size has none. Affects names the features that it
// is likely to touch.
type Deviation struct {
	Code     string           `json:"code"`
	Severity finding.Severity `json:"severity"`
	Stage    string           `json:"stage"` // "" for the whole run
	FromS    float64          `json:"from_s"`
	ToS      float64          `json:"to_s"`
	Size     float64          `json:"size"`
	Unit     string           `json:"unit"`
	Affects  []string         `json:"affects"`
	Effect   string           `json:"effect"`

	finding finding.Finding
}

// Report is how one run kept to its method. Stages is empty without a programme
// or a measured temperature.
type Report struct {
	Stages     []Stage     `json:"stages"`
	Deviations []Deviation `json:"deviations"`
	DurationS  float64     `json:"duration_s"`
	StepS      float64     `json:"step_s"`         // median time between points
	LongestS   float64     `json:"longest_step_s"` // longest time between points
	ShiftS     *float64    `json:"shift_s,omitempty"`
}

// Check judges a run by its trace and the faults that trace.Read gave with it;
// tr is nil for a refused record. The list has a finding for every fault and
// every deviation, the effect in words, severities by the policy.
func Check(tr *trace.Trace, faults []trace.Fault, p Policy) (Report, finding.List) {
	k := checker{tr: tr}
	var list finding.List
	for _, f := range faults {
		if e, known := effects[f.Code]; known && tr != nil {
			k.fault(f, e)
		} else {
			list.Add(f.Finding)
		}
	}
	if tr != nil {
		k.measure()
		k.temperature()
		k.speed()
		k.settling()
		k.noise()
	}
	if k.out.Stages == nil {
		k.out.Stages = []Stage{}
	}
	if k.out.Deviations == nil {
		k.out.Deviations = []Deviation{}
	}
	for i := range k.out.Stages {
		k.out.Stages[i].off = nil // nobody needs the points once the stage is judged, and there may be many runs
	}
	for i := range k.out.Deviations {
		d := &k.out.Deviations[i]
		if p.Refuses(d.Code) && d.Severity == finding.Doubt {
			d.Severity = finding.Refused
			d.finding.Do = "refused by the policy; " + d.finding.Do
		}
		d.finding.Severity = d.Severity
		list.Add(d.finding)
	}
	return k.out, list
}

// checker collects what is found about one run.
type checker struct {
	tr    *trace.Trace
	out   Report
	shift float64 // s by which the run's clock is ahead of the programme's
}

// add keeps a deviation; its finding's text gets the effect.
func (k *checker) add(d Deviation, f finding.Finding) {
	if d.Effect != "" {
		f.Found += ": " + d.Effect
	}
	d.Code, d.finding = f.Code, f
	if d.Severity == "" {
		d.Severity = finding.Doubt
	}
	if d.Affects == nil {
		d.Affects = []string{}
	}
	k.out.Deviations = append(k.out.Deviations, d)
}

// fault turns a fault of the record into a deviation.
func (k *checker) fault(f trace.Fault, e effect) {
	stage := k.stageAt(f.FromS)
	if f.ToS-f.FromS > (k.tr.Last()-k.tr.T[0])*0.9 {
		stage = ""
	}
	affects := e.affects
	if affects == nil {
		affects = touched[stage]
	}
	text := e.text
	if strings.Contains(text, "%") {
		text = fmt.Sprintf(text, f.Size)
	}
	k.add(Deviation{Severity: f.Severity, Stage: stage, FromS: f.FromS, ToS: f.ToS, Size: f.Size, Unit: f.Unit, Affects: affects, Effect: text}, f.Finding)
}

// Stage names of the measured stages.
const (
	start   = "start"
	heating = "heating"
	hot     = "hot hold"
	cooling = "cooling"
	final   = "final"
)

// stageAt is the measured stage at a time.
func (k *checker) stageAt(timeS float64) string {
	s := k.tr.Stages
	switch {
	case timeS < s.Heating:
		return start
	case timeS < s.Hot:
		return heating
	case !s.HasCooling || timeS < s.Cooling:
		return hot
	case !s.HasFinal || timeS < s.Final:
		return cooling
	}
	return final
}

func (k *checker) measure() {
	k.out.DurationS, k.out.StepS, k.out.LongestS = k.tr.Last()-k.tr.T[0], k.tr.UsualS, k.tr.LongestS
}

// Words are the labels of the features that a deviation affects, for people.
func (d Deviation) Words() string {
	var out []string
	for _, id := range d.Affects {
		if t, ok := trait.Lookup(id); ok {
			out = append(out, t.Label)
		}
	}
	return strings.Join(out, ", ")
}
