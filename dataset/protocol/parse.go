package protocol

import (
	"bytes"
	"cmp"
	"embed"
	"errors"
	"fmt"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/pelletier/go-toml/v2"
)

// ParseError says what in a protocol file is wrong and how to mend it. Line
// counts from 1; 0 means the whole file.
type ParseError struct {
	File              string
	Line              int
	Key               string
	Found, Want, Cure string
}

func (e *ParseError) Error() string {
	text := e.File
	if e.Line > 0 {
		text += fmt.Sprintf(", line %d", e.Line)
	}
	if e.Key != "" {
		text += ", " + e.Key
	}
	text += ": found " + e.Found
	if e.Want != "" {
		text += "; expected " + e.Want
	}
	if e.Cure != "" {
		text += "; " + e.Cure
	}
	return text
}

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
	dec := toml.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return Protocol{}, tomlError(name, err)
	}
	c := checker{name: name, data: data}
	p := Protocol{
		ID: strings.TrimSpace(f.ID), Product: strings.TrimSpace(f.Product), Test: Test(f.Test), Probe: strings.TrimSpace(f.Probe), Brittle: f.Brittle,
		Strands: c.between("strands", f.Strands, 1, 1000), ContactAreaMM2: c.between("contact_area_mm2", f.ContactAreaMM2, 1e-3, 1e6),
		StrainPct: c.between("strain_pct", f.StrainPct, 0.1, 100), SpeedMMPerS: c.between("speed_mm_per_s", f.SpeedMMPerS, 1e-3, 1000),
		ReturnSpeedMMPerS: c.between("return_speed_mm_per_s", f.ReturnSpeedMMPerS, 1e-3, 1000), PauseS: c.between("pause_s", f.PauseS, 0, 3600),
		TriggerN:     c.between("trigger_N", f.TriggerN, 1e-6, 100),
		Cohesiveness: Areas(cmp.Or(f.Cohesiveness, string(Whole))), Springiness: Length(cmp.Or(f.Springiness, string(ByTime))), AdhesivenessNegative: f.AdhesivenessSign == "negative",
		Recipe: Recipe{WaterPct: c.between("recipe.water_pct", f.Recipe.WaterPct, 0, 500), SaltPct: c.between("recipe.salt_pct", f.Recipe.SaltPct, 0, 50),
			AlkaliPct: c.between("recipe.alkali_pct", f.Recipe.AlkaliPct, 0, 20), Alkali: strings.TrimSpace(f.Recipe.Alkali), Sheeting: strings.TrimSpace(f.Recipe.Sheeting), Form: f.Recipe.Form},
		CookRule: f.Cook.Rule, CookTimeS: c.between("cook.time_s", f.Cook.TimeS, 1, 36000),
		RestS: c.between("rest.time_s", f.Rest.TimeS, 0, 1e7), RestTemperatureC: c.between("rest.temperature_C", f.Rest.TemperatureC, -60, 120),
		TargetThicknessMM: c.between("target.thickness_mm", f.Target.ThicknessMM, 0.1, 100), ThicknessToleranceMM: c.between("target.thickness_tolerance_mm", f.Target.ThicknessToleranceMM, 0, 50),
		TargetYieldPct: c.between("target.yield_pct", f.Target.YieldPct, 50, 1000),
		Example:        f.Example, Source: f.Source, Caution: f.Caution,
	}
	p.Label = cmp.Or(strings.TrimSpace(f.Label), p.ID)
	if !idForm.MatchString(p.ID) {
		c.fail("id", strconv.Quote(p.ID), "small letters, digits, '-', '_' or '.'", "name the protocol, such as \"our-noodle-two-bite\"")
	}
	c.oneOf("family", cmp.Or(f.Family, "texture"), "texture")
	c.oneOf("test", f.Test, string(TwoBite), string(Compression), string(Cutting))
	c.oneOf("cohesiveness", string(p.Cohesiveness), string(Whole), string(Down), string(Net))
	c.oneOf("springiness", string(p.Springiness), string(ByTime), string(ByDistance))
	c.oneOf("adhesiveness_sign", cmp.Or(f.AdhesivenessSign, "positive"), "positive", "negative")
	c.oneOf("recipe.form", p.Recipe.Form, "", "fresh", "dried", "frozen")
	c.oneOf("cook.rule", p.CookRule, "", "fixed time", "core vanishes")
	if p.CookRule == "fixed time" && p.CookTimeS == nil {
		c.fail("cook.time_s", "nothing", "the time in seconds", "state it, or make the rule \"core vanishes\"")
	}
	if p.CookRule != "fixed time" && p.CookTimeS != nil {
		c.fail("cook.time_s", figure(p.CookTimeS)+" s without the rule \"fixed time\"", "a time only where it is the rule", "what it took is a reading: column cook_time_s of the texture file")
	}
	if c.err != nil {
		return Protocol{}, c.err
	}
	return p, nil
}

func tomlError(name string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		row, _ := strict.Errors[0].Position()
		return &ParseError{File: name, Line: row, Key: strings.Join(strict.Errors[0].Key(), "."), Found: "an unknown key", Want: "one of " + known, Cure: "mend the spelling or leave the line out"}
	}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		row, _ := decode.Position()
		return &ParseError{File: name, Line: row, Key: strings.Join(decode.Key(), "."), Found: strings.TrimPrefix(decode.Error(), "toml: "), Want: "a TOML protocol file"}
	}
	return &ParseError{File: name, Found: err.Error(), Want: "a TOML protocol file"}
}

// checker keeps the first thing that is wrong.
type checker struct {
	name string
	data []byte
	err  *ParseError
}

func (c *checker) fail(key, found, want, cure string) {
	if c.err == nil {
		c.err = &ParseError{File: c.name, Line: c.lineOf(key), Key: key, Found: found, Want: want, Cure: cure}
	}
}

// lineOf finds the line that sets a key, within its table; 0 when none does.
func (c *checker) lineOf(key string) int {
	want, last, dotted := strings.Cut(key, ".")
	if !dotted {
		want, last = "", key
	}
	in := ""
	for i, line := range strings.Split(string(c.data), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			in = strings.Trim(strings.SplitN(line, "]", 2)[0], "[ ")
		}
		name, _, found := strings.Cut(line, "=")
		if found && in == want && strings.TrimSpace(name) == last {
			return i + 1
		}
	}
	return 0
}

var idForm = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]*$`)

func (c *checker) oneOf(key, got string, allowed ...string) {
	if !slices.Contains(allowed, got) {
		shown := slices.DeleteFunc(slices.Clone(allowed), func(s string) bool { return s == "" })
		c.fail(key, strconv.Quote(got), "one of "+strings.Join(shown, ", "), "")
	}
}

// between hands a figure on if it lies within its limits, which are ours and wide.
func (c *checker) between(key string, v *float64, low, high float64) *float64 {
	if v != nil && !(*v >= low && *v <= high) {
		c.fail(key, figure(v), fmt.Sprintf("a figure between %g and %g", low, high), "mend it or leave it out")
	}
	return v
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
