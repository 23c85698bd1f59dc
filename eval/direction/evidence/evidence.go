// Package evidence is what a laboratory measured, in the form that published
// directions are put to.
//
//  1. An Evidence holds features, response, years and labels, one entry a row.
//  2. Gather checks the shapes and averages the rows of each lot.
//  3. Lots say which of them a rule is meant for (Among), and which are of sprouted
//     wheat (Sprouted).
//
// It refuses columns of unequal length and figures that are not finite. It computes
// no correlation and answers no rule.
package evidence

import (
	"fmt"

	"flourcast/dataset/trait"
)

const (
	// FallingLow is the falling number, in seconds, below which a lot counts as
	// sprouted (common practice, no source).
	FallingLow = 250
	fallingID  = "falling_number_s"
)

// FeatureColumn is one feature over the rows of an Evidence. ID is its column
// name; a method suffix ("peak_mPas@noodle-water") is cut before rules are
// looked up. Present nil means all present. RepeatSD is the repeatability SD of
// the feature where known. Solvent "" means the Evidence's.
type FeatureColumn struct {
	ID       string
	X        []float64
	Present  []bool
	RepeatSD *float64
	Solvent  trait.Solvent
}

// Evidence is what a laboratory measured, one entry a row. Rows of one lot are
// averaged before anything is counted. Kind "" takes the kind of every rule about
// the response. Protein and Year may be nil; a year is "" where unknown. Labels
// are texts by column name (treatment), which a rule's conditions may ask for; ""
// where unknown. A feature falling_number_s tells sprouted lots.
type Evidence struct {
	Product  string
	Solvent  trait.Solvent
	Response string
	Kind     string // instrumental | preference
	Lots     []string
	Y        []float64
	Features []FeatureColumn
	Protein  *FeatureColumn
	Year     []string
	Labels   map[string][]string
}

// ShapeError says which part of an Evidence does not fit the others.
type ShapeError struct{ Part, Found, Want string }

func (e *ShapeError) Error() string {
	return fmt.Sprintf("direction: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}
