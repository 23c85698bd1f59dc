package method

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/trait"
)

// Convention is what a method keeps constant when the flour's moisture changes.
type Convention string

// Conventions. Their curves differ: at 12 % moisture, 4.0 g dry in 25 mL are
// 13.79 % solids by the first and 13.54 % by the second.
const (
	// KeepsTotalFill: flour is made up with solvent to one total mass, so that a
	// moister flour gets less solvent. Counting the flour's own water as solvent
	// comes to the same.
	KeepsTotalFill Convention = "total fill"
	// KeepsSolvent: the same solvent whatever the moisture, so that a moister
	// flour thins its slurry.
	KeepsSolvent Convention = "solvent"
)

// Keeps is the method's convention. When the method does not state one, stated
// is false, and the convention is the total fill if the method has one, else the
// solvent.
func (m Method) Keeps() (c Convention, stated bool) {
	switch {
	case m.Constant != "":
		return m.Constant, true
	case m.TotalFillG > 0:
		return KeepsTotalFill, false
	}
	return KeepsSolvent, false
}

// Strength is how much of a substance a solvent holds.
type Strength struct {
	Substance string  // "silver nitrate", "sucrose"
	Value     float64 // in Unit
	Unit      string
}

// Units of strength.
const (
	MillimolPerL = "mmol/L" // millimoles in a litre of solution
	GramPerL     = "g/L"    // grams in a litre of solution
	PctByMass    = "% w/w"  // grams in 100 g of solution
	PctByVolume  = "% w/v"  // grams in 100 mL of solution
	PctUnsaid    = "%"      // the method does not say which; read as by mass, with a doubt
)

// SilverNitrate and Sucrose are the substances whose chemistry is known here.
const (
	SilverNitrate = "silver nitrate"
	Sucrose       = "sucrose"
)

// Known reports whether the strength is stated as a number.
func (s Strength) Known() bool { return s.Value > 0 }

// String is the strength in words: "silver nitrate 12 mmol/L"; "" if unknown.
func (s Strength) String() string {
	if !s.Known() {
		return ""
	}
	return fmt.Sprintf("%s %g %s", s.Substance, s.Value, s.Unit)
}

// SolventWords is the solvent with its strength: "water", "silver nitrate 12 mmol/L".
func (m Method) SolventWords() string {
	if m.SolventStrength != "" {
		return m.SolventStrength
	}
	return string(m.Solvent)
}

// BasisMoisture is the moisture, %, of the basis that SolidsG is on: 0 for
// "dry", 14 for "14 %", the flour's own moisture for "as is".
func (m Method) BasisMoisture(own float64) float64 {
	number, isPct := strings.CutSuffix(m.SolidsBasis, "%")
	if v, err := strconv.ParseFloat(strings.TrimSpace(number), 64); isPct && err == nil {
		return v
	}
	if m.SolidsBasis == "as is" {
		return own
	}
	return 0
}

// strengthUnits are the units that each solvent may have, and the largest value
// in each. 70 % by mass is as far as densities are checked.
var strengthUnits = map[trait.Solvent][]struct {
	unit string
	most float64
}{
	trait.Inhibitor: {{MillimolPerL, 1000}, {GramPerL, 500}},
	trait.Sucrose:   {{PctByMass, 70}, {PctByVolume, 94}, {PctUnsaid, 70}, {GramPerL, 940}},
}

// written are the units as people write them, each with its unit here and what
// its figures are multiplied by. "M" is moles in a litre.
var written = map[string]struct {
	unit   string
	factor float64
}{
	"mmol/L": {MillimolPerL, 1}, "mmol/l": {MillimolPerL, 1}, "mM": {MillimolPerL, 1}, "mol/L": {MillimolPerL, 1000}, "mol/l": {MillimolPerL, 1000}, "M": {MillimolPerL, 1000},
	"g/L": {GramPerL, 1}, "g/l": {GramPerL, 1},
	"% w/w": {PctByMass, 1}, "% by mass": {PctByMass, 1}, "% w/v": {PctByVolume, 1},
}

