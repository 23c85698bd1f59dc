package protocol

import (
	"cmp"
	"embed"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"
	"sync"

	"flourcast/dataset/tomlfile"
)

// ParseError says what in a protocol file is wrong and how to mend it.
type ParseError = tomlfile.Error

// file is a protocol as written.
type file struct {
	ID                string   `toml:"id"`
	Label             string   `toml:"label"`
	Family            string   `toml:"family"`
	Product           string   `toml:"product"`
	Test              string   `toml:"test"`
	Probe             string   `toml:"probe"`
	Strands           *float64 `toml:"strands"`
	ContactAreaMM2    *float64 `toml:"contact_area_mm2"`
	StrainPct         *float64 `toml:"strain_pct"`
	SpeedMMPerS       *float64 `toml:"speed_mm_per_s"`
	ReturnSpeedMMPerS *float64 `toml:"return_speed_mm_per_s"`
	PauseS            *float64 `toml:"pause_s"`
	TriggerN          *float64 `toml:"trigger_N"`
	Brittle           bool     `toml:"brittle"`
	Cohesiveness      string   `toml:"cohesiveness"`
	Springiness       string   `toml:"springiness"`
	AdhesivenessSign  string   `toml:"adhesiveness_sign"`
	Recipe            struct {
		WaterPct  *float64 `toml:"water_pct"`
		SaltPct   *float64 `toml:"salt_pct"`
		Alkali    string   `toml:"alkali"`
		AlkaliPct *float64 `toml:"alkali_pct"`
		Sheeting  string   `toml:"sheeting"`
		Form      string   `toml:"form"`
	} `toml:"recipe"`
	Cook struct {
		Rule  string   `toml:"rule"`
		TimeS *float64 `toml:"time_s"`
	} `toml:"cook"`
	Rest struct {
		TimeS        *float64 `toml:"time_s"`
		TemperatureC *float64 `toml:"temperature_C"`
	} `toml:"rest"`
	Target struct {
		ThicknessMM          *float64 `toml:"thickness_mm"`
		ThicknessToleranceMM *float64 `toml:"thickness_tolerance_mm"`
		YieldPct             *float64 `toml:"yield_pct"`
	} `toml:"target"`
	Example bool   `toml:"example"`
	Source  string `toml:"source"`
	Caution string `toml:"caution"`
}

// known are the keys of a file, for the message about an unknown one.
const known = "id, label, family, product, test, probe, strands, contact_area_mm2, strain_pct, speed_mm_per_s, return_speed_mm_per_s, pause_s, trigger_N, " +
	"brittle, cohesiveness, springiness, adhesiveness_sign, [recipe] (water_pct, salt_pct, alkali, alkali_pct, sheeting, form), [cook] (rule, time_s), " +
	"[rest] (time_s, temperature_C), [target] (thickness_mm, thickness_tolerance_mm, yield_pct), example, source, caution"

// Open reads a protocol file. Its error is the file system's, or Parse's.
func Open(path string) (Protocol, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Protocol{}, fmt.Errorf("protocol file: %w", err)
	}
	return Parse(path, data)
}

