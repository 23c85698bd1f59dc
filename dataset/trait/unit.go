package trait

import (
	"fmt"
	"slices"
	"strings"
)

// Unit is a unit of measure: the symbol it is printed with, its dimension, and
// what brings a figure to the dimension's base unit:
//
//	base = (figure + offset) × num / den
//
// with a division where the factor has no exact binary form (% is 1/100).
type Unit struct {
	Symbol    string
	Dimension string
	offset    float64
	num, den  float64
}

// unitRow is one unit with the spellings that are read for it, beside the
// symbol itself. Spaces, dots, stars and hyphens between letters do not count.
type unitRow struct {
	Unit
	spellings string // separated by |
}

// units lists, per dimension, the base unit first. Exact by definition unless
// noted: 1 cP = 1 mPa·s, 1 P = 100 mPa·s, 1 gf = 9.80665e-3 N (standard
// gravity), 1 in = 25.4 mm, 1 lbf = 4.4482216152605 N.
var units = []unitRow{
	{Unit{"mPa·s", "viscosity", 0, 1, 1}, "mPa sec|millipascal second|millipascal seconds"},
	{Unit{"cP", "viscosity", 0, 1, 1}, "cps|centipoise|centipoises"},
	{Unit{"Pa·s", "viscosity", 0, 1000, 1}, "Pa sec|pascal second|pascal seconds"},
	{Unit{"P", "viscosity", 0, 100, 1}, "poise"},

	{Unit{"s", "time", 0, 1, 1}, "sec|secs|second|seconds"},
	{Unit{"min", "time", 0, 60, 1}, "mins|minute|minutes"},
	{Unit{"h", "time", 0, 3600, 1}, "hr|hrs|hour|hours"},
	{Unit{"ms", "time", 0, 1, 1000}, "millisecond|milliseconds"},
	{Unit{"mm:ss", "time", 0, 1, 1}, "m:s|min:s|min:sec"},
	{Unit{"hh:mm:ss", "time", 0, 1, 1}, "h:m:s|h:min:s|hh:mm:ss.s"},

	{Unit{"°C", "temperature", 0, 1, 1}, "C|degC|deg C|degree C|degrees C|degree celsius|degrees celsius|celsius|centigrade|ºC|˚C|℃|oC"},
	{Unit{"°F", "temperature", -32, 5, 9}, "F|degF|deg F|degree F|degrees F|degrees fahrenheit|fahrenheit|ºF|˚F|℉"},
	{Unit{"K", "temperature", -273.15, 1, 1}, "kelvin"},

	{Unit{"N", "force", 0, 1, 1}, "newton|newtons"},
	{Unit{"mN", "force", 0, 1, 1000}, "millinewton|millinewtons"},
	{Unit{"kN", "force", 0, 1000, 1}, "kilonewton"},
	{Unit{"gf", "force", 0, gf, 1000}, "g|gram|grams|g force|gram force|grams force|force g|pond"},
	{Unit{"kgf", "force", 0, gf, 1}, "kg|kilogram|kilograms|kg force|kilogram force|force kg|kp"},
	{Unit{"lbf", "force", 0, 4.4482216152605, 1}, "lb force|pound force"},

	{Unit{"mm", "length", 0, 1, 1}, "millimetre|millimetres|millimeter|millimeters"},
	{Unit{"cm", "length", 0, 10, 1}, "centimetre|centimetres|centimeter|centimeters"},
	{Unit{"µm", "length", 0, 1, 1000}, "um|micron|microns|micrometre|micrometres|micrometer|micrometers"},
	{Unit{"m", "length", 0, 1000, 1}, "metre|meter"},
	{Unit{"in", "length", 0, 25.4, 1}, "inch|inches"},

	{Unit{"g", "mass", 0, 1, 1}, "gram|grams"},
	{Unit{"kg", "mass", 0, 1000, 1}, "kilogram|kilograms"},
	{Unit{"mg", "mass", 0, 1, 1000}, "milligram|milligrams"},

	{Unit{"mL", "volume", 0, 1, 1}, "ml|millilitre|millilitres|milliliter|milliliters"},
	{Unit{"cm³", "volume", 0, 1, 1}, "cm3|cc|ccm|cm^3|cubic centimetre|cubic centimetres|cubic centimeter"},
	{Unit{"L", "volume", 0, 1000, 1}, "l|litre|litres|liter|liters|dm3|dm³"},

	{Unit{"", "ratio", 0, 1, 1}, "1|ratio|fraction|dimensionless|g/g"},
	{Unit{"%", "ratio", 0, 1, 100}, "pct|percent|per cent|% w/w|% m/m|w/w %|wt %|% wt|g/100g|g/100 g|g per 100 g"},
	{Unit{"g/kg", "ratio", 0, 1, 1000}, "‰|per mille"},

	{Unit{"mPa·s/s", "viscosity rate", 0, 1, 1}, "cP/s|cps/s|mPa·s/sec|cP/sec|mPa·s s-1"},
	{Unit{"mPa·s/min", "viscosity rate", 0, 1, 60}, "cP/min|mPa·s min-1"},
	{Unit{"Pa·s/s", "viscosity rate", 0, 1000, 1}, "Pa·s s-1"},

	{Unit{"N·s", "force × time", 0, 1, 1}, "N sec|newton second|newton seconds"},
	{Unit{"mN·s", "force × time", 0, 1, 1000}, "mN sec"},
	{Unit{"gf·s", "force × time", 0, gf, 1000}, "g s|g sec|gf sec|gram second|gram seconds"},
	{Unit{"kgf·s", "force × time", 0, gf, 1}, "kg s|kg sec|kgf sec"},

	{Unit{"N·mm", "work", 0, 1, 1}, "mJ|millijoule|newton millimetre|newton millimeter"},
	{Unit{"J", "work", 0, 1000, 1}, "N·m|joule"},
	{Unit{"gf·mm", "work", 0, gf, 1000}, "g mm"},
	{Unit{"gf·cm", "work", 0, gf, 100}, "g cm"},

	{Unit{"mL/g", "specific volume", 0, 1, 1}, "ml g-1|cm3/g|cm³/g|cc/g|L/kg|dm3/kg"},
	{Unit{"g/mL", "density", 0, 1, 1}, "g/cm3|g/cm³|g/cc|kg/L|g ml-1"},
	{Unit{"kg/m³", "density", 0, 1, 1000}, "kg/m3"},
}