// strengthForm takes words such as "silver nitrate 12 mmol/L", "50 % w/w" and
// "1 mM silver nitrate" apart: what stands before the number, it, and the rest.
var strengthForm = regexp.MustCompile(`^([^\d]*?)\s*(\d+(?:[.,]\d+)?)\s*(%(?:\s*\(?(?:w/w|w/v|by mass)\)?)?|[A-Za-z]+/[A-Za-z]+|[A-Za-z]+)(?:\s+(?:of\s+)?(.*))?$`)

// inWords reads a strength in words; ok is false where they hold no number, so
// that the strength stays unknown. "50 %" alone fails: by mass and by volume are
// two solutions.
func (c *checker) inWords(words, substance string) (s Strength, ok bool) {
	if !strings.ContainsAny(words, "0123456789") {
		return Strength{}, false
	}
	const key, want = "solvent_strength", "a number with mmol/L, mM, mol/L, M, g/L, % w/w or % w/v, such as \"silver nitrate 12 mmol/L\""
	part := strengthForm.FindStringSubmatch(words)
	if part == nil {
		c.Fail(key, strconv.Quote(words), want, "or put it into substance, strength and strength_unit")
		return Strength{}, false
	}
	unit := strings.Join(strings.Fields(strings.ReplaceAll(strings.NewReplacer("(", "", ")", "").Replace(part[3]), "%", "% ")), " ")
	if unit == PctUnsaid {
		c.Fail(key, strconv.Quote(words), "% w/w (g in 100 g of solution) or % w/v (g in 100 mL)",
			"ask which the method sheet means and write it; if nobody knows, state strength and strength_unit = \"%\", which is read as by mass, with a doubt")
		return Strength{}, false
	}
	known, found := written[unit]
	value, err := strconv.ParseFloat(strings.Replace(part[2], ",", ".", 1), 64)
	if !found || err != nil {
		c.Fail(key, strconv.Quote(words), want, "or put it into substance, strength and strength_unit")
		return Strength{}, false
	}
	named := strings.ToLower(strings.Trim(part[1]+" "+part[4], " ,;:"))
	if substance == "" {
		substance = named
	} else if named != "" && named != substance {
		c.Fail("substance", strconv.Quote(substance)+", but "+strconv.Quote(named)+" in solvent_strength", "one substance", "mend one of the two")
	}
	return Strength{Substance: substance, Value: value * known.factor, Unit: known.unit}, true
}

// strength reads the strength: in words, or as a substance, a number and a unit.
func (c *checker) strength(f file) Strength {
	solvent := trait.Solvent(f.Solvent)
	s := Strength{Substance: strings.TrimSpace(f.Substance), Unit: strings.TrimSpace(f.StrengthUnit)}
	numbers := f.Strength != nil || s.Unit != ""
	switch {
	case solvent == trait.Water:
		if numbers || s.Substance != "" {
			c.Fail("strength", "a strength of water", "none", "leave it out, or set solvent to inhibitor or sucrose")
		}
		return Strength{}
	case !numbers && strings.TrimSpace(f.SolventStrength) == "":
		c.Fail("solvent_strength", "none", "substance, strength and strength_unit, or the strength in words, such as \"silver nitrate 1 mmol/L\"",
			"state it: two strengths are two methods")
		return Strength{}
	case !numbers:
		s, numbers = c.inWords(strings.TrimSpace(f.SolventStrength), s.Substance)
		if !numbers {
			return Strength{}
		}
		f.Strength = &s.Value
	case f.SolventStrength != "":
		c.Fail("solvent_strength", "the strength in words and as a number", "one of the two", "keep the number, so that the weigh-in can be worked out")
	}
	if solvent == trait.Sucrose && s.Substance == "" {
		s.Substance = Sucrose
	}
	if s.Substance == "" || (solvent == trait.Sucrose) != (s.Substance == Sucrose) {
		c.Fail("substance", strconv.Quote(s.Substance), "what the solvent holds, such as \""+SilverNitrate+"\" for an inhibitor and \""+Sucrose+"\" for sucrose", "")
	}
	var allowed []string
	for _, u := range strengthUnits[solvent] {
		allowed = append(allowed, u.unit)
		if u.unit == s.Unit {
			s.Value = c.needed("strength", f.Strength, 1e-6, u.most)
		}
	}
	if !slices.Contains(allowed, s.Unit) {
		c.Fail("strength_unit", strconv.Quote(s.Unit), "one of "+strings.Join(allowed, ", "), "")
	}
	return s
}
