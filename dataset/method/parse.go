package method

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/tomlfile"
	"flourcast/dataset/trait"
)

// ParseError says what in a method file is wrong and how to mend it.
type ParseError = tomlfile.Error

// file is a method as written. Pointers tell a figure left out from a zero.
type file struct {
	ID              string    `toml:"id"`
	Label           string    `toml:"label"`
	Family          string    `toml:"family"`
	Product         string    `toml:"product"`
	Solvent         string    `toml:"solvent"`
	SolventStrength string    `toml:"solvent_strength"`
	Substance       string    `toml:"substance"`
	Strength        *float64  `toml:"strength"`
	StrengthUnit    string    `toml:"strength_unit"`
	SolidsG         *float64  `toml:"solids_g"`
	SolidsBasis     string    `toml:"solids_basis"`
	SolventML       *float64  `toml:"solvent_mL"`
	SolventG        *float64  `toml:"solvent_g"`
	SolventC        *float64  `toml:"solvent_temperature_C"`
	TotalFillG      *float64  `toml:"total_fill_g"`
	QuotedFillG     *float64  `toml:"quoted_fill_g"`
	Constant        string    `toml:"constant"`
	StirRPM         *float64  `toml:"stir_rpm"`
	StirS           *float64  `toml:"stir_s"`
	TestRPM         *float64  `toml:"test_rpm"`
	ToleranceC      *float64  `toml:"tolerance_C"`
	ToleranceRate   *float64  `toml:"tolerance_rate_pct"`
	ToleranceRPM    *float64  `toml:"tolerance_rpm_pct"`
	ToleranceS      *float64  `toml:"tolerance_s"`
	ViscosityAtC    []float64 `toml:"viscosity_at_C"`
	ToleranceSolids *float64  `toml:"tolerance_solids_pct"`
	RefuseSolids    *float64  `toml:"refuse_solids_pct"`
	ToleranceFill   *float64  `toml:"tolerance_fill_g"`
	Programme       []Point   `toml:"programme"`
	Onset           *onset    `toml:"onset"`
	Example         bool      `toml:"example"`
	Source          string    `toml:"source"`
	Caution         string    `toml:"caution"`
}

type onset struct {
	RiseMPas *float64 `toml:"rise_mPas"`
	WithinS  *float64 `toml:"within_s"`
	At       string   `toml:"at"`
}

// Open reads a method file. Its error is the file system's, or Parse's.
func Open(path string) (Method, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Method{}, fmt.Errorf("method file: %w", err)
	}
	return Parse(path, data)
}

// Parse reads one method from TOML. name stands in errors. It returns a
// *ParseError with the line for broken TOML, an unknown key, a missing or
// impossible figure, times that do not rise, an unknown solvent or basis.
// Tolerances, stir_s, solvent_temperature_C, onset and its parts have defaults;
// solids_g, solids_basis, solvent, solvent_mL or solvent_g, and programme must be
// stated, because runs that differ in them are never pooled.
func Parse(name string, data []byte) (Method, error) {
	var f file
	if err := tomlfile.Decode(name, data, &f, "a TOML method file", keys); err != nil {
		return Method{}, err
	}
	c := checker{tomlfile.Checker{File: name, Data: data}}
	m := Method{
		ID: strings.TrimSpace(f.ID), Label: strings.TrimSpace(f.Label), Family: f.Family, Product: strings.TrimSpace(f.Product),
		Solvent: trait.Solvent(f.Solvent), SolventStrength: strings.TrimSpace(f.SolventStrength), SolidsBasis: strings.TrimSpace(f.SolidsBasis),
		Constant: Convention(f.Constant), Programme: f.Programme, Example: f.Example, Source: f.Source, Caution: f.Caution,
	}
	c.ID(m.ID, "name the method, such as \"our-noodle-water\"")
	if m.Label == "" {
		m.Label = m.ID
	}
	if m.Family == "" {
		m.Family = Pasting
	}
	c.OneOf("family", m.Family, Pasting)
	c.OneOf("solvent", f.Solvent, string(trait.Water), string(trait.Inhibitor), string(trait.Sucrose))
	m.Strength = c.strength(f)
	if m.Strength.Known() {
		m.SolventStrength = m.Strength.String()
	}
	c.basis(m.SolidsBasis)
	m.SolidsG = c.needed("solids_g", f.SolidsG, 0.1, 1000)
	if f.SolventG == nil {
		m.SolventML = c.needed("solvent_mL", f.SolventML, 0.1, 10000)
	} else if f.SolventML != nil {
		c.Fail("solvent_g", "solvent_mL and solvent_g", "one of the two", "keep solvent_mL if the solvent is measured out by volume, solvent_g if it is weighed")
	}
	m.SolventG = c.optional("solvent_g", f.SolventG, 0, 0.1, 15000)
	m.SolventC = c.optional("solvent_temperature_C", f.SolventC, DefaultSolventC, 0, 60)
	m.TotalFillG = c.optional("total_fill_g", f.TotalFillG, 0, 0.1, 20000)
	m.QuotedFillG = c.optional("quoted_fill_g", f.QuotedFillG, 0, 0.1, 20000)
	c.OneOf("constant", f.Constant, "", string(KeepsTotalFill), string(KeepsSolvent))
	m.StirRPM = c.optional("stir_rpm", f.StirRPM, 0, 0.1, 100000)
	m.StirS = c.optional("stir_s", f.StirS, DefaultStirS, 0, 600)
	m.TestRPM = c.optional("test_rpm", f.TestRPM, 0, 0.1, 100000)
	m.ToleranceC = c.optional("tolerance_C", f.ToleranceC, DefaultToleranceC, 0.01, 50)
	m.ToleranceRatePct = c.optional("tolerance_rate_pct", f.ToleranceRate, DefaultToleranceRatePct, 0.1, 100)
	m.ToleranceRPMPct = c.optional("tolerance_rpm_pct", f.ToleranceRPM, DefaultToleranceRPMPct, 0.1, 10)
	m.ToleranceS = c.optional("tolerance_s", f.ToleranceS, DefaultToleranceS, 0.1, 600)
	m.ViscosityAtC = c.temperatures(f.ViscosityAtC)
	m.ToleranceSolidsPct = c.optional("tolerance_solids_pct", f.ToleranceSolids, DefaultToleranceSolidsPct, 0.01, 50)
	m.RefuseSolidsPct = c.optional("refuse_solids_pct", f.RefuseSolids, max(DefaultRefuseSolidsPct, m.ToleranceSolidsPct), 0.01, 100)
	if m.RefuseSolidsPct < m.ToleranceSolidsPct {
		c.Fail("refuse_solids_pct", fmt.Sprintf("%g %%", m.RefuseSolidsPct), fmt.Sprintf("at least tolerance_solids_pct, %g %%", m.ToleranceSolidsPct), "")
	}
	m.ToleranceFillG = c.optional("tolerance_fill_g", f.ToleranceFill, DefaultToleranceFillG, 0.001, 1000)
	for _, fill := range []struct {
		key string
		g   float64
	}{{"total_fill_g", m.TotalFillG}, {"quoted_fill_g", m.QuotedFillG}} {
		if fill.g > 0 && fill.g <= m.SolidsG {
			c.Fail(fill.key, fmt.Sprintf("%g g, no more than the solids", fill.g), "flour and solvent together", "")
		}
	}
	c.programme(m.Programme)
	m.Onset = c.onset(f.Onset)
	if err := c.Err(); err != nil {
		return Method{}, err
	}
	return m, nil
}

