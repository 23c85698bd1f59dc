// Package bake checks one row of cake results and works out what follows from
// its measures.
//
//  1. Each figure is held to what it can be and to what is usual. Heights that can
//     only be centimetres in a column of millimetres refuse the row.
//  2. Volume from seed displacement, specific volume, the indices of the template,
//     shrinkage, batter specific gravity and baking loss are worked out where their
//     measures are there and they are not.
//  3. Where they were given too, they are compared with the measures; a
//     difference beyond rounding is doubted, and what was written stays.
//  4. Stations says where on the cut the template's heights stand, for a pan.
//
// A row with an impossible figure is refused. Recipes and ovens are package
// baking's business; cakes of chlorinated and of untreated flour are different
// products and the caller keeps them apart. Scores pass unchecked: their scale is
// the panel's own.
package bake

import (
	"fmt"

	"flourcast/dataset/reading"
	"flourcast/finding"
)

// Ids of the figures that this package has rules for. HeightA to HeightE are the
// heights of the centre cut from the left edge to the right edge: C at the
// centre, B and D at 3/5 of the radius (AACC 10-91, from memory).
const (
	Volume          = "volume_mL"
	SeedVolume      = "seed_volume_mL"
	ContainerVolume = "container_volume_mL"
	SeedBeside      = "seed_beside_mL"
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
	Unevenness      = "unevenness_mm"
	CakeDiameter    = "cake_diameter_mm"
	PanDiameter     = "pan_diameter_mm"
	PanDepth        = "pan_depth_mm"
	Shrinkage       = "shrinkage_mm"
	EdgeShrinkage   = "edge_shrinkage_mm"
	CrumbFirmness   = "crumb_firmness_N"
	BatterMass      = "batter_mass_g"
	BakeLoss        = "bake_loss_pct"
	BatterDensity   = "batter_density_g_per_mL"
	BatterGravity   = "batter_specific_gravity"
	CupEmpty        = "cup_empty_g"
	CupBatter       = "cup_batter_g"
	CupWater        = "cup_water_g"
)

// Heights are the ids of the five heights, left edge to right edge.
var Heights = []string{HeightA, HeightB, HeightC, HeightD, HeightE}

// Reading is what one row of cake results says.
type Reading = reading.Reading

const (
	askLength = "check the unit of the header: heights in cm are ten times smaller than in mm"
	askVolume = "check the unit of the header: 1 L is 1000 mL"
	askUnit   = "check the unit of the header"
)

var (
	height = reading.Bound{Can: reading.Positive, Usual: [2]float64{10, 200}, Do: askLength}
	volume = reading.Bound{Can: reading.Positive, Usual: [2]float64{20, 10000}, Do: askVolume}
	cup    = reading.Bound{Can: reading.Positive, Usual: [2]float64{1, 2000}, Do: askUnit}
)

// bounds are ours: wide, to catch a wrong unit or column.
var bounds = map[string]reading.Bound{
	Volume: volume, SeedVolume: volume, SeedBeside: {Can: [2]float64{0, 1e9}, Usual: [2]float64{0, 20000}, Do: askVolume},
	ContainerVolume: {Can: reading.Positive, Usual: [2]float64{50, 20000}, Do: askVolume},
	Mass:            {Can: reading.Positive, Usual: [2]float64{5, 5000}, Do: askUnit},
	SpecificVolume:  {Can: reading.Positive, Usual: [2]float64{0.8, 10}, Do: "it is volume over mass, mL/g: check the columns"},
	HeightA:         height, HeightB: height, HeightC: height, HeightD: height, HeightE: height,
	VolumeIndex:     {Can: reading.Positive, Usual: [2]float64{30, 600}, Do: "it is B + C + D: " + askLength},
	SymmetryIndex:   {Can: reading.AnyNumber, Usual: [2]float64{-100, 100}, Do: "it is 2C − B − D: check the unit of the header"},
	UniformityIndex: {Can: reading.AnyNumber, Usual: [2]float64{-50, 50}, Do: "it is B − D: check the unit of the header"},
	Unevenness:      {Can: [2]float64{0, 1e6}, Usual: [2]float64{0, 50}, Do: "it is B − D without its sign: check the unit of the header"},
	CakeDiameter:    {Can: reading.Positive, Usual: [2]float64{40, 500}, Do: askLength},
	PanDiameter:     {Can: reading.Positive, Usual: [2]float64{40, 500}, Do: askLength},
	PanDepth:        {Can: reading.Positive, Usual: [2]float64{15, 150}, Do: askLength},
	Shrinkage:       {Can: reading.AnyNumber, Usual: [2]float64{-10, 60}, Do: "it is pan less cake diameter: check units and columns"},
	EdgeShrinkage:   {Can: reading.AnyNumber, Usual: [2]float64{-60, 60}, Do: "it is pan depth less the mean of A and E: check units and columns"},
	CrumbFirmness:   {Can: reading.Positive, Usual: [2]float64{0.01, 200}, Do: "check the unit of the header: a gram-force is 0.00980665 N"},
	BatterMass:      {Can: reading.Positive, Usual: [2]float64{5, 5000}, Do: askUnit},
	BakeLoss:        {Can: [2]float64{0, 100}, Usual: [2]float64{0, 40}, Do: "it is a share of the batter in per cent: check the column"},
	BatterDensity:   {Can: reading.Positive, Usual: [2]float64{0.2, 1.3}, Do: "it is mass over volume, g/mL: check the columns"},
	BatterGravity:   {Can: reading.Positive, Usual: [2]float64{0.2, 1.3}, Do: "it is batter over water, each without the cup: check the columns"},
	CupEmpty:        cup, CupBatter: cup, CupWater: cup,
}

