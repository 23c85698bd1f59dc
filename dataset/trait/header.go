package trait

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// Header is a column's header understood: the trait, the unit its figures are
// written in, and what was written.
type Header struct {
	Trait       Trait
	Unit        Unit
	AsWritten   string
	Method      string // from a suffix: "peak_mPas@noodle-water"
	Basis       string // "dry", "as is" or "14 %", when the header states one
	UnitMissing bool   // the trait has a unit and none was written: Unit is then the trait's own, a mere assumption
	Flipped     bool   // written with the opposite sign (peak − final for setback_peak); Convert turns it

	own Unit // the trait's own unit
}

// Convert brings a figure of this column to the trait's unit and sign.
func (h Header) Convert(v float64) float64 {
	if h.Flipped {
		v = -v
	}
	return convert(v, h.Unit, h.own)
}

// Same reports whether Convert leaves every figure as it is.
func (h *Header) Same() bool { return !h.Flipped && h.Unit.same(h.own) }

// UnknownError says that no trait has this name. Near holds the ids of the
// closest traits, nearest first; none is taken by itself.
type UnknownError struct {
	Written string
	Near    []string
}

func (e *UnknownError) Error() string {
	s := fmt.Sprintf("%q is not a name in the glossary", e.Written)
	if len(e.Near) > 0 {
		s += "; is " + orList(e.Near) + " meant?"
	}
	return s
}

// AmbiguousError says that a name stands for several traits, as a bare
// "setback" does. Choices are their ids.
type AmbiguousError struct {
	Written string
	Choices []string
	fits    []Header // one a choice
}

// Choose settles the ambiguity: the header read as the trait with this id. ok
// is false when the id is not among the choices.
func (e *AmbiguousError) Choose(id string) (h Header, ok bool) {
	for _, h := range e.fits {
		if h.Trait.ID == id {
			return h, true
		}
	}
	return Header{}, false
}

func (e *AmbiguousError) Error() string {
	s := fmt.Sprintf("%q can mean %s", e.Written, orList(e.Choices))
	for _, c := range e.Choices {
		if c == "setback_trough_mPas" {
			return s + " (final − trough, or final − peak): declare setback_trough or setback_peak"
		}
	}
	return s + ": write one of these names"
}

// ParseHeader reads a column header. unitRow is the cell under it when the file
// has a row of units, else "". The unit may stand in round or square brackets,
// after a comma, an underscore, a slash or a blank, or in the unit row:
//
//	Hardness (gf)   hardness_gf   peak viscosity [cP]   Peak time, min   PV
//
// A canonical id ("peak_mPas") needs nothing more. A header without the unit
// that its trait needs is accepted with UnitMissing set. The error is a
// *UnitError, an *AmbiguousError or an *UnknownError.
func ParseHeader(written, unitRow string) (Header, error) {
	if max(len(written), len(unitRow)) > longest {
		return Header{}, &UnknownError{Written: written[:min(len(written), longest)] + "…"}
	}
	h, err := parse(written, unitRow)
	if err == nil && h.UnitMissing && len(plain(written)) == 1 {
		return Header{}, &UnknownError{Written: written, Near: []string{h.Trait.ID}} // a bare letter is a height only with its unit
	}
	if err == nil {
		return h, nil
	}
	// "Protein, % (14 % mb)": a basis stands where a unit is looked for.
	name, basis := cutBasis(written)
	unit, basisBelow := cutBasis(unitRow)
	if basis == "" {
		basis = basisBelow
	}
	if basis == "" {
		return Header{}, err
	}
	h, second := parse(name, unit)
	if second != nil || h.Trait.Unit != "%" {
		return Header{}, err
	}
	h.AsWritten, h.Basis = written, basis
	return h, nil
}

// In is the header of a column declared to hold t in a unit; empty is t's own.
func (t Trait) In(unit string) (Header, error) {
	h, err := resolve(t.ID, []naming{{trait: glossary().byID[t.ID]}}, unit, "")
	h.UnitMissing = false
	return h, err
}

const longest = 200 // bytes; no name is longer, and the search below is for names

var bracket = regexp.MustCompile(`[(\[]([^()\[\]]*)[)\]]`)

func parse(written, unitRow string) (Header, error) {
	name, method := Split(strings.TrimSpace(written))
	if t, ok := Lookup(name); ok {
		h, err := resolve(written, []naming{{trait: glossary().byID[t.ID]}}, t.Unit, unitRow)
		h.Method, h.UnitMissing = method, false
		return h, err
	}
	h, err := parseName(written, name, unitRow)
	h.Method = method
	return h, err
}

// parseName tries, in this order: the whole text as a name; a name with its
// unit in brackets; a name, a separator and a unit, longest name first.
func parseName(written, text, unitRow string) (Header, error) {
	if n := named(text); n != nil {
		return resolve(written, n, "", unitRow)
	}
	for _, at := range bracket.FindAllStringSubmatchIndex(text, -1) {
		if n := named(text[:at[0]] + " " + text[at[1]:]); n != nil {
			return resolve(written, n, strings.TrimSpace(text[at[2]:at[3]]), unitRow)
		}
	}
	var wrong error
	for i := len(text) - 1; i > 0; i-- {
		if !strings.ContainsRune(" _,/:;", rune(text[i])) {
			continue
		}
		n, unit := named(text[:i]), strings.TrimSpace(text[i+1:])
		if n == nil || unit == "" || spelled[glossary().traits[n[0].trait].Dimension] == nil {
			continue
		}
		h, err := resolve(written, n, unit, unitRow)
		if err == nil {
			return h, nil
		}
		// "peak_mean" is an unknown name; "peak, foo" and "peak_mm" are a name with a wrong unit.
		if wrong == nil && (IsUnit(unit) || mega(unit) || strings.ContainsRune(",/:;", rune(text[i]))) {
			wrong = err
		}
	}
	if wrong != nil {
		return Header{}, wrong
	}
	return Header{}, unknown(written, text)
}