func (u Unit) same(v Unit) bool { return u.offset == v.offset && u.num*v.den == v.num*u.den }

// gf is one gram-force in millinewton, by the standard gravity of 9.80665 m/s².
const gf = 9.80665

// arbitrary are the names of recording units: divisions on one instrument's
// scale, with no fixed conversion to a unit of measure.
var arbitrary = []string{"bu", "au", "units", "unit", "instrument units", "instrument unit", "arbitrary units", "arbitrary unit",
	"recording units", "recorder units", "scale units", "scale divisions", "divisions", "counts"}

// spelled maps dimension and compact spelling to an index of units.
var spelled = func() map[string]map[string]int {
	out := map[string]map[string]int{}
	for i, u := range units {
		if out[u.Dimension] == nil {
			out[u.Dimension] = map[string]int{}
		}
		for _, s := range append([]string{u.Symbol}, strings.Split(u.spellings, "|")...) {
			if s == "" {
				continue
			}
			out[u.Dimension][compact(s)] = i
		}
	}
	return out
}()

// compact is a unit's spelling without what writers vary: case, blanks,
// multiplication signs; "per" and "_per_" are a slash, µ is u.
func compact(s string) string {
	s = strings.ToLower(strings.TrimSpace(s))
	s = strings.ReplaceAll(s, "_per_", "/")
	s = strings.ReplaceAll(s, " per ", "/")
	s = strings.ReplaceAll(s, "^-1", "-1")
	s = strings.ReplaceAll(s, "⁻¹", "-1")
	keep := strings.HasSuffix(s, "-1") // "ml g-1": the sign matters
	s = strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\u00a0', '\u202f', '\t', '.', '·', '⋅', '∙', '•', '*', '×', '_':
			return -1
		case '-', '−', '–':
			if keep {
				return '-'
			}
			return -1
		case 'µ', 'μ':
			return 'u'
		}
		return r
	}, s)
	return s
}

// mega reports a spelling such as "MPa·s" or "MN", which read literally is a
// million times what a laboratory means: refused rather than guessed.
func mega(s string) bool {
	s = strings.TrimSpace(s)
	return strings.HasPrefix(s, "MP") || strings.HasPrefix(s, "MN")
}

// unitIn finds a unit of a dimension by any of its spellings.
func unitIn(dimension, written string) (Unit, bool) {
	if mega(written) {
		return Unit{}, false
	}
	i, ok := spelled[dimension][compact(written)]
	if !ok {
		return Unit{}, false
	}
	return units[i].Unit, true
}

