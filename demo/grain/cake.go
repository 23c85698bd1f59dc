package grain

import (
	"math"
	"math/rand/v2"

	"flourcast/dataset/trait"
)

// Cake is one baked high-ratio layer cake.
type Cake struct{ Volume, Symmetry float64 } // mL, mm

// BakeCake lets the batter's starch cook at the rate of a cake's centre in the
// oven. What holds a high-ratio cake up when it leaves the oven is the paste
// that the syrup lets the starch make; how far it falls back is how much of
// that is missing. Protein tightens the batter. Whether the top is domed
// depends on the oven and the pan far more than on the flour.
func BakeCake(f Flour) Cake {
	const starch = 0.22 // g/mL of batter
	p := newPaste(f, trait.Sucrose)
	for t := 0.0; t < 1500; t += stepS {
		p.heat(math.Min(97, 25+t*0.075), stepS, false)
	}
	hold := p.gel * p.filled(starch)
	kept := 1 / (1 + math.Exp(-6*(hold-1.3)))
	return Cake{
		Volume:   730 + 260*kept - 14*(f.Protein-7.6) - 8*(f.Damaged-5.5),
		Symmetry: 4 + 3*(kept-0.5),
	}
}

// Pan is one cake of a bake: ovens and hands differ.
func Pan(r *rand.Rand, c Cake) Cake {
	return Cake{c.Volume * math.Exp(0.018*r.NormFloat64()), c.Symmetry + 2.5*r.NormFloat64()}
}