// named finds what a text without unit may stand for. Words in brackets belong
// to the name ("setback (from peak)") or repeat it ("peak viscosity (PV)").
func named(text string) []naming {
	names := glossary().names
	if n := names[plain(text)]; n != nil {
		return n
	}
	groups := bracket.FindAllStringSubmatch(text, -1)
	n := names[plain(bracket.ReplaceAllString(text, " "))]
	for _, g := range groups {
		if strings.TrimSpace(g[1]) != "" && !slices.ContainsFunc(n, func(x naming) bool { return slices.Contains(names[plain(g[1])], x) }) {
			return nil
		}
	}
	return n
}

// resolve chooses among the candidates by the unit and checks the unit against
// the one of the unit row.
func resolve(written string, candidates []naming, unit, unitRow string) (Header, error) {
	if none(unitRow) {
		unitRow = ""
	}
	if unit == "" {
		unit, unitRow = unitRow, ""
	}
	var fits []Header
	var choices []string
	var firstErr error
	for _, c := range candidates {
		t := glossary().traits[c.trait]
		h := Header{Trait: t, AsWritten: written, Flipped: c.flipped}
		err := h.setUnit(unit, unitRow)
		if err == nil {
			fits, choices = append(fits, h), append(choices, t.ID)
		} else if firstErr == nil {
			firstErr = err
		}
	}
	switch len(fits) {
	case 0:
		return Header{}, firstErr
	case 1:
		return fits[0], nil
	}
	return Header{}, &AmbiguousError{written, choices, fits}
}

// setUnit fills Unit and UnitMissing, or says why the unit cannot be used.
func (h *Header) setUnit(unit, unitRow string) error {
	t := h.Trait
	h.own = Unit{Symbol: t.Unit, Dimension: t.Dimension, num: 1, den: 1}
	if t.Unit != "" && spelled[t.Dimension] != nil {
		h.own, _ = unitIn(t.Dimension, t.Unit)
	}
	h.Unit = h.own
	if spelled[t.Dimension] == nil { // nothing to convert: texts, dates, scores, pH, prices
		if t.Dimension == Price {
			h.Unit.Symbol = unit
		}
		return nil
	}
	if unit == "" {
		h.UnitMissing = !usual(t)
		return nil
	}
	u, ok := unitIn(t.Dimension, unit)
	if !ok {
		return unitError(h.AsWritten, unit, t, symbols(t.Dimension))
	}
	if below, ok := unitIn(t.Dimension, unitRow); unitRow != "" && !ok {
		return unitError(h.AsWritten, unitRow, t, symbols(t.Dimension))
	} else if unitRow != "" && !below.same(u) {
		return &UnitError{Written: h.AsWritten, Unit: unitRow, Trait: t.ID, Reason: UnitConflict, Want: u.Symbol}
	}
	h.Unit = u
	return nil
}

// usual reports traits that the trade writes in one unit only.
func usual(t Trait) bool {
	return t.Dimension == "ratio" || t.ID == "falling_number_s" || t.ID == "sedimentation_mL"
}

// none reports a cell of a unit row that says "no unit here".
func none(s string) bool {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "-", "–", "—", "n/a":
		return true
	}
	return false
}

var (
	moistureBasis = regexp.MustCompile(`(?i)(?:\bon\s+)?\b(\d{1,2}(?:[.,]\d+)?)\s*%?\s*(?:m\.?\s?b\b\.?|moisture(?:\s+basis)?)`)
	dryBasis      = regexp.MustCompile(`(?i)(?:\bon\s+)?\b(?:d\.?\s?b\b\.?|dry\s+(?:basis|matter)|d\.?\s?m\b\.?)`)
	asIsBasis     = regexp.MustCompile(`(?i)(?:\bon\s+)?\b(?:as[ -]is(?:\s+basis)?|wet\s+basis)`)
)

// cutBasis takes "14 % mb", "dry basis" or "as is" out of a header or unit and
// returns the rest and the basis as this program writes it ("14 %", "dry",
// "as is"), empty when none is stated.
func cutBasis(text string) (rest, basis string) {
	var at *regexp.Regexp
	switch m := moistureBasis.FindStringSubmatch(text); {
	case m != nil:
		at, basis = moistureBasis, strings.ReplaceAll(m[1], ",", ".")+" %"
	case dryBasis.MatchString(text):
		at, basis = dryBasis, "dry"
	case asIsBasis.MatchString(text):
		at, basis = asIsBasis, "as is"
	default:
		return text, ""
	}
	rest = bracket.ReplaceAllStringFunc(at.ReplaceAllString(text, " "), func(g string) string {
		inside := strings.Trim(g[1:len(g)-1], " ,;")
		if inside == "" {
			return ""
		}
		return "(" + inside + ")"
	})
	return strings.Trim(rest, " ,;_"), basis
}