// keys are those of a file, for the message about an unknown one.
const keys = "id, label, family, product, solvent, solvent_strength, substance, strength, strength_unit, " +
	"solids_g, solids_basis, solvent_mL, solvent_g, solvent_temperature_C, total_fill_g, quoted_fill_g, constant, stir_rpm, " +
	"stir_s, test_rpm, tolerance_C, tolerance_rate_pct, tolerance_rpm_pct, tolerance_s, viscosity_at_C, tolerance_solids_pct, refuse_solids_pct, " +
	"tolerance_fill_g, programme (time_s, temperature_C), onset (rise_mPas, within_s, at), example, source, caution"

// checker looks at the parts of a method.
type checker struct{ tomlfile.Checker }

func (c *checker) basis(b string) {
	if b == "as is" || b == "dry" {
		return
	}
	if number, ok := strings.CutSuffix(b, "%"); ok {
		if v, err := strconv.ParseFloat(strings.TrimSpace(number), 64); err == nil && v > 0 && v < 100 {
			return
		}
	}
	c.Fail("solids_basis", strconv.Quote(b), "\"as is\", \"dry\", or a moisture such as \"14 %\"", "state the basis: curves on different bases are never pooled")
}

func (c *checker) needed(key string, v *float64, low, high float64) float64 {
	if v == nil {
		c.Fail(key, "nothing", fmt.Sprintf("a figure between %g and %g", low, high), "state it: runs that differ in it are never pooled")
		return 0
	}
	return c.optional(key, v, 0, low, high)
}

func (c *checker) optional(key string, v *float64, absent, low, high float64) float64 {
	if v == nil {
		return absent
	}
	return *c.Between(key, v, low, high)
}

func (c *checker) programme(p []Point) {
	if len(p) < 2 {
		c.Fail("programme", fmt.Sprintf("%d points", len(p)), "at least 2 points { time_s = …, temperature_C = … }", "")
		return
	}
	for i, q := range p {
		if math.IsNaN(q.TimeS) || math.IsInf(q.TimeS, 0) || q.TimeS < 0 || (i > 0 && q.TimeS <= p[i-1].TimeS) {
			c.Fail("programme", fmt.Sprintf("time %g s at point %d", q.TimeS, i+1), "times from 0, each later than the one before", "sort the points, or mend the time")
		}
		if math.IsNaN(q.TemperatureC) || q.TemperatureC < -20 || q.TemperatureC > 150 {
			c.Fail("programme", fmt.Sprintf("%g °C at point %d", q.TemperatureC, i+1), "between -20 and 150 °C", "give it in °C")
		}
	}
}

// temperatures are those of viscosity_at_C: each must be one that the glossary
// has a column for.
func (c *checker) temperatures(at []float64) []float64 {
	if at == nil {
		return defaultViscosityAtC()
	}
	for i, t := range at {
		if !(t >= 60 && t <= 95) || math.Mod(t, 5) != 0 || slices.Contains(at[:i], t) {
			c.Fail("viscosity_at_C", strconv.FormatFloat(t, 'g', -1, 64), "some of 60, 65, 70, 75, 80, 85, 90, 95, each once", "the glossary has a column for these")
		}
	}
	return slices.Clone(at)
}

func (c *checker) onset(o *onset) Onset {
	out := DefaultOnset()
	if o == nil {
		return out
	}
	out.RiseMPas = c.optional("onset.rise_mPas", o.RiseMPas, out.RiseMPas, 0.1, 10000)
	out.WithinS = c.optional("onset.within_s", o.WithinS, out.WithinS, 0.1, 120)
	if o.At != "" {
		out.At = o.At
	}
	c.OneOf("onset.at", out.At, "end", "middle", "start")
	return out
}
