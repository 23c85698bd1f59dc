package trait

// Header is a column's header understood: the trait, the unit its figures are
// written in, and what was written.
type Header struct {
	Trait       Trait
	Unit        Unit
	AsWritten   string
	Method      string // from a suffix: "peak_mPas@noodle-water"
	Basis       string // "dry", "as is", "14 %" when the header states one
	UnitMissing bool   // the trait has a unit and none was written: Unit is assumed to be the trait's own
	Flipped     bool   // the column has the opposite sign of the trait (peak − final for setback_peak); Convert turns it
}

// UnitError: a unit that cannot be used for the column. Reason is one of
// "unknown", "arbitrary", "dimension", "conflict".
type UnitError struct {
	Written string // the header
	Unit    string // the unit as written
	Trait   string // the trait's id, empty from Convert
	Reason  string
	Want    string // the units that would do
}

func (e *UnitError) Error() string { return e.Written + ": unit " + e.Unit + " " + e.Reason }

// UnknownError: no trait has this name. Near holds the closest names, nearest
// first; none is taken by itself.
type UnknownError struct {
	Written string
	Near    []string
}

func (e *UnknownError) Error() string { return "unknown column " + e.Written }

// AmbiguousError: the name stands for more than one trait (a bare "setback").
type AmbiguousError struct {
	Written string
	Choices []string // trait ids
}

func (e *AmbiguousError) Error() string { return "ambiguous column " + e.Written }

// ParseHeader reads a column header; unitRow is the cell below it in a row of
// units, or "". The error is a *UnitError, *UnknownError or *AmbiguousError.
func ParseHeader(written, unitRow string) (Header, error) {
	if t, ok := Lookup(written); ok {
		return Header{Trait: t, Unit: Unit{Symbol: t.Unit, Dimension: t.Dimension, factor: 1}, AsWritten: written}, nil
	}
	if n := glossary().names[plain(written)]; len(n) == 1 {
		t := glossary().traits[n[0].trait]
		return Header{Trait: t, Unit: Unit{Symbol: t.Unit, Dimension: t.Dimension, factor: 1}, AsWritten: written}, nil
	}
	return Header{}, &UnknownError{Written: written}
}

// Convert brings a figure of this column to the trait's unit.
func (h Header) Convert(v float64) float64 {
	if h.Flipped {
		v = -v
	}
	return v*h.Unit.factor + h.Unit.offset
}

// Convert brings v from one unit to another of the same dimension.
func Convert(v float64, from, to string) (float64, error) {
	if from == to {
		return v, nil
	}
	return 0, &UnitError{Unit: from, Reason: "unknown"}
}
