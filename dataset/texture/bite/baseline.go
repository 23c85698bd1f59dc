package bite

import (
	"fmt"
	"math"
	"slices"

	"flourcast/stat/smooth"
)

// level takes the baseline off the force. The record is cut into some hundred
// chunks; those that are flat and in the lower part of the range are quiet: the
// probe is in the air. Their level is the offset. Where they reach over a third of the
// record, the median of the slopes between them (Theil 1950, Sen 1968, J Am Stat
// Assoc 63:1379, from memory) is the drift. A record without a quiet chunk keeps
// its own zero.
func (r *record) level() {
	low, high := slices.Min(r.f), slices.Max(r.f)
	span := high - low
	var t, f []float64
	w := max(5, len(r.f)/100)
	for i := 0; i+w <= len(r.f); i += w {
		chunk := r.f[i : i+w]
		if most := slices.Max(chunk); most <= low+quietBelow*span && most-slices.Min(chunk) <= max(quietFlat*span, 8*r.noise) {
			t, f = append(t, mean(r.t[i:i+w])), append(f, smooth.Median(chunk))
		}
	}
	length := r.t[len(r.t)-1] - r.t[0]
	if span == 0 || len(t) == 0 {
		if ends := min(math.Abs(r.f[0]), math.Abs(r.f[len(r.f)-1])); ends > startShare*span {
			r.note("baseline-unseen", forceID, 0, "no stretch without contact, so the zero of the force could not be checked", "record a little before the first bite")
		}
		return
	}
	slope := 0.0
	if len(t) >= 4 && t[len(t)-1]-t[0] > 0.3*length {
		slope = middleSlope(t, f)
	}
	rest := make([]float64, len(t))
	for i := range t {
		rest[i] = f[i] - slope*(t[i]-r.t[0])
	}
	offset := smooth.Median(rest)
	for i := range r.f {
		r.f[i] -= offset + slope*(r.t[i]-r.t[0])
	}
	if drift := slope * length; math.Abs(drift) > driftDoubt*span {
		r.doubt("baseline-drift", forceID, -1, fmt.Sprintf("the baseline drifts by %s over the record", newtons(drift)), fmt.Sprintf("less than %g %% of the force's range", 100*driftDoubt),
			"a straight line was taken off; look at the load cell and what clings to the probe")
	}
	if math.Abs(offset) > offsetNote*span {
		r.note("baseline-offset", forceID, 0, fmt.Sprintf("the force stands at %s without contact, and was set to zero", newtons(offset)), "tare the load cell before the test")
	}
}

func middleSlope(t, f []float64) float64 {
	slopes := make([]float64, 0, len(t)*(len(t)-1)/2)
	for i := range t {
		for j := range i {
			slopes = append(slopes, (f[i]-f[j])/(t[i]-t[j]))
		}
	}
	return smooth.Median(slopes)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
