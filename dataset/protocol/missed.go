package protocol

import (
	"fmt"
	"math"
	"strings"

	"flourcast/finding"
)

// Ran is what a test was run at, recorded or read off its curve; nil is not known.
type Ran struct {
	StrainPct, PauseS, SpeedMMPerS *float64
	// StrainRead: the strain was read off a curve, where a soft piece shows its contact
	// late, so that twice as much is allowed.
	StrainRead bool
}

// Miss is a rule that a test was not run by.
type Miss struct {
	Rule      string // its key in a protocol file
	Ran, Want float64
	Unit      string
}

// String is the rule, as it ran: "strain 62 %".
func (m Miss) String() string { return fmt.Sprintf("%s %.3g %s", words[m.Rule], m.Ran, m.Unit) }

var words = map[string]string{"strain_pct": "strain", "pause_s": "pause", "speed_mm_per_s": "speed"}

// A rule is missed by more than one twentieth of it, a pause also by no less than
// 0.2 s, which a curve does not tell better (ours).
const (
	missShare  = 0.05
	missPauseS = 0.2
)

// Missed are the stated rules that a test was not run by. What the protocol does not
// state, or the test does not tell, is not missed.
func (p Protocol) Missed(r Ran) (out []Miss) {
	strain := missShare
	if r.StrainRead {
		strain *= 2
	}
	for _, x := range []struct {
		rule, unit string
		ran, want  *float64
		share      float64
		least      float64
	}{{"strain_pct", "%", r.StrainPct, p.StrainPct, strain, 0}, {"pause_s", "s", r.PauseS, p.PauseS, missShare, missPauseS}, {"speed_mm_per_s", "mm/s", r.SpeedMMPerS, p.SpeedMMPerS, missShare, 0}} {
		if x.ran != nil && x.want != nil && math.Abs(*x.ran-*x.want) > max(x.share**x.want, x.least) {
			out = append(out, Miss{x.rule, *x.ran, *x.want, x.unit})
		}
	}
	return out
}

// Finding is the doubt about a miss of the test at a place.
func (m Miss) Finding(at finding.Place) finding.Finding {
	at.Column = m.Rule
	return finding.Finding{Code: "rule-missed", Severity: finding.Doubt, At: at, Found: m.String(), Want: fmt.Sprintf("%g %s by the protocol", m.Want, m.Unit),
		Do: "not pooled with readings that kept the rule: repeat the test, or name the protocol that was run"}
}

// RanAs names the protocol of a test that missed rules: its readings are by other
// rules, and are not pooled with those that kept them.
func (p Protocol) RanAs(missed []Miss) string {
	if len(missed) == 0 {
		return p.ID
	}
	var all []string
	for _, m := range missed {
		all = append(all, m.String())
	}
	return p.ID + " run at " + strings.Join(all, ", ")
}
