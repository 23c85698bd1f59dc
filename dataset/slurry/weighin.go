package slurry

import (
	"fmt"
	"math"

	"flourcast/dataset/method"
)

// Flour is one amount of flour on three bases, g.
type Flour struct {
	AsIsG float64 `json:"as_is_g"`
	At14G float64 `json:"at_14_pct_g"`
	DryG  float64 `json:"dry_g"`
}

// FlourOf is flour weighed as it is, at a moisture in %, on three bases.
func FlourOf(asIsG, moisturePct float64) Flour {
	dry := asIsG * (100 - moisturePct) / 100
	return Flour{AsIsG: asIsG, At14G: dry * 100 / (100 - 14), DryG: dry}
}

// Fill is flour and solvent of one slurry.
type Fill struct {
	Convention method.Convention `json:"convention"`
	FlourG     float64           `json:"flour_g"`    // as it is
	SolventG   float64           `json:"solvent_g"`  // to weigh in
	SolventML  float64           `json:"solvent_mL"` // the same, at the solvent's temperature
	TotalG     float64           `json:"total_fill_g"`
	// SolidsPct is the flour's dry solids, % of the slurry's mass; SolidsPerWater
	// grams of them to a gram of all water, the flour's own included.
	SolidsPct      float64 `json:"solids_pct"`
	WaterG         float64 `json:"water_g"`
	SolidsPerWater float64 `json:"solids_per_water"`
	// SoluteG is the sucrose or inhibitor in the solvent; 0 when not known.
	SoluteG float64 `json:"solute_g"`
	// SucrosePct is sucrose, % by mass of sucrose and all water: what the
	// solvent's strength becomes once the flour has brought its own water.
	SucrosePct float64 `json:"sucrose_pct_of_liquid"`
}

// NewFill is the slurry of flour, g as it is, at a moisture in %, and solvent, g.
// Mass balance: total = dry solids + water + sucrose. The water of an inhibitor
// solution counts whole; its solute weighs 0.2 %.
func NewFill(c method.Convention, flourG, moisturePct, solventG float64, s Solution) Fill {
	sucrose := solventG * s.SucrosePct / 100
	solids := flourG * (100 - moisturePct) / 100
	f := Fill{Convention: c, FlourG: flourG, SolventG: solventG, SolventML: solventG / s.DensityGPerML, TotalG: flourG + solventG,
		WaterG: solventG - sucrose + flourG - solids}
	f.SolidsPct, f.SolidsPerWater = 100*solids/f.TotalG, solids/f.WaterG
	f.SoluteG = f.SolventML * s.SoluteGPerL / 1000
	f.SucrosePct = 100 * sucrose / (sucrose + f.WaterG)
	return f
}

// Fills is a method's weigh-in for one flour, under both conventions.
type Fills struct {
	MoisturePct float64 `json:"moisture_pct"`       // of the flour as it is
	BasisPct    float64 `json:"basis_moisture_pct"` // of the method's basis
	Flour       Flour   `json:"flour"`              // what holds the method's solids
	// Method is by the method's own convention, Other by the other one.
	Method Fill `json:"by_the_method"`
	Other  Fill `json:"by_the_other_convention"`
	// NominalG is the solvent that the method means at the moisture of its basis.
	NominalG float64 `json:"nominal_solvent_g"`
	// SumG is solids and solvent as stated; DiffG the stated total fill less SumG.
	// Agrees is false when DiffG is beyond the method's tolerance.
	SumG   float64 `json:"solids_and_solvent_g"`
	DiffG  float64 `json:"stated_fill_differs_g"`
	Agrees bool    `json:"stated_fill_agrees"`
}

// WeighIn works out what to weigh in of a flour of a moisture, % as it is.
// With A the method's solids on a basis of B % and V mL of a solvent of density ρ:
//
//	flour S = A·(100 − B)/(100 − M)
//	nominal solvent W₀ = T − A if a total fill T is stated and A + V·ρ agrees with it, else V·ρ
//	constant total fill: solvent = T − S, or A + W₀ − S without a stated T
//	constant solvent:    solvent = W₀ whatever the moisture
//
// So 25 mL of water in a total fill of 29 g with 4 g of solids count as 25.00 g,
// as the method's own sum has it. A solvent that is weighed out has W₀ = its mass.
// Errors: *RangeError; *UnknownStrengthError.
func WeighIn(m method.Method, moisturePct float64) (Fills, error) {
	s, err := Prepare(m)
	if err != nil {
		return Fills{}, err
	}
	if err := checkMoisture(moisturePct); err != nil {
		return Fills{}, err
	}
	basis := m.BasisMoisture(moisturePct)
	flour, err := FlourMass(m.SolidsG, basis, moisturePct)
	if err != nil {
		return Fills{}, err
	}
	f := Fills{MoisturePct: moisturePct, BasisPct: basis, Flour: FlourOf(flour, moisturePct), NominalG: m.SolventG, Agrees: true}
	if m.SolventG <= 0 {
		f.NominalG = m.SolventML * s.DensityGPerML
	}
	f.SumG = m.SolidsG + f.NominalG
	total := f.SumG
	if m.TotalFillG > 0 {
		total = m.TotalFillG
		f.DiffG = total - f.SumG
		f.Agrees = math.Abs(f.DiffG) <= m.ToleranceFillG
		if f.Agrees && m.SolventG <= 0 {
			f.NominalG = total - m.SolidsG
		}
	}
	if err := within("total fill", total, flour+0.01, 20000, "g", fmt.Sprintf("%.3f g of flour leave no room for solvent: mend the solids or the total fill", flour)); err != nil {
		return Fills{}, err
	}
	byTotal := NewFill(method.KeepsTotalFill, flour, moisturePct, total-flour, s)
	bySolvent := NewFill(method.KeepsSolvent, flour, moisturePct, f.NominalG, s)
	f.Method, f.Other = byTotal, bySolvent
	if c, _ := m.Keeps(); c == method.KeepsSolvent {
		f.Method, f.Other = bySolvent, byTotal
	}
	return f, nil
}

// WithSolids is a method with other solids, g on its basis, and the same
// solvent: a stated or quoted total fill moves with the solids. It is another
// method than m unless the solids are m's; its runs never share a column with m's.
// The error is a *RangeError.
func WithSolids(m method.Method, solidsG float64) (method.Method, error) {
	if err := within("solids", solidsG, 0.1, 1000, "g", ""); err != nil {
		return method.Method{}, err
	}
	if m.TotalFillG > 0 {
		m.TotalFillG += solidsG - m.SolidsG
	}
	if m.QuotedFillG > 0 {
		m.QuotedFillG += solidsG - m.SolidsG
	}
	m.SolidsG = solidsG
	return m, nil
}
