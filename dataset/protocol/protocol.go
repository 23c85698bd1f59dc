// Package protocol holds protocols of texture tests as data.
//
//  1. A protocol is one small TOML file: what is pressed and how (probe, strands,
//     strain, speeds, pause, trigger), what it is made of and how it is cooked and
//     rested (recipe, form, cook rule), which areas and lengths count, and targets.
//  2. Parse reads one, whoever wrote it: unknown keys and impossible figures are
//     refused with the line to mend.
//  3. Builtin and Lookup serve the embedded examples; a laboratory's own come in
//     through Parse or Open.
//  4. Differs names the rules in which two protocols differ. Readings under
//     different rules are not pooled. Targets are what the cook aims at, and what
//     happened is a reading: neither is a rule.
//
// It knows protocols, not tests: what a curve shows is dataset/texture/bite's
// business.
package protocol

import (
	"fmt"
	"strconv"
	"strings"
)

// Test is the kind of test.
type Test string

// The kinds of test. Unstated lets the curve tell how many bites there are.
const (
	Unstated    Test = ""
	TwoBite     Test = "two-bite"
	Compression Test = "compression" // one bite
	Cutting     Test = "cutting"     // one cut by a blade
)

// Areas say which areas cohesiveness is the ratio of.
type Areas string

// The conventions of cohesiveness. Whole is the work of each whole bite as far
// as the force is above zero, Down that of the down-strokes alone, Net down-stroke
// less withdrawal (Peleg 1976, J Food Sci 41:721, from memory).
const (
	Whole Areas = "whole"
	Down  Areas = "down-stroke"
	Net   Areas = "net"
)

// Length says what springiness is the ratio of.
type Length string

// The conventions of springiness: time or travel from contact to the turning
// point, second bite over first. They agree only at one constant speed.
const (
	ByTime     Length = "time"
	ByDistance Length = "distance"
)

// Protocol is one protocol. Figures that it does not state are nil; texts are
// empty.
type Protocol struct {
	ID, Label string
	Product   string // product class it is made for; empty is any
	Test      Test

	Probe                             string
	Strands                           *float64
	ContactAreaMM2                    *float64 // gives stress
	StrainPct                         *float64 // of the height at contact
	SpeedMMPerS, ReturnSpeedMMPerS    *float64
	PauseS                            *float64 // between the bites
	TriggerN                          *float64 // force at which a stroke counts as begun
	Brittle                           bool     // the piece is meant to break: a sudden loss of force is no doubt
	Cohesiveness                      Areas
	Springiness                       Length
	AdhesivenessNegative              bool // sign of the reported area
	Recipe                            Recipe
	CookRule                          string   // "fixed time" or "core vanishes"
	CookTimeS                         *float64 // of a fixed time
	RestS, RestTemperatureC           *float64
	TargetThicknessMM, TargetYieldPct *float64
	ThicknessToleranceMM              *float64
	Example                           bool
	Source, Caution                   string
}

// Recipe is what the piece is made of, in parts of 100 parts of flour.
type Recipe struct {
	WaterPct, SaltPct, AlkaliPct *float64
	Alkali                       string // "sodium and potassium carbonate 9:1"
	Sheeting                     string // in words: passes, gaps, rests
	Form                         string // "fresh", "dried" or "frozen"
}

// Unknown is a protocol of which only the name is known, with the usual
// conventions: whole areas, springiness by time, adhesiveness above zero.
func Unknown(id string) Protocol {
	return Protocol{ID: id, Label: id, Cohesiveness: Whole, Springiness: ByTime}
}

// Rule is one rule of a protocol in words; Value is empty if it is not stated.
type Rule struct{ Name, Value string }

// Rules are what keeps readings apart, in a fixed order.
func (p Protocol) Rules() []Rule {
	sign := "positive"
	if p.AdhesivenessNegative {
		sign = "negative"
	}
	return []Rule{
		{"test", string(p.Test)}, {"probe", p.Probe}, {"strands", figure(p.Strands)}, {"contact_area_mm2", figure(p.ContactAreaMM2)},
		{"strain_pct", figure(p.StrainPct)}, {"speed_mm_per_s", figure(p.SpeedMMPerS)}, {"return_speed_mm_per_s", figure(p.ReturnSpeedMMPerS)},
		{"pause_s", figure(p.PauseS)}, {"trigger_N", figure(p.TriggerN)},
		{"cohesiveness", string(p.Cohesiveness)}, {"springiness", string(p.Springiness)}, {"adhesiveness_sign", sign},
		{"water_pct", figure(p.Recipe.WaterPct)}, {"salt_pct", figure(p.Recipe.SaltPct)}, {"alkali", p.Recipe.Alkali}, {"alkali_pct", figure(p.Recipe.AlkaliPct)},
		{"sheeting", p.Recipe.Sheeting}, {"form", p.Recipe.Form},
		{"cook_rule", p.CookRule}, {"cook_time_s", figure(p.CookTimeS)}, {"rest_s", figure(p.RestS)}, {"rest_temperature_C", figure(p.RestTemperatureC)},
	}
}

func figure(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

// Differs names the rules in which two protocols differ. A rule that only one
// states differs too: what was done without it is not known. nil means that the
// two are one protocol under two names.
func (p Protocol) Differs(o Protocol) []string {
	var out []string
	theirs := o.Rules()
	for i, r := range p.Rules() {
		if r != theirs[i] {
			out = append(out, r.Name)
		}
	}
	return out
}

// Known reports whether the protocol states more than its name.
func (p Protocol) Known() bool { return len(p.Differs(Unknown(p.ID))) > 0 }

// String is the protocol in one line: its name and the rules that it states.
func (p Protocol) String() string {
	var parts []string
	for _, r := range p.Rules() {
		if r.Value != "" {
			parts = append(parts, fmt.Sprintf("%s %s", r.Name, r.Value))
		}
	}
	return p.ID + ": " + strings.Join(parts, ", ")
}

// Find is the protocol with the id among the laboratory's own, then the
// built-in ones; of any other only the name is known.
func Find(own []Protocol, id string) Protocol {
	for _, p := range own {
		if p.ID == id {
			return p
		}
	}
	if p, ok := Lookup(id); ok {
		return p
	}
	return Unknown(id)
}
