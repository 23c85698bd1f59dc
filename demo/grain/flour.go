// Package grain is the invented flours of the demo and how they behave.
//
//  1. Draw gives a lot its hidden Flour.
//  2. PastingRun cooks it stirred in the can of a pasting viscometer, CookNoodle
//     in a boiled strand, BakeCake in a high-ratio batter.
//  3. Dough, Batch, Strand and Pan add the scatter of hands and instruments.
//
// All three cook the same granules. No texture is worked out from a curve, so
// whatever runs together in the records does so through the flour. Everything
// is invented: the package is a teaching model, never a source.
package grain

import (
	"math"
	"math/rand/v2"
)

// Flour is the hidden truth of one lot: what the invented grain is like, not
// what a test says of it. Every record of the demo is worked out from it.
// Figures are invented, within what the trade would call plausible (from memory).
type Flour struct {
	Protein   float64 // %, 14 % moisture basis
	Amylose   float64 // share of the starch
	Swelling  float64 // water a granule can take at 95 °C, g/g
	GelMean   float64 // gelatinisation temperature in water, °C: middle …
	GelSpread float64 // … and scale of the granules' logistic distribution
	Fragility float64 // how fast swollen granules break under shear; 1 is usual
	Damaged   float64 // starch damaged in milling, % of the starch
	Amylase   float64 // α-amylase; 1 is a sound flour of falling number 350 s
	Gluten    float64 // strength of the gluten per gram of protein; 1 is usual
	Ash       float64 // %, 14 % moisture basis
	Moisture  float64 // %, as is
	Heated    bool    // dry heat treatment
}

// starch is grams of starch a gram of dry flour: the more protein, the less.
func (f Flour) starch() float64 { return 0.91 - f.Protein/86 }

// FallingNumber is the falling number, s, of the flour's amylase. The
// liquefaction number 6000/(FN − 50) is taken as proportional to activity
// (common practice, no source).
func (f Flour) FallingNumber() float64 { return 50 + 300/f.Amylase }

// Blend is a flour mixed from a share of a and the rest of b. Everything is
// taken as additive by mass, amylase too: good enough for two like flours.
func Blend(a, b Flour, share float64) Flour {
	mix := func(x, y float64) float64 { return share*x + (1-share)*y }
	return Flour{
		Protein: mix(a.Protein, b.Protein), Amylose: mix(a.Amylose, b.Amylose), Swelling: mix(a.Swelling, b.Swelling),
		GelMean: mix(a.GelMean, b.GelMean), GelSpread: mix(a.GelSpread, b.GelSpread) + 0.1, Fragility: mix(a.Fragility, b.Fragility),
		Damaged: mix(a.Damaged, b.Damaged), Amylase: mix(a.Amylase, b.Amylase), Gluten: mix(a.Gluten, b.Gluten),
		Ash: mix(a.Ash, b.Ash), Moisture: mix(a.Moisture, b.Moisture),
	}
}

// Grist is what a kind of flour is milled from. The share of low-amylose wheat
// makes most of the difference between lots, as in soft-bite flours.
type Grist struct {
	LowAmylose, Spread float64 // middle and half width of the share of low-amylose wheat
	Own                float64 // how much a lot differs beyond its grist; 1 is usual
	Protein            float64 // %, 14 % basis
}

// Draw draws the hidden flour of one lot. Low-amylose wheat of this invented
// country carries a little less protein: protein is a confounder of everything
// that pasting says.
func Draw(r *rand.Rand, g Grist) Flour {
	low := g.LowAmylose + g.Spread*(2*r.Float64()-1)
	own := func(sd float64) float64 { return g.Own * sd * r.NormFloat64() }
	f := Flour{
		Protein:   g.Protein - 0.45*(low-g.LowAmylose) + own(0.50),
		GelMean:   61.5 + 0.9*r.NormFloat64(),
		GelSpread: 2.6 + own(0.12),
		Damaged:   5.5 + own(0.6),
		Amylase:   math.Exp(own(0.10)),
		Gluten:    1 + own(0.03),
		Ash:       0.42 + own(0.025),
		Moisture:  13.6 + 0.35*r.NormFloat64(),
	}
	f.Wheat(low)
	f.Amylose += own(0.006)
	f.Swelling += own(0.55)
	f.Fragility *= math.Exp(own(0.13))
	return f
}

// Wheat sets what follows from the share of low-amylose wheat: amylose falls and
// granules take up more water. How easily a granule breaks is the lot's own: it
// is what keeps breakdown from being the peak once more.
func (f *Flour) Wheat(low float64) {
	f.Amylose, f.Swelling, f.Fragility = 0.258-0.030*low, 9.6+2.6*low, 1
}
