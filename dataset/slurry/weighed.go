package slurry

import (
	"math"

	"flourcast/dataset/method"
)

// Implied is what a total fill would mean, if it is true and the method's
// volume or strength is not.
type Implied struct {
	FillG float64 `json:"total_fill_g"`
	// Counted says how flour counts in it: "flour as it is" or "solids on their basis".
	Counted  string  `json:"flour_counted"`
	FlourG   float64 `json:"flour_g"`
	SolventG float64 `json:"solvent_g"`
	// VolumeML is the volume of the method's solvent that weighs SolventG.
	VolumeML float64 `json:"implied_volume_mL"`
	// DensityGPerML is what the method's volume of solvent would have to weigh;
	// SucrosePct is the sucrose solution of that density, % by mass. It is absent
	// when no sucrose solution has it. Both are absent without a stated volume.
	DensityGPerML *float64 `json:"implied_density_g_per_mL,omitempty"`
	SucrosePct    *float64 `json:"implied_sucrose_pct_by_mass,omitempty"`
}

// Imply works out what a total fill, g, would mean for a method's weigh-in f:
//
//	solvent = fill − flour; density = solvent / V; volume = solvent / ρ
//
// once with the flour as it is, once with the solids on their basis, because a
// quoted fill does not say which. A fill that leaves no solvent gives nothing.
func Imply(fillG float64, m method.Method, f Fills, s Solution) []Implied {
	var out []Implied
	for _, flour := range []struct {
		counted string
		g       float64
	}{{"flour as it is", f.Flour.AsIsG}, {"solids on their basis", m.SolidsG}} {
		solvent := fillG - flour.g
		if !(solvent > 0) {
			continue
		}
		i := Implied{FillG: fillG, Counted: flour.counted, FlourG: flour.g, SolventG: solvent, VolumeML: solvent / s.DensityGPerML}
		if m.SolventML > 0 {
			rho := solvent / m.SolventML
			i.DensityGPerML = &rho
			if pct, ok := SucroseOfDensity(rho, s.TemperatureC); ok && s.SucrosePct > 0 {
				i.SucrosePct = &pct
			}
		}
		out = append(out, i)
	}
	return out
}

// Verdicts on a run's solids as weighed.
const (
	Within  = "within tolerance"
	Repeat  = "out of tolerance: repeat the run"
	Refused = "far out of tolerance: the run is refused, repeat it"
)

// AsWeighed is what was really in the can, by the moisture known now.
type AsWeighed struct {
	Fill *Fill `json:"fill,omitempty"` // absent when the solvent was not recorded
	// SolidsG is dry solids as weighed, WantG those of the method, SolidsOffPct
	// how far off they are, % of WantG.
	SolidsG      float64 `json:"solids_g"`
	WantG        float64 `json:"want_solids_g"`
	SolidsOffPct float64 `json:"solids_off_pct"`
	// ShareOffPct is how far the solids' share of the slurry is off, % of the
	// method's; absent when the solvent was not recorded.
	ShareOffPct *float64 `json:"solids_share_off_pct,omitempty"`
	Verdict     string   `json:"verdict"`
}

// Check compares what was weighed in, flour g as it is and solvent g (0 if not
// recorded), with a method, by a moisture, %, that may have come later. The
// larger of the two deviations decides: beyond ToleranceSolidsPct the run is to
// be repeated, beyond RefuseSolidsPct it is refused. No viscosity is corrected:
// how steeply it rises with solids differs from flour to flour. The errors are
// WeighIn's.
func Check(m method.Method, moisturePct, flourG, solventG float64) (AsWeighed, error) {
	if err := within("flour as weighed", flourG, 0.01, 10000, "g", ""); err != nil {
		return AsWeighed{}, err
	}
	if err := within("solvent as weighed", solventG, 0, 20000, "g", ""); err != nil {
		return AsWeighed{}, err
	}
	f, err := WeighIn(m, moisturePct)
	if err != nil {
		return AsWeighed{}, err
	}
	w := AsWeighed{SolidsG: FlourOf(flourG, moisturePct).DryG, WantG: f.Flour.DryG}
	w.SolidsOffPct = 100 * (w.SolidsG/w.WantG - 1)
	off := math.Abs(w.SolidsOffPct)
	if solventG > 0 {
		s, err := Prepare(m)
		if err != nil {
			return AsWeighed{}, err
		}
		fill := NewFill(f.Method.Convention, flourG, moisturePct, solventG, s)
		share := 100 * (fill.SolidsPct/f.Method.SolidsPct - 1)
		w.Fill, w.ShareOffPct = &fill, &share
		off = max(off, math.Abs(share))
	}
	switch {
	case off <= m.ToleranceSolidsPct:
		w.Verdict = Within
	case off <= m.RefuseSolidsPct:
		w.Verdict = Repeat
	default:
		w.Verdict = Refused
	}
	return w, nil
}
