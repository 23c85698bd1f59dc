// Package trait is the one glossary: what a column is called, what it means, in
// which unit it is kept, how it is rounded, and where its definition comes from.
//
//  1. glossary.csv lists every trait: keys, facts, flour composition, pasting
//     features along the curve, texture and bake responses, with the names the
//     trade uses for them.
//  2. ParseHeader turns a written header ("Peak viscosity (cP)", "hardness_gf")
//     into a trait and a unit, and Header.Convert brings a figure to the
//     trait's own unit.
//  3. Products and solvents are named here too, so that a rule about one product
//     can be asked of its kin.
//
// It refuses to guess: an arbitrary recording unit, a bare "setback", a
// misspelt name each give a typed error with the proposals beside it. It never
// changes while the program runs. A laboratory's own products and methods need
// no entry: functions take unknown ids as they are.
package trait

import (
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Role says what a column may be used for.
type Role string

// The roles.
const (
	RoleKey         Role = "key"         // lot, method, replicate …: which row is meant
	RoleFeature     Role = "feature"     // read off a pasting curve
	RoleComposition Role = "composition" // numeric flour traits: protein, ash, amylose …
	RoleResponse    Role = "response"    // texture and bake results
	RoleFact        Role = "fact"        // moisture, price, masses, texts: recorded, not modelled
)

// Dimensions without units to convert.
const (
	Text  = "text"  // words and identifiers
	Date  = "date"  // a day or a moment
	Score = "score" // a panel's points on its own scale
	PH    = "pH"
	Price = "price" // money per mass, in whatever the laboratory states
)

// Trait is one entry of the glossary.
type Trait struct {
	ID         string // the canonical column name, unit included: "peak_mPas"
	Base       string // the name without unit: "peak"
	Label      string // in full words: "peak viscosity"
	Unit       string // the unit it is kept in, as printed: "mPa·s"; empty for ratios and texts
	Dimension  string // "viscosity", "time", "force", "ratio", "text" …
	Decimals   int    // digits after the point when shown
	Role       Role
	Family     string // "key", "lot", "run", "curve", "pasting", "pasting detail" (features that models use when named), "texture", "bake", "production"
	Kind       string // of a response: "instrumental" or "preference"
	Definition string
	Source     string // a published source, "common practice, no source" or "from memory"
}

// Numeric reports whether its cells are numbers.
func (t Trait) Numeric() bool { return t.Dimension != Text && t.Dimension != Date }

// Lookup finds a trait by its canonical id. A method suffix is cut first:
// "peak_mPas@noodle-water" finds peak_mPas.
func Lookup(id string) (Trait, bool) {
	id, _ = Split(id)
	i, ok := glossary().byID[id]
	if !ok {
		return Trait{}, false
	}
	return glossary().traits[i], true
}

// All returns every trait in glossary order; pasting features stand along the
// curve, onset first. The slice is the caller's own.
func All() []Trait { return append([]Trait(nil), glossary().traits...) }

// Each yields every trait in glossary order, as All returns them.
func Each() iter.Seq[Trait] { return slices.Values(glossary().traits) }

// Split separates a column name into trait id and method:
// "peak_mPas@noodle-water" gives "peak_mPas", "noodle-water". Without a method
// the second is empty.
func Split(column string) (id, method string) {
	id, method, _ = strings.Cut(column, "@")
	return id, method
}

// Join is the reverse of Split.
func Join(id, method string) string {
	if method == "" {
		return id
	}
	return id + "@" + method
}

// Label is the column in full words with its unit: "peak viscosity, mPa·s",
// and with its method, "peak viscosity, mPa·s (noodle-water)". A column that is
// neither in the glossary nor a place of a whole curve is returned as it is.
func Label(column string) string {
	out, unit, known := Words(column)
	if !known {
		return column
	}
	if unit != "" {
		out += ", " + unit
	}
	if _, method := Split(column); method != "" {
		out += " (" + method + ")"
	}
	return out
}

// Format rounds a figure for showing, by the trait's decimals; places of a whole curve
// have none. A column that is in neither gets 4 significant digits. NaN and infinities, which no
// checked figure is, are written as "–".
func Format(column string, v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	if t, ok := Lookup(column); ok && t.Numeric() {
		return unsigned(strconv.FormatFloat(v, 'f', t.Decimals, 64))
	}
	if _, ok := PlaceOf(column); ok {
		return unsigned(strconv.FormatFloat(v, 'f', 0, 64))
	}
	if abs := math.Abs(v); abs >= 1000 && abs < 1e15 {
		return strconv.FormatFloat(v, 'f', 0, 64) // never 1.235e+05
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}

// unsigned makes "-0.0" into "0.0".
func unsigned(s string) string {
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}
