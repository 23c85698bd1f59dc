package trait

import (
	"math"
	"strconv"
	"strings"
)

// Place is where on a curve a column of whole curves stands: At seconds since the
// stage began, or at that temperature, °C, within it. Stage "" is the whole test, from
// its start.
type Place struct {
	Stage string // "", StageHeating, StageHot, StageCooling, StageFinal
	At    float64
}

// Stages as names of columns have them.
const (
	StageHeating = "heat"
	StageHot     = "hot"
	StageCooling = "cool"
	StageFinal   = "final"
)

// places are the stages: what At counts in, and the words before and behind it.
var places = map[string]struct{ unit, before, after string }{
	"":           {"s", "viscosity at ", " s"},
	StageHeating: {"C", "viscosity at ", " °C of heating"},
	StageHot:     {"s", "viscosity ", " s into the hot hold"},
	StageCooling: {"C", "viscosity at ", " °C of cooling"},
	StageFinal:   {"s", "viscosity ", " s into the final hold"},
}

// PlaceOf reads the name of a column of whole curves, with or without a method behind
// it: v_0096s, v_heat_52C, v_hot_0010s@noodle-water. ok is false for any other name.
func PlaceOf(column string) (p Place, ok bool) {
	id, _ := Split(column)
	rest, ok := strings.CutPrefix(id, "v_")
	if !ok {
		return Place{}, false
	}
	if stage, figure, parted := strings.Cut(rest, "_"); parted {
		if stage == "" {
			return Place{}, false
		}
		p.Stage, rest = stage, figure
	}
	words, known := places[p.Stage]
	digits, united := strings.CutSuffix(rest, words.unit)
	v, err := strconv.ParseFloat(digits, 64)
	if !known || !united || err != nil || !(v >= 0) || math.IsInf(v, 0) {
		return Place{}, false
	}
	p.At = v
	return p, true
}

// words are the place in full words.
func (p Place) words() string {
	w := places[p.Stage]
	return w.before + strconv.FormatFloat(p.At, 'f', -1, 64) + w.after
}

// Words are a column's label and unit: "peak viscosity" and "mPa·s"; of a column of
// whole curves "viscosity at 96 s" and "mPa·s". A column that is neither is not known,
// and its own label without its method.
func Words(column string) (label, unit string, known bool) {
	if t, ok := Lookup(column); ok {
		return t.Label, t.Unit, true
	}
	if p, ok := PlaceOf(column); ok {
		return p.words(), "mPa·s", true
	}
	id, _ := Split(column)
	return id, "", false
}

// Name is the first of Words, without method and unit; of a column that is not known all
// of it.
func Name(column string) string {
	if name, _, known := Words(column); known {
		return name
	}
	return column
}
