package grain

import (
	"math"
	"math/rand/v2"
)

// Noodle is one cooked noodle as the texture analyser meets it.
type Noodle struct{ Hardness, Springiness, Cohesiveness, Firmness float64 } // N, –, –, N

// CookNoodle is the mechanical picture of a boiled strand: swollen granules
// packed in a gluten network. A granule that takes up more water is a softer
// filler; amylose stiffens it; amylase cuts it while the pot heats through.
// Protein makes the network, and keeps water from the granules.
//
//   - hardness: filler and network carry the bite side by side;
//   - springiness: a soft filler springs back with the network, a stiff one is
//     crushed; weak gluten springs back less;
//   - cohesiveness: a stiff filler in a thin network breaks in the first bite;
//   - firmness: a thin blade cuts the network, and mostly slips past the filler.
func CookNoodle(f Flour) Noodle {
	water := f.Swelling * (1 - 0.025*(f.Protein-9)) * (1 + 0.01*(f.Damaged-5.5))
	filler := math.Pow(10.9/water, 1.6) * (1 + 3.5*(f.Amylose-0.2425)) * math.Exp(-0.16*(f.Amylase-1))
	network := math.Pow(f.Protein/9, 1.2)
	return Noodle{
		Hardness:     2.55*filler + 1.05*network,
		Springiness:  1 - 0.105*math.Pow(filler, 1.6)/f.Gluten,
		Cohesiveness: math.Exp(-0.44 * filler / (0.55 + 0.45*network)),
		Firmness:     1.35*network*network + 0.10*filler,
	}
}

// Scatter of texture, relative: batches of one lot (dough, sheet, pot), strands
// of one batch. From memory: batches 8–15 %, strands 5–10 %.
const batchCV, strandCV = 0.09, 0.06

// Dough is a lot's own dough: the water it was given and the gap of the rolls
// are the noodle maker's choice, and no flour test knows of them.
func Dough(r *rand.Rand, n Noodle) Noodle {
	force := math.Exp(0.055 * r.NormFloat64())
	return Noodle{
		n.Hardness * force, n.Springiness + 0.011*r.NormFloat64(),
		n.Cohesiveness + 0.018*r.NormFloat64(), n.Firmness * force,
	}
}

// Batch is a batch's own noodle: its thickness and cooking move all forces together.
func Batch(r *rand.Rand, n Noodle) Noodle {
	force := math.Exp(batchCV * r.NormFloat64())
	return Noodle{
		n.Hardness * force, n.Springiness + 0.008*r.NormFloat64(),
		n.Cohesiveness + 0.012*r.NormFloat64(), n.Firmness * math.Pow(force, 0.5) * math.Exp(0.04*r.NormFloat64()),
	}
}

// Strand is one strand of a batch.
func Strand(r *rand.Rand, n Noodle) Noodle {
	return Noodle{
		n.Hardness * math.Exp(strandCV*r.NormFloat64()), math.Min(0.995, n.Springiness+0.008*r.NormFloat64()),
		n.Cohesiveness + 0.012*r.NormFloat64(), n.Firmness * math.Exp(0.05*r.NormFloat64()),
	}
}
