// Package reading holds the figures of one row that were checked one by one.
//
//  1. Check takes a row's figures by trait id, in the glossary's units, and a
//     list of bounds: a figure outside what it can be is refused, one outside
//     what is usual is doubted, each with a cure.
//  2. Reading is what was kept: immutable, in the glossary's order.
//  3. Rounding tells how far a written figure may lie from what was measured,
//     for checks of one figure against others.
//
// What the figures mean, and what follows from them, is known to the packages of
// the single tests. A row with a refused figure is refused whole: which other
// figure shares its fault cannot be told.
package reading

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Value is one figure, in the glossary's unit.
type Value struct {
	ID    string
	Value float64
}

// Reading is the figures of one row or run. A figure that was not given is
// absent. The zero value has none and is not OK.
type Reading struct{ values map[string]float64 }

// New copies values into a Reading. Figures that are not finite are left out;
// Check names them.
func New(values map[string]float64) Reading {
	kept := make(map[string]float64, len(values))
	for id, v := range values {
		if finite(v) {
			kept[id] = v
		}
	}
	return Reading{kept}
}

// Get is the figure with the id and whether it is there.
func (r Reading) Get(id string) (float64, bool) {
	v, ok := r.values[id]
	return v, ok
}

// Values are the figures that are there, in the glossary's order; ids that the
// glossary does not have come last, sorted.
func (r Reading) Values() []Value {
	out := make([]Value, 0, len(r.values))
	for _, id := range inOrder(r.values) {
		out = append(out, Value{id, r.values[id]})
	}
	return out
}

// OK reports whether the row may be used: it has figures and none was refused.
func (r Reading) OK() bool { return len(r.values) > 0 }

// With is r with more figures, as a new Reading; what is there already stays.
func (r Reading) With(more ...Value) Reading {
	values := map[string]float64{}
	for _, v := range more {
		values[v.ID] = v.Value
	}
	maps.Copy(values, r.values)
	return New(values)
}

// Bound says what a figure can be and what it usually is, in the glossary's
// unit, ends included; an open side is ±Inf. Do is the likely cause and its cure.
type Bound struct {
	Can, Usual [2]float64
	Do         string
}

var inf = math.Inf(1)

// Ends of a Bound that leave a side open.
var (
	AnyNumber = [2]float64{-inf, inf}
	Positive  = [2]float64{math.SmallestNonzeroFloat64, inf}
)

// Check compares each figure with its bound; ids without a bound need only be
// finite. Findings are value-range and not-finite (refused) and value-unusual
// (doubt), in the glossary's order, at the place given with the id as column.
// kept is nil when a figure was refused.
func Check(values map[string]float64, bounds map[string]Bound, at finding.Place) (kept map[string]float64, fl finding.List) {
	kept = make(map[string]float64, len(values))
	for _, id := range inOrder(values) {
		v := values[id]
		at.Column = id
		b, bounded := bounds[id]
		switch {
		case !finite(v):
			fl.Add(finding.Finding{Code: "not-finite", Severity: finding.Refused, At: at, Found: fmt.Sprint(v), Want: "a finite number", Do: "mend the cell or leave it empty"})
			continue
		case bounded && !within(v, b.Can):
			fl.Add(finding.Finding{Code: "value-range", Severity: finding.Refused, At: at, Found: number(v), Want: span(b.Can), Do: b.Do})
		case bounded && !within(v, b.Usual):
			fl.Add(finding.Finding{Code: "value-unusual", Severity: finding.Doubt, At: at, Found: number(v), Want: span(b.Usual), Do: b.Do})
		}
		kept[id] = v
	}
	if fl.Count(finding.Refused) > 0 {
		return nil, fl
	}
	return kept, fl
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func within(v float64, ends [2]float64) bool { return v >= ends[0] && v <= ends[1] }

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func span(ends [2]float64) string {
	low, high := ends[0], ends[1]
	switch {
	case low == math.SmallestNonzeroFloat64:
		return "more than 0"
	case high == inf:
		return "at least " + number(low)
	case low == -inf:
		return "at most " + number(high)
	}
	return "between " + number(low) + " and " + number(high)
}

func inOrder(values map[string]float64) []string {
	out := make([]string, 0, len(values))
	for t := range trait.Each() {
		if _, ok := values[t.ID]; ok {
			out = append(out, t.ID)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(values)) {
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// Rounding is half a step of the last decimal that v was written with, as a
// share of v: 0.66 may be anything within 0.005/0.66 = 0.76 %. Trailing zeros of
// a whole number count as written (750 is rounded to 1). A figure converted from
// another unit has many decimals, and so almost none. v = 0 gives 0.
func Rounding(v float64) float64 {
	if v == 0 || !finite(v) {
		return 0
	}
	text := strconv.FormatFloat(math.Abs(v), 'f', -1, 64)
	decimals := 0
	if dot := strings.IndexByte(text, '.'); dot >= 0 {
		decimals = len(text) - dot - 1
	}
	return 0.5 * math.Pow10(-decimals) / math.Abs(v)
}
