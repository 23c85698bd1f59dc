// Package slurry is the chemistry of a flour slurry: what to weigh in, what a
// solvent weighs, what was really weighed, and when it boils.
//
//  1. Flour of any moisture is brought to a method's basis (FlourMass).
//  2. A solvent gets its density and contents (Prepare): sucrose by a published
//     density polynomial, silver nitrate by its molar mass.
//  3. WeighIn works out a method's flour and solvent under both conventions,
//     constant total fill and constant solvent.
//  4. Implied says what a quoted total fill would mean; Check what the solids
//     as weighed mean for a run.
//  5. BoilingPoint gives where the slurry boils at a pressure, Boil what that
//     means for a temperature programme.
//
// It corrects no viscosity: a run whose solids are off is repeated. It refuses
// figures outside the range that its formulas are checked in, with a *RangeError.
package slurry

import "fmt"

// RangeError says that a figure is outside what a formula holds for. Low and
// High are the ends of the range, Unit that of all three.
type RangeError struct {
	What             string
	Value, Low, High float64
	Unit             string
	// Do is what to do about it; it may be empty.
	Do string
}

func (e *RangeError) Error() string {
	text := fmt.Sprintf("%s: found %g %s, expected %g to %g %s", e.What, e.Value, e.Unit, e.Low, e.High, e.Unit)
	if e.Do != "" {
		text += "; " + e.Do
	}
	return text
}

// within is a *RangeError unless v is a number from low to high.
func within(what string, v, low, high float64, unit, do string) error {
	if v >= low && v <= high {
		return nil
	}
	return &RangeError{what, v, low, high, unit, do}
}

// MostMoisture is the most moisture, %, that a weigh-in is worked out for; at
// 100 % there is no flour left.
const MostMoisture = 60.0

// UsualMoisture is the range, %, outside which a flour's moisture is doubted (ours).
const (
	UsualMoistureLow  = 8.0
	UsualMoistureHigh = 18.0
)

func checkMoisture(pct float64) error {
	return within("moisture", pct, 0, MostMoisture, "% of the flour as it is",
		"give the oven moisture in % of the flour as it is, or say --moisture-basis dry if it is in % of the dry matter")
}

// WetMoisture turns moisture in % of the dry matter into % of the flour as it is:
//
//	100·d / (100 + d)
//
// The error is a *RangeError.
func WetMoisture(dryPct float64) (float64, error) {
	most := 100 * MostMoisture / (100 - MostMoisture)
	if err := within("moisture", dryPct, 0, most, "% of the dry matter", ""); err != nil {
		return 0, err
	}
	return min(100*dryPct/(100+dryPct), MostMoisture), nil
}

// FlourMass is how much flour of a moisture, %, holds the dry matter of solids,
// g, on a basis of another moisture, %:
//
//	S = A·(100 − B) / (100 − M)
//
// Source: the moisture correction of AACC International Approved Methods, from
// memory. The error is a *RangeError.
func FlourMass(solidsG, basisPct, moisturePct float64) (float64, error) {
	if err := within("solids", solidsG, 0.01, 1000, "g", ""); err != nil {
		return 0, err
	}
	if err := within("moisture of the basis", basisPct, 0, MostMoisture, "%", ""); err != nil {
		return 0, err
	}
	if err := checkMoisture(moisturePct); err != nil {
		return 0, err
	}
	return solidsG * (100 - basisPct) / (100 - moisturePct), nil
}

// horner evaluates c[0] + c[1]·x + c[2]·x² + …
func horner(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// bisect finds where f, which rises from below want at low to above it at high,
// takes the value want.
func bisect(low, high, want float64, f func(float64) float64) float64 {
	for range 200 {
		mid := low + (high-low)/2
		if mid <= low || mid >= high {
			break
		}
		if f(mid) < want {
			low = mid
		} else {
			high = mid
		}
	}
	return low + (high-low)/2
}
