package bake

import (
	"fmt"
	"math"

	"flourcast/dataset/reading"
	"flourcast/finding"
)

// DisplacedVolume is the cake's volume, mL: the seed that fills the empty container
// less the seed that fills it beside the cake (AACC 10-05, from memory).
func DisplacedVolume(containerML, besideML float64) float64 { return containerML - besideML }

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

// ShrinkageOf is the pan's diameter less the cake's, mm (AACC 10-91, from memory).
func ShrinkageOf(panMM, cakeMM float64) float64 { return panMM - cakeMM }

// EdgeShrinkageOf is the pan's depth less the mean height of the edges, mm: how far
// they stand below the rim (ours; common practice, no source).
func EdgeShrinkageOf(panDepthMM, a, e float64) float64 { return panDepthMM - (a+e)/2 }

// GravityOf is the specific gravity of a batter, no unit: batter over the same
// volume of water, the cup taken off both (AACC 55-50, from memory).
func GravityOf(cupG, withBatterG, withWaterG float64) float64 {
	return (withBatterG - cupG) / (withWaterG - cupG)
}

// LossOf is what the oven took, per cent of the batter in the pan (common practice,
// no source).
func LossOf(batterG, cakeG float64) float64 { return 100 * (batterG - cakeG) / batterG }

// derivation is a figure that follows from measures of the same row. slack is
// how far the rounding of the measures may move it, in its own unit.
type derivation struct {
	id, formula string
	of          func(r Reading) (value, slack float64, ok bool)
}

// from makes a derivation's function out of one of the formulas above. The slack is
// the sum of what each measure's rounding moves it by.
func from(ids []string, formula func(v []float64) float64) func(Reading) (float64, float64, bool) {
	return func(r Reading) (value, slack float64, ok bool) {
		v := make([]float64, len(ids))
		for i, id := range ids {
			if v[i], ok = r.Get(id); !ok {
				return 0, 0, false
			}
		}
		value = formula(v)
		for i, was := range v {
			v[i] = was * (1 + reading.Rounding(was))
			slack += math.Abs(formula(v) - value)
			v[i] = was
		}
		if math.IsNaN(value) || math.IsInf(value, 0) || math.IsNaN(slack) || math.IsInf(slack, 0) {
			return 0, 0, false
		}
		return value, slack, true
	}
}

// derived stand in the order in which they build on one another: the volume first,
// displaced seed before the container's difference.
var derived = []derivation{
	{Volume, "the seed displaced", from([]string{SeedVolume}, func(v []float64) float64 { return v[0] })},
	{Volume, "the container's seed less the seed beside the cake", from([]string{ContainerVolume, SeedBeside}, func(v []float64) float64 { return DisplacedVolume(v[0], v[1]) })},
	{SpecificVolume, "volume over mass", ofMeans(from([]string{Volume, Mass}, func(v []float64) float64 { return SpecificVolumeOf(v[0], v[1]) }))},
	{VolumeIndex, "B + C + D", from(Heights[1:4], func(v []float64) float64 { i, _, _ := Indices(v[0], v[1], v[2]); return i })},
	{SymmetryIndex, "2C − B − D", from(Heights[1:4], func(v []float64) float64 { _, i, _ := Indices(v[0], v[1], v[2]); return i })},
	{UniformityIndex, "B − D", from(Heights[1:4], func(v []float64) float64 { _, _, i := Indices(v[0], v[1], v[2]); return i })},
	{Unevenness, "the size of B − D", from([]string{UniformityIndex}, func(v []float64) float64 { return math.Abs(v[0]) })},
	{Shrinkage, "pan less cake diameter", from([]string{PanDiameter, CakeDiameter}, func(v []float64) float64 { return ShrinkageOf(v[0], v[1]) })},
	{EdgeShrinkage, "pan depth less the mean of A and E", from([]string{PanDepth, HeightA, HeightE}, func(v []float64) float64 { return EdgeShrinkageOf(v[0], v[1], v[2]) })},
	{BatterGravity, "batter over water", from([]string{CupEmpty, CupBatter, CupWater}, func(v []float64) float64 { return GravityOf(v[0], v[1], v[2]) })},
	{BakeLoss, "batter less cake over batter", from([]string{BatterMass, Mass}, func(v []float64) float64 { return LossOf(v[0], v[1]) })},
}

// ofMeans widens the slack by 1 %: the mean of ratios is not the ratio of means.
func ofMeans(of func(Reading) (float64, float64, bool)) func(Reading) (float64, float64, bool) {
	return func(r Reading) (float64, float64, bool) {
		v, slack, ok := of(r)
		return v, slack + 0.01*math.Abs(v), ok
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
