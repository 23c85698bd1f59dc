// Package rule holds directions as data: how a response moves with a trait of the
// flour, as published or as the trade holds.
//
//  1. rules.csv, embedded, has one direction a row: product, feature, solvent,
//     response, kind, sign, standing, published figures, evidence and source.
//  2. Parse reads a laboratory's own rules in the same columns.
//  3. A rule knows the interval that was published with it, and how many lots a
//     fair check of it takes.
//
// Contradictory publications are all there; nothing is averaged. It holds no
// measurements and checks nothing: package direction does.
package rule

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"sync"

	"flourcast/dataset/trait"
	"flourcast/stat/correlation"
)

// Rule is one direction: how a response moves with a feature of the flour, for a
// product (and its kin below it), a solvent and a kind of response. R and N are
// the published correlation and its lots, CILow and CIHigh its 95 % interval;
// absent where the publication was silent.
type Rule struct {
	ID         string        `json:"id"`
	Product    string        `json:"product"`
	Feature    string        `json:"feature"`
	Solvent    trait.Solvent `json:"solvent"` // water, inhibitor, sucrose or any
	Response   string        `json:"response"`
	Kind       string        `json:"kind"` // instrumental | preference
	Sign       string        `json:"sign"` // + | - | 0 | optimum
	Standing   string        `json:"standing"`
	R          *float64      `json:"r"`
	N          *int          `json:"n"`
	CILow      *float64      `json:"ci_low"`
	CIHigh     *float64      `json:"ci_high"`
	Conditions string        `json:"conditions"`     // of the publication, in words
	When       string        `json:"when,omitempty"` // which lots the rule is for, see Condition
	Evidence   string        `json:"evidence"`
	Source     string        `json:"source"`
	Remark     string        `json:"remark"`
}

// Any is the solvent of a rule that holds whatever the paste was made with.
const Any trait.Solvent = "any"

// Signs of a rule: the response rises, falls, is not expected to move with the
// feature, or is highest somewhere in between.
const (
	Rises   = "+"
	Falls   = "-"
	None    = "0"
	Optimum = "optimum"
)

// Standings of a rule. They are declared, not computed.
const (
	Established = "established" // contradicted by the data, it stops a model
	Contested   = "contested"   // publications disagree for this product
	Contextual  = "contextual"  // holds under its conditions, or is thinly supported
)

// Kinds of response.
const (
	Instrumental = "instrumental"
	Preference   = "preference"
)

// Evidence of a rule: the source was read, a text that reports it was read,
// nothing was read, or it is the laboratory's own data.
const (
	Read           = "read"
	SecondHand     = "second-hand"
	CommonPractice = "common practice"
	OwnData        = "own data"
)

//go:embed rules.csv
var rulesCSV []byte

var builtin = sync.OnceValue(func() []Rule {
	rules, findings, err := Parse("rules.csv", rulesCSV)
	if err != nil || len(findings) > 0 {
		panic(fmt.Sprint("rule: embedded rules: ", err, findings))
	}
	return rules
})

// Builtin returns the embedded rules in the order of their file. The slice is
// the caller's own.
func Builtin() []Rule { return slices.Clone(builtin()) }

// Published returns the 95 % interval of the rule's published correlation: as
// written, else Fisher's from R and N. ok is false without either.
func (r Rule) Published() (low, high float64, ok bool) {
	switch {
	case r.CILow != nil && r.CIHigh != nil:
		return *r.CILow, *r.CIHigh, true
	case r.R != nil && r.N != nil:
		return correlation.Fisher(*r.R, *r.N, 0)
	}
	return 0, 0, false
}

// plannedR is the correlation to plan for where no interval is published.
const plannedR = 0.5

// Needed returns how many lots a fair check of the rule takes:
//
//	n = 1.4·[((1.96 + 0.84)/atanh r)² + 3], rounded up
//
// with r the limit of the published interval nearer zero, or 0.5 where none is
// published or it includes zero. The bracket is the usual 80 % power of Fisher's
// z; the factor allows for the demands beyond it (within years, given protein).
func (r Rule) Needed() int {
	at := plannedR
	if low, high, ok := r.Published(); ok && low*high > 0 {
		at = min(math.Abs(low), math.Abs(high))
	}
	z := (1.96 + 0.84) / math.Atanh(min(at, 0.999))
	return int(math.Ceil(1.4 * (z*z + 3)))
}
