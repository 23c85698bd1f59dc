package grain

import (
	"math"
	"math/rand/v2"
)

// Bites is the record of a strand bitten twice: s, N, mm of travel.
type Bites struct{ TimeS, ForceN, DistanceMM []float64 }

// How the invented texture analyser bites.
const (
	strandMM   = 3.0  // strand and what it stands on
	biteShare  = 0.70 // of the strand
	biteSpeed  = 1.0  // mm/s
	biteStepS  = 0.02
	biteWaitS  = 2.0 // between the bites, probe in the air
	biteOnset  = 1.6 // power of the rise
	biteGives  = 0.4 // s in which the force is gone on the way back
	biteNoiseN = 0.004
)

// TwoBites draws the force of two bites into a noodle: the force rises with a power
// of the depth and is gone soon on the way back, the strand sticks a little, and the
// second bite meets it later (springiness) and weaker, so that the areas of the whole
// bites stand as its cohesiveness says. With slips the strand leaves the probe before
// the second bite.
func TwoBites(r *rand.Rand, n Noodle, slips bool) Bites {
	depth := biteShare * strandMM
	down := depth / biteSpeed
	cycle := 2*down + biteWaitS
	second := n.Hardness * n.Cohesiveness / n.Springiness
	if slips {
		second = 0
	}
	sticks := 0.02 * n.Hardness
	var b Bites
	for i := 0; ; i++ {
		t := float64(i)*biteStepS - 0.5
		if t > 2*cycle {
			return b
		}
		k := math.Max(0, math.Floor(t/cycle))
		at := t - k*cycle
		late, top := 0.0, n.Hardness
		if k > 0 {
			late, top = down*(1-n.Springiness), second
		}
		force, travel := 0.0, 0.0
		switch {
		case at < 0:
		case at < down:
			travel = biteSpeed * at
			if at > late {
				force = top * math.Pow((at-late)/(down-late), biteOnset)
			}
		case at < 2*down:
			travel = depth - biteSpeed*(at-down)
			back := (at - down) / (biteGives * (down - late) / down)
			switch {
			case back < 1:
				force = top * (1 - back) * (1 - back)
			case back < 2 && k == 0:
				force = -sticks * math.Sin(math.Pi*(back-1))
			}
		}
		b.TimeS, b.ForceN, b.DistanceMM = append(b.TimeS, t+0.5), append(b.ForceN, force+biteNoiseN*r.NormFloat64()), append(b.DistanceMM, travel)
	}
}

// Heights are the heights of a cake's centre cut at the template's stations A to E,
// mm, for its volume (mL) in a pan of the given diameter (mm) and its symmetry index
// (2C − B − D); sides differ by a millimetre or so.
func Heights(r *rand.Rand, c Cake, panMM float64) [5]float64 {
	mean := c.Volume * 1000 / (math.Pi / 4 * panMM * panMM)
	tilt := 0.6 * r.NormFloat64()
	shoulder := mean + 0.4 + 0.2*r.NormFloat64()
	centre := shoulder + c.Symmetry/2
	edge := 0.8*mean + 0.4*r.NormFloat64()
	return [5]float64{edge + tilt, shoulder + tilt/2, centre, shoulder - tilt/2, edge - tilt}
}