// Read checks the values of one row, by trait id and in the glossary's units,
// and adds what follows from measures that are there. at is the row; findings
// name the column by id. Values without a rule here pass if they are finite. A
// refused row gives a Reading that is not OK.
func Read(values map[string]float64, at finding.Place) (Reading, finding.List) {
	kept, fl := reading.Check(values, bounds, at)
	if kept == nil {
		return Reading{}, fl
	}
	if len(kept) == 0 {
		fl.Add(finding.Finding{Code: "no-readings", Severity: finding.Refused, At: at, Found: "no reading", Want: "at least one", Do: "fill the row in or leave it out"})
		return Reading{}, fl
	}
	if f := wrongLength(kept, at); f != nil {
		return Reading{}, finding.List{*f} // instead of a doubt for each height
	}
	if f := contradiction(kept, at); f != nil {
		fl.Add(*f)
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
	if _, seed := r.Get(SeedVolume); seed {
		_, container := r.Get(ContainerVolume)
		_, beside := r.Get(SeedBeside)
		if container && !beside {
			at.Column = SeedVolume
			fl.Add(finding.Finding{Code: "seed-volume-unclear", Severity: finding.Doubt, At: at, Found: "a seed volume and the container's, taken as the seed that the cake displaces",
				Want: "seed_beside_mL where it is the seed beside the cake", Do: "say which of the two it is by its header"})
		}
	}
	return r, fl
}

// A layer or sponge cake is never lower than leastHeight at its middle, nor higher
// than mostHeight (ours).
const leastHeight, mostHeight = 10.0, 250.0

// wrongLength is the refusal of a row whose three middle heights can only be in
// another unit than millimetres, or nil.
func wrongLength(values map[string]float64, at finding.Place) *finding.Finding {
	low, high, n := true, true, 0
	for _, id := range []string{HeightB, HeightC, HeightD} {
		if v, ok := values[id]; ok {
			n++
			low, high = low && v < leastHeight, high && v > mostHeight
		}
	}
	if n < 3 || !low && !high {
		return nil
	}
	b, c, d := values[HeightB], values[HeightC], values[HeightD]
	at.Column = HeightB
	f := finding.Finding{Code: "height-unit", Severity: finding.Refused, At: at, Found: fmt.Sprintf("heights B, C, D of %.4g, %.4g, %.4g mm", b, c, d),
		Want: fmt.Sprintf("a cake between %g and %g mm", leastHeight, mostHeight), Do: "these look like centimetres under a header of millimetres: write the header as A_cm … E_cm"}
	if high {
		f.Do = "these look like millimetres under a header of centimetres: write the header as A_mm … E_mm"
	}
	return &f
}

// contradiction is the refusal of a row whose measures cannot be of one cake, or nil.
func contradiction(values map[string]float64, at finding.Place) *finding.Finding {
	for _, c := range []struct{ less, more, text, do string }{
		{SeedBeside, ContainerVolume, "as much seed beside the cake as in the empty container", "check the two columns: with the cake in it the container takes less seed"},
		{CupEmpty, CupBatter, "a cup of batter no heavier than the empty cup", "check the weighings: cup_batter_g is cup and batter together"},
		{CupEmpty, CupWater, "a cup of water no heavier than the empty cup", "check the weighings: cup_water_g is cup and water together"},
		{Mass, BatterMass, "a cake heavier than its batter", "check the two columns: baking takes water away"},
	} {
		less, ok1 := values[c.less]
		more, ok2 := values[c.more]
		if !ok1 || !ok2 || less < more || less == more && c.less == Mass {
			continue
		}
		at.Column = c.less
		return &finding.Finding{Code: "measures-contradict", Severity: finding.Refused, At: at, Found: fmt.Sprintf("%s (%.4g and %.4g)", c.text, less, more),
			Want: c.less + " below " + c.more, Do: c.do}
	}
	return nil
}
