// Package texture checks one row of instrumental texture results: the readings
// of one piece, or their mean.
//
//  1. Each figure is held to what it can be and to what is usual: forces above
//     zero, ratios between 0 and 1, shares between 0 and 100 %.
//  2. Gumminess and chewiness, where they are given with their factors, are
//     compared with the products that define them.
//  3. WithProducts works them out, on request, where all factors are there.
//
// A row with an impossible figure is refused; a doubtful one is kept and named.
// The force curve itself, settings and protocols are not known here. A panel's
// score passes unchecked: its scale is the panel's own.
package texture

import (
	"fmt"
	"math"

	"flourcast/dataset/reading"
	"flourcast/finding"
)

// Ids of the readings that this package has rules for.
const (
	Hardness       = "hardness_N"
	Firmness       = "firmness_N"
	Fracturability = "fracturability_N"
	Springiness    = "springiness"
	Cohesiveness   = "cohesiveness"
	Gumminess      = "gumminess_N"
	Chewiness      = "chewiness_N"
	Resilience     = "resilience"
	Adhesiveness   = "adhesiveness_Ns"
	FirmnessWork   = "firmness_work_Nmm"
	TensileForce   = "tensile_force_N"
	Extensibility  = "extensibility_mm"
	CookingLoss    = "cooking_loss_pct"
	Thickness      = "thickness_mm"
)

// Reading is what one row of texture results says.
type Reading = reading.Reading

const (
	askForce = "check the unit of the header: a gram-force is 0.00980665 N"
	askRatio = "a ratio has no unit: if it was written in per cent or in mm, the column is another one"
)

// force is usual for a few strands or a piece of cake under a probe; a thousand
// newtons are beyond the table-top instruments that noodles are tested on.
var force = reading.Bound{Can: reading.Positive, Usual: [2]float64{0.01, 500}, Do: askForce}

// bounds are ours: wide, to catch a wrong unit or column. Ratios above 1 do occur
// (a second bite that finds more than the first), so they are doubted up to 1.5.
var bounds = map[string]reading.Bound{
	Hardness:       force,
	Firmness:       force,
	Fracturability: {Can: reading.Positive, Usual: force.Usual, Do: "leave the cell empty where nothing broke; " + askForce},
	Gumminess:      force,
	Chewiness:      force,
	TensileForce:   {Can: reading.Positive, Usual: [2]float64{0.001, 100}, Do: askForce},
	Springiness:    {Can: [2]float64{0, 1.5}, Usual: [2]float64{0, 1}, Do: askRatio},
	Cohesiveness:   {Can: [2]float64{0, 1.5}, Usual: [2]float64{0, 1}, Do: askRatio},
	Resilience:     {Can: [2]float64{0, 1.5}, Usual: [2]float64{0, 1}, Do: askRatio},
	Adhesiveness:   {Can: reading.AnyNumber, Usual: [2]float64{-100, 100}, Do: askForce},
	FirmnessWork:   {Can: reading.Positive, Usual: [2]float64{0.01, 5000}, Do: "check the unit of the header: N·mm is mJ"},
	Extensibility:  {Can: reading.Positive, Usual: [2]float64{0.5, 1000}, Do: "check the unit of the header"},
	CookingLoss:    {Can: [2]float64{0, 100}, Usual: [2]float64{0, 40}, Do: "it is a share of the noodles in per cent: check the column"},
	Thickness:      {Can: reading.Positive, Usual: [2]float64{0.3, 20}, Do: "check the unit of the header"},
}

// Read checks the values of one row, by trait id and in the glossary's units.
// at is the row; findings name the column by id. Values without a rule here pass
// if they are finite. A refused row gives a Reading that is not OK.
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
	for _, p := range products {
		if f, differs := p.compare(r, at); differs {
			fl.Add(f)
		}
	}
	checkBreak(r, at, &fl)
	return r, fl
}

// product is a reading that is defined as the product of others.
type product struct {
	id      string
	factors []string
	formula string
}

// products: gumminess, N, is meant for semi-solid foods, chewiness, N, for solid
// ones; of one sample both are not meaningful (Bourne 1978, Food Technol 32(7):62,
// from memory).
var products = []product{
	{Gumminess, []string{Hardness, Cohesiveness}, "hardness × cohesiveness"},
	{Chewiness, []string{Hardness, Cohesiveness, Springiness}, "hardness × cohesiveness × springiness"},
}

// allowance is how far, beside the rounding of the figures, a product may lie
// from its factors: a mean of products is not the product of means, and pieces of
// one batch vary by some 10 % (from memory).
const allowance = 0.02

// compare doubts a product that lies off its factors by more than their rounding
// and the allowance.
func (p product) compare(r Reading, at finding.Place) (finding.Finding, bool) {
	given, ok := r.Get(p.id)
	want, rounding, all := p.of(r)
	if !ok || !all || math.Abs(given-want) <= (allowance+rounding+reading.Rounding(given))*math.Abs(want) {
		return finding.Finding{}, false
	}
	at.Column = p.id
	return finding.Finding{Code: "product-differs", Severity: finding.Doubt, At: at, Found: fmt.Sprintf("%.4g, but %s = %.4g", given, p.formula, want),
		Want: fmt.Sprintf("the same within %.2g %%", 100*(allowance+rounding)), Do: "check units and columns; in a row of means, or with springiness in mm, say so in the protocol"}, true
}

// of is the product of the factors, the sum of their relative rounding, and
// whether all factors are there.
func (p product) of(r Reading) (value, rounding float64, all bool) {
	value = 1
	for _, id := range p.factors {
		v, ok := r.Get(id)
		if !ok {
			return 0, 0, false
		}
		value *= v
		rounding += reading.Rounding(v)
	}
	return value, rounding, true
}

// checkBreak doubts a first break that is stronger than the greatest force of
// the same bite.
func checkBreak(r Reading, at finding.Place, fl *finding.List) {
	first, ok1 := r.Get(Fracturability)
	most, ok2 := r.Get(Hardness)
	if !ok1 || !ok2 || first <= most*(1+reading.Rounding(first)+reading.Rounding(most)) {
		return
	}
	at.Column = Fracturability
	fl.Add(finding.Finding{Code: "break-above-hardness", Severity: finding.Doubt, At: at, Found: fmt.Sprintf("fracturability %.4g N, hardness %.4g N", first, most),
		Want: "a first break at or below the greatest force", Do: "check whether the columns are exchanged"})
}

// WithProducts is r with gumminess and chewiness worked out where they are
// absent and all their factors are there. Nothing calls it unasked: a table
// should hold what was measured, and an exact product of two columns tells a
// model nothing new.
func WithProducts(r Reading) Reading {
	for _, p := range products {
		if value, _, all := p.of(r); all {
			r = r.With(reading.Value{ID: p.id, Value: value})
		}
	}
	return r
}
