package slurry

import (
	"math"

	"flourcast/dataset/method"
)

// Pressure is the standard atmosphere's, hPa, at an altitude, −500 to 9000 m:
//
//	p = 1013.25·(1 − 2.25577e-5·h)^5.25588
//
// Source: ISO 2533 standard atmosphere, from memory. The weather moves pressure
// by about 30 hPa either way, which is 0.8 °C of boiling point. The error is a *RangeError.
func Pressure(altitudeM float64) (hPa float64, err error) {
	if err := within("altitude", altitudeM, -500, 9000, "m", ""); err != nil {
		return 0, err
	}
	return 1013.25 * math.Pow(1-2.25577e-5*altitudeM, 5.25588), nil
}

// WaterBoils is the boiling point of water, °C, at a pressure, 300 to 1100 hPa:
// the backward equation of region 4 of IAPWS-IF97 (coefficients from memory; the
// three check values of the release are met). The error is a *RangeError.
func WaterBoils(hPa float64) (float64, error) {
	err := within("pressure", hPa, 300, 1100, "hPa", "give the pressure at the bench, in hPa, not reduced to sea level")
	if err != nil {
		return 0, err
	}
	return saturation(hPa/1e4) - 273.15, nil
}

// saturation is the saturation temperature, K, at a pressure, MPa (IAPWS-IF97,
// equation 31 of region 4; 611.213 Pa to 22.064 MPa).
func saturation(mpa float64) float64 {
	beta := math.Sqrt(math.Sqrt(mpa))
	e := horner(beta, 0.14915108613530e2, -0.17073846940092e2, 1)
	f := horner(beta, -0.48232657361591e4, 0.12020824702470e5, 0.11670521452767e4)
	g := horner(beta, 0.40511340542057e6, -0.32325550322333e7, -0.72421316703206e6)
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	const n9, n10 = -0.23855557567849, 0.65017534844798e3
	return (n10 + d - math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d))) / 2
}

// MostBoilingSucrosePct is the strongest sucrose solution, % by mass, whose
// boiling point is given.
const MostBoilingSucrosePct = 80.0

// BoilingPoint is where a sucrose solution of pct % by mass, 0 to 80 %, boils at
// a pressure, 300 to 1100 hPa, in °C: p_sat(T)·a_w = p, with x the mole fraction
// of sucrose and
//
//	a_w = (1 − x)·γ,  ln γ = Q/(R·T)·(1 + a·x + b·x²)·x²
//
// Source: Starzak & Peacock 1997 (Q −17638 J/mol, a −1.0038, b −0.24653; the
// form of the equation from memory). Errors: *RangeError.
func BoilingPoint(sucrosePct, hPa float64) (float64, error) {
	if err := within("sucrose", sucrosePct, 0, MostBoilingSucrosePct, "% by mass", ""); err != nil {
		return 0, err
	}
	water, err := WaterBoils(hPa)
	if err != nil {
		return 0, err
	}
	kelvin := water + 273.15
	for range 50 { // γ hardly changes with T: a few rounds settle it
		next := saturation(hPa / 1e4 / waterActivity(sucrosePct, kelvin))
		done := math.Abs(next-kelvin) < 1e-10
		kelvin = next
		if done {
			break
		}
	}
	return kelvin - 273.15, nil
}

func waterActivity(sucrosePct, kelvin float64) float64 {
	const (
		sucroseGPerMol, waterGPerMol = 342.2965, 18.01528
		gas                          = 8.314462618 // J/(mol·K)
		q, a, b                      = -17638.0, -1.0038, -0.24653
	)
	sucrose, water := sucrosePct/sucroseGPerMol, (100-sucrosePct)/waterGPerMol
	x := sucrose / (sucrose + water)
	return (1 - x) * math.Exp(q/(gas*kelvin)*horner(x, 1, a, b)*x*x)
}

// How far below the boiling point a programme should stay, °C (ours): the
// weather's 0.8 °C and a little when the pressure is worked out from altitude,
// and the block's own wander when it is measured.
const (
	HeadroomAltitudeC = 1.0
	HeadroomMeasuredC = 0.5
)

// Verdicts on a temperature programme.
const (
	Clear = "stays below boiling"
	Close = "comes close to boiling"
	Boils = "would boil"
)

// Boiling is where a slurry boils, and what that means for a programme.
type Boiling struct {
	PressureHPa float64 `json:"pressure_hPa"`
	WaterC      float64 `json:"water_boils_C"`
	ElevationC  float64 `json:"raised_by_sucrose_C"`
	PointC      float64 `json:"boils_C"`
	HottestC    float64 `json:"hottest_of_programme_C"`
	LimitC      float64 `json:"limit_C"` // PointC less the headroom
	Verdict     string  `json:"verdict"`
}

// Boil holds a programme against the boiling point of a slurry at a pressure,
// hPa, with a headroom, °C. sucrosePct is that of the whole liquid, the flour's
// own water included, because this water lowers the boiling point. What flour
// and inhibitor dissolve raises it by less than 0.1 °C and is left out (from
// memory). It panics when the programme is empty. Errors: *RangeError.
func Boil(programme []method.Point, sucrosePct, hPa, headroomC float64) (Boiling, error) {
	if len(programme) == 0 {
		panic("slurry: Boil of a method without a programme")
	}
	water, err := WaterBoils(hPa)
	if err != nil {
		return Boiling{}, err
	}
	point, err := BoilingPoint(sucrosePct, hPa)
	if err != nil {
		return Boiling{}, err
	}
	b := Boiling{PressureHPa: hPa, WaterC: water, ElevationC: point - water, PointC: point, HottestC: programme[0].TemperatureC, LimitC: point - headroomC}
	for _, p := range programme {
		b.HottestC = max(b.HottestC, p.TemperatureC)
	}
	switch {
	case b.HottestC >= b.PointC:
		b.Verdict = Boils
	case b.HottestC > b.LimitC:
		b.Verdict = Close
	default:
		b.Verdict = Clear
	}
	return b, nil
}

// Cap is a programme held at or below a limit, °C, at all times; its rates stay
// as they are, so that a ramp reaches the limit earlier and stays there. The
// programme of another method: its runs never share a column with the uncapped one's.
func Cap(programme []method.Point, limitC float64) []method.Point {
	var out []method.Point
	for i, p := range programme {
		if i > 0 {
			a := programme[i-1]
			if (a.TemperatureC-limitC)*(p.TemperatureC-limitC) < 0 { // crosses the limit between the two
				share := (limitC - a.TemperatureC) / (p.TemperatureC - a.TemperatureC)
				at := a.TimeS + share*(p.TimeS-a.TimeS)
				if at > a.TimeS && at < p.TimeS {
					out = append(out, method.Point{TimeS: at, TemperatureC: limitC})
				}
			}
		}
		out = append(out, method.Point{TimeS: p.TimeS, TemperatureC: min(p.TemperatureC, limitC)})
	}
	return out
}
