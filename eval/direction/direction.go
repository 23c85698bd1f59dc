// Package direction checks what is published or commonly held about a response
// (hardness falls as peak viscosity rises) against a laboratory's own lots.
//
//  1. Rules are data (package rule): the embedded ones and a laboratory's own.
//  2. Check takes the lots and, for each rule about their response, correlates
//     feature and response over lots: pooled, and within crop years where years
//     allow. Intervals come from a bootstrap over lots; below 30 lots the
//     Fisher interval must agree.
//  3. Each rule is answered confirmed, contradicted or cannot tell, with the
//     reason; the correlation given protein is shown beside it.
//
// It refuses to read a direction from a single coefficient of a model, whose
// features go together too closely (peak with trough 0.98), and from a
// correlation of predictions with a feature, which confirms a feature that the
// model merely uses. "Confirmed" is about the sign, never about the size.
package direction

import (
	"flourcast/eval/direction/evidence"
	"flourcast/eval/direction/rule"
	"flourcast/finding"
)

// Rule is one direction, see package rule.
type Rule = rule.Rule

// What rules are put to, see package evidence.
type (
	Evidence      = evidence.Evidence
	FeatureColumn = evidence.FeatureColumn
	ShapeError    = evidence.ShapeError
)

// Words of a rule, see package rule.
const (
	Any          = rule.Any
	Rises        = rule.Rises
	Falls        = rule.Falls
	None         = rule.None
	Optimum      = rule.Optimum
	Established  = rule.Established
	Contested    = rule.Contested
	Contextual   = rule.Contextual
	Instrumental = rule.Instrumental
	Preference   = rule.Preference
)

// Builtin returns the embedded rules, see rule.Builtin.
func Builtin() []Rule { return rule.Builtin() }

// ReadRules reads a laboratory's own rules, see rule.Parse.
func ReadRules(name string, data []byte) ([]Rule, finding.List, error) { return rule.Parse(name, data) }