// Parse reads one protocol from TOML. name stands in errors. It returns a
// *ParseError for broken TOML, an unknown key, a test that is none of the kinds,
// an impossible figure, a fixed cook time that is not stated. test must be
// stated; cohesiveness is "whole", springiness "time" and adhesiveness_sign
// "positive" unless stated; everything else may be left out.
func Parse(name string, data []byte) (Protocol, error) {
	var f file
	if err := tomlfile.Decode(name, data, &f, "a TOML protocol file", known); err != nil {
		return Protocol{}, err
	}
	c := tomlfile.Checker{File: name, Data: data}
	p := Protocol{
		ID: strings.TrimSpace(f.ID), Product: strings.TrimSpace(f.Product), Test: Test(f.Test), Probe: strings.TrimSpace(f.Probe), Brittle: f.Brittle,
		Strands: c.Between("strands", f.Strands, 1, 1000), ContactAreaMM2: c.Between("contact_area_mm2", f.ContactAreaMM2, 1e-3, 1e6),
		StrainPct: c.Between("strain_pct", f.StrainPct, 0.1, 100), SpeedMMPerS: c.Between("speed_mm_per_s", f.SpeedMMPerS, 1e-3, 1000),
		ReturnSpeedMMPerS: c.Between("return_speed_mm_per_s", f.ReturnSpeedMMPerS, 1e-3, 1000), PauseS: c.Between("pause_s", f.PauseS, 0, 3600),
		TriggerN:     c.Between("trigger_N", f.TriggerN, 1e-6, 100),
		Cohesiveness: Areas(cmp.Or(f.Cohesiveness, string(Whole))), Springiness: Length(cmp.Or(f.Springiness, string(ByTime))), AdhesivenessNegative: f.AdhesivenessSign == "negative",
		Recipe: Recipe{WaterPct: c.Between("recipe.water_pct", f.Recipe.WaterPct, 0, 500), SaltPct: c.Between("recipe.salt_pct", f.Recipe.SaltPct, 0, 50),
			AlkaliPct: c.Between("recipe.alkali_pct", f.Recipe.AlkaliPct, 0, 20), Alkali: strings.TrimSpace(f.Recipe.Alkali), Sheeting: strings.TrimSpace(f.Recipe.Sheeting), Form: f.Recipe.Form},
		CookRule: f.Cook.Rule, CookTimeS: c.Between("cook.time_s", f.Cook.TimeS, 1, 36000),
		RestS: c.Between("rest.time_s", f.Rest.TimeS, 0, 1e7), RestTemperatureC: c.Between("rest.temperature_C", f.Rest.TemperatureC, -60, 120),
		TargetThicknessMM: c.Between("target.thickness_mm", f.Target.ThicknessMM, 0.1, 100), ThicknessToleranceMM: c.Between("target.thickness_tolerance_mm", f.Target.ThicknessToleranceMM, 0, 50),
		TargetYieldPct: c.Between("target.yield_pct", f.Target.YieldPct, 50, 1000),
		Example:        f.Example, Source: f.Source, Caution: f.Caution,
	}
	p.Label = cmp.Or(strings.TrimSpace(f.Label), p.ID)
	c.ID(p.ID, "name the protocol, such as \"our-noodle-two-bite\"")
	c.OneOf("family", cmp.Or(f.Family, "texture"), "texture")
	c.OneOf("test", f.Test, string(TwoBite), string(Compression), string(Cutting))
	c.OneOf("cohesiveness", string(p.Cohesiveness), string(Whole), string(Down), string(Net))
	c.OneOf("springiness", string(p.Springiness), string(ByTime), string(ByDistance))
	c.OneOf("adhesiveness_sign", cmp.Or(f.AdhesivenessSign, "positive"), "positive", "negative")
	c.OneOf("recipe.form", p.Recipe.Form, "", "fresh", "dried", "frozen")
	c.OneOf("cook.rule", p.CookRule, "", "fixed time", "core vanishes")
	if p.CookRule == "fixed time" && p.CookTimeS == nil {
		c.Fail("cook.time_s", "nothing", "the time in seconds", "state it, or make the rule \"core vanishes\"")
	}
	if p.CookRule != "fixed time" && p.CookTimeS != nil {
		c.Fail("cook.time_s", figure(p.CookTimeS)+" s without the rule \"fixed time\"", "a time only where it is the rule", "what it took is a reading: column cook_time_s of the texture file")
	}
	if err := c.Err(); err != nil {
		return Protocol{}, err
	}
	return p, nil
}

//go:embed builtin/*.toml
var builtinFS embed.FS

// order of the built-in protocols in lists.
var order = []string{"noodle-two-bite", "pasta-cutting"}

var builtin = sync.OnceValue(func() []Protocol {
	out := make([]Protocol, len(order))
	for i, id := range order {
		file := path.Join("builtin", id+".toml")
		data, err := builtinFS.ReadFile(file)
		if err != nil {
			panic("protocol: " + err.Error())
		}
		if out[i], err = Parse(file, data); err != nil {
			panic("protocol: " + err.Error())
		}
	}
	return out
})

// Builtin is the embedded protocols. The caller owns the slice.
func Builtin() []Protocol { return slices.Clone(builtin()) }

// Lookup finds a built-in protocol by id.
func Lookup(id string) (Protocol, bool) {
	for _, p := range builtin() {
		if p.ID == id {
			return p, true
		}
	}
	return Protocol{}, false
}
