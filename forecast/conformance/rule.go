package conformance

import "fmt"

// Decisions by a specification.
const (
	Accept = "accept"
	Hold   = "hold"
	Reject = "reject"
)

// Rule is a decision rule stated beforehand (ISO/IEC 17025:2017, 7.8.6): accept
// at a conformance probability of Accept or more, reject at Reject or less, hold
// between.
type Rule struct {
	Accept float64 `json:"accept"`
	Reject float64 `json:"reject"`
}

// NewRule accepts a lot when the risk of its failing is at most alpha, and rejects
// it when the risk that it would have met the specification is at most beta. It
// returns a *ValueError for risks that are negative or do not leave the rejection
// below the acceptance.
func NewRule(alpha, beta float64) (Rule, error) {
	r := Rule{Accept: 1 - alpha, Reject: beta}
	return r, r.Check()
}

// DefaultRule is NewRule(0.05, 0.05): guard bands on both sides of each limit. The
// figures are ours.
func DefaultRule() Rule { return Rule{Accept: 0.95, Reject: 0.05} }

// Check returns a *ValueError for a rule that cannot be followed.
func (r Rule) Check() error {
	if !(0 <= r.Reject && r.Reject < r.Accept && r.Accept <= 1) {
		return &ValueError{"decision rule", fmt.Sprintf("accept from %v, reject to %v", r.Accept, r.Reject), "reject below accept, both from 0 to 1"}
	}
	return nil
}

// Decide applies the rule to a conformance probability.
func (r Rule) Decide(p float64) string {
	switch {
	case p >= r.Accept:
		return Accept
	case p <= r.Reject:
		return Reject
	}
	return Hold
}
