package slurry

import (
	"fmt"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
)

// SilverNitrateGPerMol is the molar mass of AgNO₃: 107.8682 + 14.007 + 3·15.999
// (standard atomic weights, from memory).
const SilverNitrateGPerMol = 107.8682 + 14.007 + 3*15.999

// SilverNitrate is grams of AgNO₃ in a litre of a solution of mmol/L.
func SilverNitrate(mmolPerL float64) float64 { return mmolPerL * SilverNitrateGPerMol / 1000 }

// Solution is a solvent as it is measured out.
type Solution struct {
	Words         string  `json:"words"` // "water", "sucrose 50 %"
	TemperatureC  float64 `json:"temperature_C"`
	DensityGPerML float64 `json:"density_g_per_mL"`
	// SucrosePct is % by mass; 0 for a solvent without sucrose.
	SucrosePct float64 `json:"sucrose_pct_by_mass"`
	// SoluteGPerL is grams of sucrose or inhibitor in a litre of solution. Known
	// is false when the method gives its strength in words, or in moles of a
	// substance whose molar mass is not known here.
	SoluteGPerL float64 `json:"solute_g_per_L"`
	Known       bool    `json:"strength_known"`
}

// UnknownStrengthError says that a method's solvent cannot be worked out,
// because its strength is not stated as a number.
type UnknownStrengthError struct{ Method, Words string }

func (e *UnknownStrengthError) Error() string {
	return fmt.Sprintf("method %s: found the strength of its solvent as %q, expected a number; put substance, strength and strength_unit into the method file instead of solvent_strength", e.Method, e.Words)
}

// Prepare is the solvent of a method. An inhibitor's density is taken as
// water's: 12 mmol/L of silver nitrate adds about 0.002 g/mL (from memory),
// which is within 0.1 mL of 25 mL. Sucrose of "%" is read as % by mass. It
// returns an *UnknownStrengthError for sucrose whose strength is no number, or a
// *RangeError.
func Prepare(m method.Method) (Solution, error) {
	rho, err := WaterDensity(m.SolventC)
	if err != nil {
		return Solution{}, err
	}
	s := Solution{Words: m.SolventWords(), TemperatureC: m.SolventC, DensityGPerML: rho, Known: m.Solvent == trait.Water}
	strength := m.Strength
	switch {
	case m.Solvent == trait.Sucrose:
		if !strength.Known() {
			return Solution{}, &UnknownStrengthError{m.ID, m.SolventStrength}
		}
		s.SucrosePct, err = sucrosePct(strength, m.SolventC)
		if err != nil {
			return Solution{}, err
		}
		if s.DensityGPerML, err = SucroseDensity(s.SucrosePct, m.SolventC); err != nil {
			return Solution{}, err
		}
		s.SoluteGPerL, s.Known = 10*s.SucrosePct*s.DensityGPerML, true
	case strength.Unit == method.GramPerL:
		s.SoluteGPerL, s.Known = strength.Value, true
	case strength.Unit == method.MillimolPerL && strength.Substance == method.SilverNitrate:
		s.SoluteGPerL, s.Known = SilverNitrate(strength.Value), true
	}
	return s, nil
}

func sucrosePct(s method.Strength, celsius float64) (float64, error) {
	switch s.Unit {
	case method.PctByVolume:
		return SucroseOfVolume(s.Value, celsius)
	case method.GramPerL:
		return SucroseOfVolume(s.Value/10, celsius)
	}
	return s.Value, nil
}

// Reading is one way to read "50 %" and "25 mL", and what the solvent weighs then.
type Reading struct {
	Means      string  `json:"means"`
	SucrosePct float64 `json:"sucrose_pct_by_mass"`
	SolventG   float64 `json:"solvent_g"`
}

// Readings are what a method that writes a sucrose strength as a bare "%" may
// mean; nil for any other method.
func Readings(m method.Method) []Reading {
	if m.Solvent != trait.Sucrose || m.Strength.Unit != method.PctUnsaid || m.SolventML <= 0 {
		return nil
	}
	v, out := m.Strength.Value, []Reading(nil)
	add := func(pct float64, means string) {
		if rho, err := SucroseDensity(pct, m.SolventC); err == nil {
			out = append(out, Reading{means, pct, m.SolventML * rho})
		}
	}
	add(v, fmt.Sprintf("%g g sucrose in 100 g of solution, %g mL of it", v, m.SolventML))
	if pct, err := SucroseOfVolume(v, m.SolventC); err == nil {
		add(pct, fmt.Sprintf("%g g sucrose in 100 mL of solution, %g mL of it", v, m.SolventML))
	}
	add(100*v/(100+v), fmt.Sprintf("%g g sucrose to 100 g of water, %g mL of the solution", v, m.SolventML))
	return append(out, Reading{fmt.Sprintf("%g g sucrose in 100 g of solution, %g g of it weighed", v, m.SolventML), v, m.SolventML})
}
