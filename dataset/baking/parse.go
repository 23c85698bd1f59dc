package baking

import (
	"embed"
	"fmt"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"

	"flourcast/dataset/tomlfile"
	"flourcast/dataset/trait"
)

// Family is what a file of this kind states as its family.
const Family = "bake"

// ParseError says what in a method file is wrong and how to mend it.
type ParseError = tomlfile.Error

// file is a method as written.
type file struct {
	ID             string       `toml:"id"`
	Label          string       `toml:"label"`
	Family         string       `toml:"family"`
	Product        string       `toml:"product"`
	Class          string       `toml:"class"`
	WaterPct       *float64     `toml:"water_pct"`
	WaterOptimised bool         `toml:"water_optimised"`
	BatterG        *float64     `toml:"batter_g"`
	Ingredients    []Ingredient `toml:"ingredients"`
	Pan            *Pan         `toml:"pan"`
	Oven           *Oven        `toml:"oven"`
	GravityLow     *float64     `toml:"batter_gravity_low"`
	GravityHigh    *float64     `toml:"batter_gravity_high"`
	BatterC        *float64     `toml:"batter_temperature_C"`
	Example        bool         `toml:"example"`
	Source         string       `toml:"source"`
	Caution        string       `toml:"caution"`
}

const keys = "id, label, family, product, class, ingredients (name, flour_pct), water_pct, water_optimised, batter_g, pan (diameter_mm, depth_mm), " +
	"oven (temperature_C, time_min, position), batter_gravity_low, batter_gravity_high, batter_temperature_C, example, source, caution"

// Open reads a method from a file; see Parse.
func Open(name string) (Method, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return Method{}, err
	}
	return Parse(name, data)
}

// Parse reads one method from TOML. name stands in errors. family must be "bake";
// class, ingredients, pan and oven must be stated, because cakes that differ in them
// are never pooled. The error is a *ParseError.
func Parse(name string, data []byte) (Method, error) {
	var f file
	if err := tomlfile.Decode(name, data, &f, "a TOML method file", keys); err != nil {
		return Method{}, err
	}
	c := &checker{tomlfile.Checker{File: name, Data: data}}
	m := Method{ID: strings.TrimSpace(f.ID), Label: strings.TrimSpace(f.Label), Product: strings.TrimSpace(f.Product), Class: f.Class, WaterOptimised: f.WaterOptimised,
		Ingredients: slices.Clone(f.Ingredients), Target: Target{f.GravityLow, f.GravityHigh, f.BatterC}, Example: f.Example, Source: f.Source, Caution: f.Caution}
	c.ID(m.ID, cure)
	if m.Label == "" {
		m.Label = m.ID
	}
	if f.Family != Family {
		c.fail("family", strconv.Quote(f.Family), strconv.Quote(Family))
	}
	if _, known := trait.LookupProduct(m.Product); !known {
		c.fail("product", strconv.Quote(m.Product), "a product of the glossary, such as layer-cake or sponge-cake")
	}
	if !slices.Contains([]string{HighRatioLayer, Sponge, Other}, m.Class) {
		c.fail("class", strconv.Quote(m.Class), fmt.Sprintf("%q, %q or %q", HighRatioLayer, Sponge, Other))
	}
	c.formula(m.Ingredients)
	if (f.WaterPct != nil) == f.WaterOptimised {
		c.fail("water_pct", "neither or both of water_pct and water_optimised", "water_pct, or water_optimised = true where it is set for each flour")
	}
	m.WaterPct = c.figure("water_pct", f.WaterPct, 1, 1000)
	m.BatterG = c.figure("batter_g", f.BatterG, 1, 10000)
	if f.Pan == nil || f.Oven == nil {
		c.fail("pan", "no pan or no oven", "pan = { diameter_mm = …, depth_mm = … } and oven = { temperature_C = …, time_min = … }")
	} else {
		m.Pan, m.Oven = *f.Pan, *f.Oven
		c.figure("diameter_mm", &m.Pan.DiameterMM, 40, 500)
		c.figure("depth_mm", &m.Pan.DepthMM, 10, 200)
		c.figure("temperature_C", &m.Oven.TemperatureC, 80, 300)
		c.figure("time_min", &m.Oven.TimeMin, 1, 180)
	}
	c.figure("batter_gravity_low", f.GravityLow, 0.1, 1.3)
	c.figure("batter_gravity_high", f.GravityHigh, 0.1, 1.3)
	c.figure("batter_temperature_C", f.BatterC, 0, 50)
	if f.GravityLow != nil && f.GravityHigh != nil && *f.GravityLow > *f.GravityHigh {
		c.fail("batter_gravity_low", fmt.Sprint(*f.GravityLow), "no more than batter_gravity_high")
	}
	if err := c.Err(); err != nil {
		return Method{}, err
	}
	return m, nil
}

// cure is what to do about any fault.
const cure = "mend it: cakes of two methods are never pooled"

// checker looks at the parts of a method.
type checker struct{ tomlfile.Checker }

func (c *checker) fail(key, found, want string) { c.Fail(key, found, want, cure) }

// figure is a stated figure within its range; 0 when it is not stated.
func (c *checker) figure(key string, v *float64, low, high float64) float64 {
	if v == nil {
		return 0
	}
	return *c.Between(key, v, low, high)
}

func (c *checker) formula(all []Ingredient) {
	var names []string
	if len(all) == 0 {
		c.fail("ingredients", "none", "at least one { name = …, flour_pct = … }")
	}
	for _, g := range all {
		name := strings.ToLower(strings.TrimSpace(g.Name))
		if name == "" || slices.Contains(names, name) || name == "flour" {
			c.fail("ingredients", fmt.Sprintf("an ingredient named %q", g.Name), "a name of its own for each; flour is the 100 % and stands in none")
		}
		if !(g.FlourPct > 0 && g.FlourPct <= 1000) {
			c.fail("ingredients", fmt.Sprintf("%g %% of %s", g.FlourPct, g.Name), "between 0 and 1000 % of flour")
		}
		names = append(names, name)
	}
}

//go:embed builtin/*.toml
var files embed.FS

var builtin = sync.OnceValue(func() []Method {
	entries, err := files.ReadDir("builtin")
	if err != nil {
		panic("baking: " + err.Error())
	}
	var out []Method
	for _, e := range entries {
		data, err := files.ReadFile(path.Join("builtin", e.Name()))
		if err != nil {
			panic("baking: " + err.Error())
		}
		m, err := Parse(e.Name(), data)
		if err != nil {
			panic("baking: " + err.Error()) // a test reads every one
		}
		out = append(out, m)
	}
	return out
})

// Builtin are the embedded methods, by id. The slice is the caller's own.
func Builtin() []Method {
	out := slices.Clone(builtin())
	for i := range out {
		out[i].Ingredients = slices.Clone(out[i].Ingredients)
	}
	return out
}

// Lookup finds an embedded method by its id.
func Lookup(id string) (Method, bool) {
	for _, m := range Builtin() {
		if m.ID == id {
			return m, true
		}
	}
	return Method{}, false
}
