// Package mixing says what a blend is expected to have of a property of its flours.
//
//  1. A Rule says how the property mixes: by mass, by logarithm, by a power, or through
//     the liquefaction number. Under its rule it is a straight line in the shares.
//  2. Mix gives the blend's figure.
//  3. Learn asks a laboratory's own blends which rule they follow, and how far they lay
//     from it.
//
// It refuses figures that a rule cannot take (a viscosity of 0 has no logarithm, a
// falling number of 50 s no liquefaction number), and own blends too few to learn from.
// Whether two flours may be blended at all is not its business. It knows no flour.
package mixing

import (
	"fmt"
	"math"
)

// Rule is how a property of flours becomes that of their blend:
//
//	g(blend) = Σ wᵢ·g(propertyᵢ) / Σ wᵢ
//
// with the wᵢ the shares (or shares of dry matter). The zero value is Mass.
type Rule struct {
	name  string
	power float64
}

// The rules without a parameter. Mass: g(v) = v, exact for what is a share of mass.
// Log: g(v) = ln v (Arrhenius 1887, Z. physik. Chem. 1:285, for mixed liquids; from
// memory). Liquefaction: g(v) = 6000/(v − 50), for falling numbers in s: the
// liquefaction number, proportional to amylase and therefore additive (common practice;
// the constants are those of the trade's tables).
var (
	Mass         = Rule{}
	Log          = Rule{name: "log"}
	Liquefaction = Rule{name: "liquefaction"}
)

// Power is g(v) = v^q, with q ≠ 0; q = 1 is Mass in all but name, q → 0 is Log, q = 1/3
// the cube-root rule for the viscosity of mixed liquids (Kendall & Monroe 1917, J. Am.
// Chem. Soc. 39:1787; from memory). It panics for q = 0 or not finite.
func Power(q float64) Rule {
	if q == 0 || math.IsNaN(q) || math.IsInf(q, 0) {
		panic(fmt.Sprintf("mixing: a power of %v", q))
	}
	return Rule{"power", q}
}

// String is the rule's name: mass, log, power 0.33, liquefaction.
func (r Rule) String() string {
	switch r.name {
	case "":
		return "mass"
	case "power":
		return fmt.Sprintf("power %.3g", r.power)
	}
	return r.name
}

// ValueError says which figure a rule cannot take.
type ValueError struct {
	Property, Of, Found, Want string
}

func (e *ValueError) Error() string {
	return fmt.Sprintf("mixing: %s of %s: found %s, expected %s", e.Property, e.Of, e.Found, e.Want)
}

// To is g(v); ok is false where v has none.
func (r Rule) To(v float64) (g float64, ok bool) {
	switch r.name {
	case "log":
		g, ok = math.Log(v), v > 0
	case "power":
		g, ok = math.Pow(v, r.power), v > 0
	case "liquefaction":
		g, ok = 6000/(v-50), v > 50
	default:
		g, ok = v, true
	}
	return g, ok && !math.IsNaN(g) && !math.IsInf(g, 0)
}

// From turns g back.
func (r Rule) From(g float64) float64 {
	switch r.name {
	case "log":
		return math.Exp(g)
	case "power":
		return math.Pow(g, 1/r.power)
	case "liquefaction":
		return 50 + 6000/g
	}
	return g
}

// Slope is dg/dv.
func (r Rule) Slope(v float64) float64 {
	switch r.name {
	case "log":
		return 1 / v
	case "power":
		return r.power * math.Pow(v, r.power-1)
	case "liquefaction":
		return -6000 / ((v - 50) * (v - 50))
	}
	return 1
}

// Rising reports whether a higher v has a higher g.
func (r Rule) Rising() bool {
	return r.name != "liquefaction" && (r.name != "power" || r.power > 0)
}

// Wants is what the rule can take, in words.
func (r Rule) Wants() string {
	switch r.name {
	case "log", "power":
		return "a figure above 0"
	case "liquefaction":
		return "a falling number above 50 s"
	}
	return "a finite number"
}

// Mix is the blend's figure under the rule. weights are the shares, or shares times dry
// matter; they need not add up to 1. It returns a *ValueError (without names) for a
// figure that the rule cannot take, and panics when lengths differ.
func (r Rule) Mix(values, weights []float64) (float64, error) {
	if len(values) != len(weights) {
		panic(fmt.Sprintf("mixing: %d figures, %d weights", len(values), len(weights)))
	}
	sum, all := 0.0, 0.0
	for i, v := range values {
		if weights[i] == 0 {
			continue
		}
		g, ok := r.To(v)
		if !ok {
			return 0, &ValueError{Found: fmt.Sprint(v), Want: r.Wants()}
		}
		sum += weights[i] * g
		all += weights[i]
	}
	if all <= 0 {
		return 0, &ValueError{Found: "no share", Want: "shares above 0"}
	}
	return r.From(sum / all), nil
}
