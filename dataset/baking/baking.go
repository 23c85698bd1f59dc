// Package baking holds bake methods as data.
//
//  1. A method is one small TOML file: formula in per cent of flour, water rule,
//     batter scaled, pan, oven, and targets of the batter.
//  2. Parse reads one, whoever wrote it: unknown keys and impossible figures are
//     refused with the line to mend.
//  3. Builtin and Lookup serve the embedded methods; a laboratory's own come in
//     through Parse or Open.
//  4. Differs names the rules in which two methods differ: their cakes are not
//     pooled. Check doubts a reading that misses the method's targets.
//
// Targets (batter temperature, specific gravity) are what a bake aims at and what
// happened is a reading: neither is a rule. It knows methods and single readings,
// no lots. A flour's treatment is no part of the method: see package treatment.
package baking

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/bake"
	"flourcast/finding"
)

// Formula classes.
const (
	HighRatioLayer = "high-ratio layer"
	Sponge         = "sponge"
	Other          = "other"
)

// Method is one bake method. Figures that it does not state are 0, which Parse
// refuses as a stated figure; an Ingredient stands in per cent of flour mass.
type Method struct {
	ID, Label, Product string
	Class              string // a formula class
	Ingredients        []Ingredient
	WaterPct           float64 // of flour; 0 with WaterOptimised
	WaterOptimised     bool    // set for each flour, by the best cake
	BatterG            float64 // scaled into a pan
	Pan                Pan
	Oven               Oven
	Target             Target
	Example            bool
	Source, Caution    string
}

// Ingredient is one line of a formula, per cent of flour mass.
type Ingredient struct {
	Name     string  `toml:"name" json:"name"`
	FlourPct float64 `toml:"flour_pct" json:"flour_pct"`
}

// Pan is a round pan's inner size, mm.
type Pan struct {
	DiameterMM float64 `toml:"diameter_mm" json:"diameter_mm"`
	DepthMM    float64 `toml:"depth_mm" json:"depth_mm"`
}

// Oven is how it is baked: °C, minutes, and where in the oven.
type Oven struct {
	TemperatureC float64 `toml:"temperature_C" json:"temperature_C"`
	TimeMin      float64 `toml:"time_min" json:"time_min"`
	Position     string  `toml:"position" json:"position"`
}

// Target is what the batter is brought to: from Low to High, nil where open.
type Target struct {
	GravityLow, GravityHigh *float64
	BatterC                 *float64
}

// Differs names what keeps cakes of two methods out of one column: class, formula,
// water, batter, pan, oven. nil means one method under two names.
func (m Method) Differs(o Method) []string {
	var out []string
	add := func(name string, differs bool) {
		if differs {
			out = append(out, name)
		}
	}
	add("class", m.Class != o.Class)
	add("formula", !slices.Equal(m.Ingredients, o.Ingredients))
	add("water", m.WaterPct != o.WaterPct || m.WaterOptimised != o.WaterOptimised)
	add("batter_g", m.BatterG != o.BatterG)
	add("pan", m.Pan != o.Pan)
	add("oven", m.Oven != o.Oven)
	return out
}

// String is the method in one line, for notes and reports.
func (m Method) String() string {
	parts := []string{m.Class}
	if m.BatterG > 0 {
		parts = append(parts, fmt.Sprintf("%g g batter", m.BatterG))
	}
	if m.Pan.DiameterMM > 0 {
		parts = append(parts, fmt.Sprintf("%g × %g mm pan", m.Pan.DiameterMM, m.Pan.DepthMM))
	}
	if m.Oven.TimeMin > 0 {
		parts = append(parts, fmt.Sprintf("%g °C for %g min", m.Oven.TemperatureC, m.Oven.TimeMin))
	}
	return m.ID + ": " + strings.Join(parts, ", ")
}

// Complete adds the method's pan and batter to the figures of a row that do not state
// them, so that shrinkage and loss can be worked out. values is not changed.
func (m Method) Complete(values map[string]float64) map[string]float64 {
	out := map[string]float64{}
	if len(values) == 0 {
		return out
	}
	for id, v := range map[string]float64{bake.PanDiameter: m.Pan.DiameterMM, bake.PanDepth: m.Pan.DepthMM, bake.BatterMass: m.BatterG} {
		if v > 0 {
			out[id] = v
		}
	}
	for id, v := range values {
		out[id] = v
	}
	return out
}

// BakedAs names the method of a cake of which Check found so much: the name that it
// goes by, and the pan or batter that were not the method's. Targets missed (specific
// gravity) change no name.
func (m Method) BakedAs(missed finding.List, name string) string {
	var other []string
	for _, f := range missed {
		if f.At.Column != bake.BatterGravity {
			other = append(other, f.Found)
		}
	}
	if len(other) == 0 {
		return name
	}
	return name + " baked with " + strings.Join(other, ", ")
}

// Find is the method of an id, the laboratory's own before the built-in ones.
func Find(own []Method, id string) (Method, bool) {
	if i := slices.IndexFunc(own, func(m Method) bool { return m.ID == id }); i >= 0 {
		return own[i], true
	}
	return Lookup(id)
}

// Check doubts a reading that the method's pan and targets do not fit: another pan
// stated, a batter scaled differently by more than 2 %, a specific gravity off target.
func (m Method) Check(r bake.Reading, at finding.Place) finding.List {
	var fl finding.List
	doubt := func(id, found, want, do string) {
		at.Column = id
		fl.Add(finding.Finding{Code: "method-not-kept", Severity: finding.Doubt, At: at, Found: found, Want: want, Do: do})
	}
	for _, c := range []struct {
		id, what string
		of, slip float64
	}{{bake.PanDiameter, "a pan of %g mm", m.Pan.DiameterMM, 0.02}, {bake.PanDepth, "a pan %g mm deep", m.Pan.DepthMM, 0.05}, {bake.BatterMass, "%g g of batter", m.BatterG, 0.02}} {
		v, ok := r.Get(c.id)
		if ok && c.of > 0 && (v < c.of*(1-c.slip) || v > c.of*(1+c.slip)) {
			doubt(c.id, fmt.Sprintf(c.what, v), fmt.Sprintf(c.what, c.of)+" by method "+m.ID, "bake by the method, or state the method that was used: cakes of two methods are not pooled")
		}
	}
	low, high := m.Target.GravityLow, m.Target.GravityHigh
	if v, ok := r.Get(bake.BatterGravity); ok && (low != nil && v < *low || high != nil && v > *high) {
		doubt(bake.BatterGravity, fmt.Sprintf("specific gravity %.3g", v), target(low, high)+" by method "+m.ID, "mix to the target, or read the volume with it in mind: more air gives more volume whatever the flour")
	}
	return fl
}

func target(low, high *float64) string {
	switch {
	case low == nil:
		return fmt.Sprintf("at most %g", *high)
	case high == nil:
		return fmt.Sprintf("at least %g", *low)
	}
	return fmt.Sprintf("%g to %g", *low, *high)
}
