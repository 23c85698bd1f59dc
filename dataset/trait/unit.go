package trait

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
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

//go:embed units.csv
var unitsCSV string

// units is units.csv: per dimension the base unit first. spelled maps dimension
// and compact spelling to an index of units. A fault in the file is a
// programming fault and panics.
var units, spelled = func() (all []Unit, spelled map[string]map[string]int) {
	spelled = map[string]map[string]int{}
	for i, rec := range records(unitsCSV, 6) {
		u := Unit{Symbol: rec[0], Dimension: rec[1]}
		for k, to := range []*float64{&u.offset, &u.num, &u.den} {
			v, err := strconv.ParseFloat(rec[2+k], 64)
			if err != nil {
				panic("trait: units.csv: " + err.Error())
			}
			*to = v
		}
		all = append(all, u)
		if spelled[u.Dimension] == nil {
			spelled[u.Dimension] = map[string]int{}
		}
		for _, s := range append(strings.Split(rec[5], "|"), u.Symbol) {
			if s != "" {
				spelled[u.Dimension][compact(s)] = i
			}
		}
	}
	return all, spelled
}()

func (u Unit) same(v Unit) bool { return u.offset == v.offset && u.num*v.den == v.num*u.den }

// arbitrary are the names of recording units: divisions on one instrument's
// scale, with no fixed conversion to a unit of measure.
var arbitrary = []string{"bu", "au", "units", "unit", "instrument units", "instrument unit", "arbitrary units", "arbitrary unit",
	"recording units", "recorder units", "scale units", "scale divisions", "divisions", "counts"}

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
	return units[i], true
}

// dimensionsOf lists the dimensions in which the spelling is a unit.
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
