package slurry

// MostSucrosePct is the strongest sucrose solution, % by mass, that densities
// are checked for. At 20 °C about 67 % dissolve (from memory).
const MostSucrosePct = 70.0

// WaterDensity is the density of water, g/mL, at a temperature, 0 to 100 °C:
// the rational function that the sucrose polynomial stands on (Bubník et al.
// 1995, Sugar Technologists Manual, p. 164). The error is a *RangeError.
func WaterDensity(celsius float64) (float64, error) {
	if err := within("temperature of the solvent", celsius, 0, 100, "°C", ""); err != nil {
		return 0, err
	}
	return waterDensity(celsius), nil
}

func waterDensity(t float64) float64 {
	return horner(t, 999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12) / (1 + 16.887236e-3*t) / 1000
}

// SucroseDensity is the density, g/mL, of a sucrose solution of pct % by mass,
// 0 to 70 %, at a temperature, 0 to 100 °C. With w = pct/100, k = (t − 20)/100:
//
//	ρ = ρ_water(t) + Σaᵢwⁱ + kΣbᵢwⁱ + k²Σcᵢwⁱ + k³Σdᵢwⁱ + k⁴Σeᵢwⁱ
//
// Source: the ICUMSA polynomial, Bubník et al. 1995, Sugar Technologists Manual,
// p. 164. At 20 °C it meets the handbook's table within 0.0001 g/mL up to 50 %.
// The error is a *RangeError.
func SucroseDensity(pct, celsius float64) (float64, error) {
	if err := within("sucrose", pct, 0, MostSucrosePct, "% by mass", ""); err != nil {
		return 0, err
	}
	if err := within("temperature of the solvent", celsius, 0, 100, "°C", ""); err != nil {
		return 0, err
	}
	return sucroseDensity(pct, celsius), nil
}

func sucroseDensity(pct, celsius float64) float64 {
	w, k := pct/100, (celsius-20)/100
	excess := horner(k,
		horner(w, 0, 385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
		horner(w, 0, -46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
		horner(w, 0, 59.7712, 7.2491, 12.3630, -35.4791),
		horner(w, 0, -47.2207, -21.6977, 27.6301),
		horner(w, 0, 18.3184, 12.3081))
	return waterDensity(celsius) + excess/1000
}

// SucroseOfDensity is the concentration, % by mass, of the sucrose solution that
// has a density, g/mL, at a temperature: the inverse of SucroseDensity. ok is
// false when the density is below water's or above that of 70 %.
func SucroseOfDensity(gPerML, celsius float64) (pct float64, ok bool) {
	if !(celsius >= 0 && celsius <= 100) || !(gPerML >= waterDensity(celsius) && gPerML <= sucroseDensity(MostSucrosePct, celsius)) {
		return 0, false
	}
	return bisect(0, MostSucrosePct, gPerML, func(w float64) float64 { return sucroseDensity(w, celsius) }), true
}

// SucroseOfVolume is the concentration, % by mass, of a sucrose solution that
// holds grams of sucrose in 100 mL at a temperature. The error is a *RangeError
// for more than 70 % by mass holds.
func SucroseOfVolume(gPer100ML, celsius float64) (float64, error) {
	rhoMost, err := SucroseDensity(MostSucrosePct, celsius)
	if err != nil {
		return 0, err
	}
	if err := within("sucrose", gPer100ML, 0, MostSucrosePct*rhoMost, "g in 100 mL", ""); err != nil {
		return 0, err
	}
	return bisect(0, MostSucrosePct, gPer100ML, func(w float64) float64 { return w * sucroseDensity(w, celsius) }), nil
}
