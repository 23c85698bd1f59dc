// Package bake checks one row of cake results and works out what follows from
// its measures.
//
//  1. Each figure is held to what it can be and to what is usual.
//  2. Specific volume from volume and mass, and the three template indices from
//     the heights of the centre cut, are worked out where they were not given.
//  3. Where they were given too, they are compared with the measures; a
//     difference beyond rounding is doubted, and what was written stays.
//
// A row with an impossible figure is refused. Recipes, pans and ovens are not
// known here; cakes of chlorinated and of untreated flour are different products
// and the caller keeps them apart. Scores pass unchecked: their scale is the
// panel's own.
package bake

import (
	"fmt"
	"math"

	"flourcast/dataset/reading"
	"flourcast/finding"
)

// Ids of the figures that this package has rules for. HeightA to HeightE are the
// heights of the centre cut from the left edge to the right edge: C at the
// centre, B and D at 3/5 of the radius (AACC 10-91, from memory).
const (
	Volume          = "volume_mL"
	Mass            = "mass_g"
	SpecificVolume  = "specific_volume_mL_per_g"
	HeightA         = "height_a_mm"
	HeightB         = "height_b_mm"
	HeightC         = "height_c_mm"
	HeightD         = "height_d_mm"
	HeightE         = "height_e_mm"
	VolumeIndex     = "volume_index_mm"
	SymmetryIndex   = "symmetry_index_mm"
	UniformityIndex = "uniformity_index_mm"
	CrumbFirmness   = "crumb_firmness_N"
	BakeLoss        = "bake_loss_pct"
	BatterDensity   = "batter_density_g_per_mL"
)

// Reading is what one row of cake results says.
type Reading = reading.Reading

const askLength = "check the unit of the header: heights in cm are ten times smaller than in mm"

var height = reading.Bound{Can: reading.Positive, Usual: [2]float64{10, 200}, Do: askLength}

// bounds are ours: wide, to catch a wrong unit or column.
var bounds = map[string]reading.Bound{
	Volume:         {Can: reading.Positive, Usual: [2]float64{20, 10000}, Do: "check the unit of the header: 1 L is 1000 mL"},
	Mass:           {Can: reading.Positive, Usual: [2]float64{5, 5000}, Do: "check the unit of the header"},
	SpecificVolume: {Can: reading.Positive, Usual: [2]float64{0.8, 10}, Do: "it is volume over mass, mL/g: check the columns"},
	HeightA:        height, HeightB: height, HeightC: height, HeightD: height, HeightE: height,
	VolumeIndex:     {Can: reading.Positive, Usual: [2]float64{30, 600}, Do: "it is B + C + D: " + askLength},
	SymmetryIndex:   {Can: reading.AnyNumber, Usual: [2]float64{-100, 100}, Do: "it is 2C − B − D: check the unit of the header"},
	UniformityIndex: {Can: reading.AnyNumber, Usual: [2]float64{-50, 50}, Do: "it is B − D: check the unit of the header"},
	CrumbFirmness:   {Can: reading.Positive, Usual: [2]float64{0.01, 200}, Do: "check the unit of the header: a gram-force is 0.00980665 N"},
	BakeLoss:        {Can: [2]float64{0, 100}, Usual: [2]float64{0, 40}, Do: "it is a share of the batter in per cent: check the column"},
	BatterDensity:   {Can: reading.Positive, Usual: [2]float64{0.2, 1.3}, Do: "it is mass over volume, g/mL: check the columns"},
}

// Read checks the values of one row, by trait id and in the glossary's units,
// and adds specific volume and template indices where their measures are there
// and they are not. at is the row; findings name the column by id. Values
// without a rule here pass if they are finite. A refused row gives a Reading
// that is not OK.
func Read(values map[string]float64, at finding.Place) (Reading, finding.List) {
	kept, fl := reading.Check(values, bounds, at)
	if kept == nil {
		return Reading{}, fl
	}
	if len(kept) == 0 {
		fl.Add(finding.Finding{Code: "no-readings", Severity: finding.Refused, At: at, Found: "no reading", Want: "at least one", Do: "fill the row in or leave it out"})
		return Reading{}, fl
	}
	r := reading.New(kept)
	for _, d := range derived {
		value, slack, ok := d.of(r)
		if !ok {
			continue
		}
		if given, there := r.Get(d.id); there {
			d.compare(given, value, slack, at, &fl)
			continue
		}
		r = r.With(reading.Value{ID: d.id, Value: value})
	}
	return r, fl
}

// SpecificVolumeOf is volume over mass, mL/g (AACC 10-05, from memory); mass > 0.
func SpecificVolumeOf(volumeML, massG float64) float64 { return volumeML / massG }

// Indices of the template method from the heights B, C, D of the centre cut, mm
// (AACC 10-91, from memory):
//
//	volume index     B + C + D
//	symmetry index   2C − B − D   above 0 domed, below 0 dipped
//	uniformity index B − D        ideal 0
func Indices(b, c, d float64) (volume, symmetry, uniformity float64) {
	return b + c + d, 2*c - b - d, b - d
}

// derivation is a figure that follows from measures of the same row. slack is
// how far the rounding of the measures may move it, in its own unit.
type derivation struct {
	id, formula string
	of          func(r Reading) (value, slack float64, ok bool)
}

var derived = []derivation{
	{SpecificVolume, "volume over mass", func(r Reading) (float64, float64, bool) {
		volume, ok1 := r.Get(Volume)
		mass, ok2 := r.Get(Mass)
		if !ok1 || !ok2 {
			return 0, 0, false
		}
		v := SpecificVolumeOf(volume, mass)
		return v, v * (0.01 + reading.Rounding(volume) + reading.Rounding(mass)), true // 1 %: the mean of ratios is not the ratio of means
	}},
	{VolumeIndex, "B + C + D", fromHeights(func(v, _, _ float64) float64 { return v }, 1)},
	{SymmetryIndex, "2C − B − D", fromHeights(func(_, s, _ float64) float64 { return s }, 2)},
	{UniformityIndex, "B − D", fromHeights(func(_, _, u float64) float64 { return u }, 1)},
}

// fromHeights picks one of the indices. weightC is how often C counts in it.
func fromHeights(pick func(volume, symmetry, uniformity float64) float64, weightC float64) func(Reading) (float64, float64, bool) {
	return func(r Reading) (value, slack float64, ok bool) {
		b, ok1 := r.Get(HeightB)
		c, ok2 := r.Get(HeightC)
		d, ok3 := r.Get(HeightD)
		if !ok1 || !ok2 || !ok3 {
			return 0, 0, false
		}
		return pick(Indices(b, c, d)), b*reading.Rounding(b) + weightC*c*reading.Rounding(c) + d*reading.Rounding(d), true
	}
}

// compare doubts a given figure that lies off its measures by more than rounding.
func (d derivation) compare(given, value, slack float64, at finding.Place, fl *finding.List) {
	slack += math.Abs(given) * reading.Rounding(given)
	if math.Abs(given-value) <= slack*(1+1e-9) {
		return
	}
	at.Column = d.id
	do := "check units and columns against the original record"
	if d.id == UniformityIndex && math.Abs(given+value) <= slack {
		do = "the sign is lost or turned: this index is B − D, negative where the right side is higher"
	}
	fl.Add(finding.Finding{Code: "index-differs", Severity: finding.Doubt, At: at, Found: fmt.Sprintf("%.4g, but %s = %.4g", given, d.formula, value),
		Want: fmt.Sprintf("the same within %.2g", slack), Do: do})
}