// dimensionsOf lists the dimensions in which the spelling is a unit, in the
// order of the unit table.
func dimensionsOf(written string) []string {
	var out []string
	for _, u := range units {
		if slices.Contains(out, u.Dimension) {
			continue
		}
		if _, ok := unitIn(u.Dimension, written); ok {
			out = append(out, u.Dimension)
		}
	}
	return out
}

// IsUnit reports whether the text is a unit of any dimension or the name of an
// arbitrary recording unit: what a row of units is recognised by.
func IsUnit(written string) bool {
	return strings.TrimSpace(written) != "" && (isArbitrary(written) || len(dimensionsOf(written)) > 0)
}

// isArbitrary reports a recording unit: "BU", "instrument units".
func isArbitrary(written string) bool {
	return slices.Contains(arbitrary, strings.Join(strings.Fields(strings.ReplaceAll(strings.ToLower(written), ".", "")), " "))
}

// symbols lists the units of a dimension for a message: "mPa·s, cP, Pa·s or P".
func symbols(dimension string) string {
	var out []string
	for _, u := range units {
		if u.Dimension == dimension && u.Symbol != "" {
			out = append(out, u.Symbol)
		}
	}
	return orList(out)
}

// orList joins names as a sentence does: "a, b or c".
func orList(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

// Reasons of a UnitError.
const (
	UnitUnknown   = "unknown"   // no unit has this name
	UnitArbitrary = "arbitrary" // a recording unit: no fixed conversion
	UnitDimension = "dimension" // a unit of something else: mm for a force
	UnitConflict  = "conflict"  // the header says one unit, the row of units another
)

// UnitError is a unit that cannot be used. Trait is empty when the error comes
// from Convert.
type UnitError struct {
	Written string // the header, or the unit given to Convert
	Unit    string // the unit as written
	Trait   string // the trait's id
	Reason  string // one of the reasons above
	Want    string // the units that would do: "N, mN, kN, gf, kgf or lbf"
}

func (e *UnitError) Error() string {
	s := e.Problem() + "; expected " + e.Want
	if e.Written != "" && e.Written != e.Unit {
		s = fmt.Sprintf("%q: %s", e.Written, s)
	}
	return s
}

// Problem is what is wrong with the unit, without the header and the cure.
func (e *UnitError) Problem() string {
	to, _, _ := strings.Cut(e.Want, ",")
	if t, ok := Lookup(e.Trait); ok && t.Unit != "" {
		to = t.Unit
	}
	switch e.Reason {
	case UnitArbitrary:
		return fmt.Sprintf("unit %q, an arbitrary recording unit with no fixed conversion to %s", e.Unit, to)
	case UnitDimension:
		return fmt.Sprintf("unit %q, which measures something else", e.Unit)
	case UnitConflict:
		return fmt.Sprintf("unit %q under a header that says %s", e.Unit, e.Want)
	}
	return fmt.Sprintf("the unknown unit %q", e.Unit)
}

// Convert brings a figure from one unit to another of the same dimension, by
// any spelling of either: Convert(420, "g force", "N"). The error is a
// *UnitError when a unit is unknown, arbitrary, or the two do not measure the
// same thing (N·mm and N·s differ by a speed that is not known here).
func Convert(v float64, from, to string) (float64, error) {
	dims := dimensionsOf(to)
	for _, d := range dims {
		a, okFrom := unitIn(d, from)
		b, _ := unitIn(d, to)
		if okFrom {
			return convert(v, a, b), nil
		}
	}
	if len(dims) == 0 {
		return 0, unitError("", to, Trait{}, "")
	}
	return 0, unitError("", from, Trait{Dimension: dims[0]}, symbols(dims[0]))
}

// convert brings v from a to b, exactly when they are the same unit.
func convert(v float64, a, b Unit) float64 {
	if a.same(b) {
		return v
	}
	return (v+a.offset)*a.num/a.den*b.den/b.num - b.offset
}

// unitError says why written cannot be a unit of t.
func unitError(header, written string, t Trait, want string) *UnitError {
	e := &UnitError{Written: header, Unit: written, Trait: t.ID, Want: want, Reason: UnitUnknown}
	switch {
	case isArbitrary(written):
		e.Reason = UnitArbitrary
	case len(dimensionsOf(written)) > 0:
		e.Reason = UnitDimension
	}
	return e
}
