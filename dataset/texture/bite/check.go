package bite

import (
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/protocol"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Limits of the checks and of the search. They are ours, wide, and in proportion
// to the record, so that the unit of force does not matter.
const (
	fewest        = 20    // points that a record needs
	greatest      = 1e9   // a figure beyond it is no force, time or travel
	mostRepeated  = 0.1   // share of points that may repeat the time before
	quietBelow    = 0.35  // quiet stretches lie in this lowest share of the force's range …
	quietFlat     = 0.002 // … and rise or fall by less than this share within one hundredth of the record
	driftDoubt    = 0.02  // of the range over the record
	offsetNote    = 0.01  // of the range
	spikeShare    = 0.10  // of the range, by which a single reading stands out
	bound         = 0.10  // of the greatest force: less is no bite
	contactShare  = 0.02  // of the greatest force, at which a bite is looked for where no trigger is stated
	startShare    = 0.05  // of the greatest force: a record that begins with more begins in the bite
	breakShare    = 0.05  // of the bite's greatest force: a loss that counts as a break
	suddenShare   = 0.02  // of the stroke's time, within which a break is sudden
	adhesionShare = 0.002 // of the greatest force: less below zero is nothing
	flatTop       = 5     // equal greatest readings in a row …
	flatRise      = 0.3   // … after a rise of this share of the stroke's mean rise are a saturated force
	speedShare    = 0.05  // by which speed may differ from the protocol's
	sparse        = 8     // points of a down-stroke; fewer are a doubt
	stronger      = 1.02  // second greatest force over the first, above which something moved
)

// record is one curve fit for reading: times strictly rising, all figures finite.
type record struct {
	t, f, d []float64 // d nil without travel
	timed   bool      // t is time; else it is the path of the probe, mm

	fromSpeed bool // the times follow from the travel
	p         protocol.Protocol
	rows      []int
	at        finding.Place
	noise     float64 // standard deviation of the force's noise, N
	findings  finding.List
}

// newRecord checks and copies c. Look at refused before reading further.
func newRecord(c Curve, p protocol.Protocol) *record {
	r := &record{p: p, at: c.At, timed: true}
	n := len(c.ForceN)
	if c.TimeS != nil && len(c.TimeS) != n || c.DistanceMM != nil && len(c.DistanceMM) != n || c.Rows != nil && len(c.Rows) != n {
		r.refuse("curve-ragged", "", -1, fmt.Sprintf("%d forces, %d times, %d distances", n, len(c.TimeS), len(c.DistanceMM)), "one of each for every point", "mend the columns")
		return r
	}
	r.rows = c.Rows
	if n < fewest {
		r.refuse("curve-short", forceID, n-1, fmt.Sprintf("%d points", n), fmt.Sprintf("at least %d", fewest), "export the whole record")
		return r
	}
	if c.TimeS == nil && c.DistanceMM == nil {
		r.refuse("time-missing", timeID, -1, "neither times nor distances", "one of them", "export the time with the force")
		return r
	}
	for _, x := range []struct {
		name   string
		values []float64
	}{{timeID, c.TimeS}, {forceID, c.ForceN}, {distanceID, c.DistanceMM}} {
		if i := slices.IndexFunc(x.values, func(v float64) bool { return math.IsNaN(v) || math.Abs(v) > greatest }); i >= 0 {
			r.refuse("not-finite", x.name, i, fmt.Sprintf("%v at point %d", x.values[i], i+1), "a figure that a test can have", "mend the cell, or leave its row out of the file")
			return r
		}
	}
	t := c.TimeS
	if t == nil {
		t = r.path(c.DistanceMM)
	} else if r.checkTimes(t); r.refused() {
		return r
	}
	r.merge(t, c)
	if len(r.t) < fewest {
		r.refuse("curve-short", timeID, -1, fmt.Sprintf("%d points that differ in time or distance", len(r.t)), fmt.Sprintf("at least %d", fewest), "export the whole record")
		return r
	}
	r.noise = smooth.Noise(r.t, r.f)
	return r
}

// path takes the place of time where there is none: how far the probe has gone,
// at the protocol's speed if it states one.
func (r *record) path(d []float64) []float64 {
	speed := 1.0
	if r.timed = r.p.SpeedMMPerS != nil; r.timed {
		r.fromSpeed = true
		speed = *r.p.SpeedMMPerS
		r.note("time-from-speed", timeID, -1, fmt.Sprintf("no times: taken from the travel at %g mm/s; waits are not seen", speed), "")
	}
	t := make([]float64, len(d))
	for i := 1; i < len(d); i++ {
		t[i] = t[i-1] + math.Abs(d[i]-d[i-1])/speed
	}
	return t
}

// checkTimes refuses times that run backwards or mostly stand still.
func (r *record) checkTimes(t []float64) {
	repeated, first := 0, 0
	for i := 1; i < len(t); i++ {
		if t[i] < t[i-1] {
			do := "sort the rows by time, or mend the time column"
			if t[i] <= t[0]+(t[i-1]-t[0])/10 {
				do = "time starts again: two records stand under one name; give each its own replicate or file"
			}
			r.refuse("time-backwards", timeID, i, fmt.Sprintf("time goes from %g to %g s", t[i-1], t[i]), "times that rise", do)
			return
		}
		if t[i] == t[i-1] {
			if repeated++; first == 0 {
				first = i
			}
		}
	}
	if repeated == 0 {
		return
	}
	found := fmt.Sprintf("%d of %d points repeat the time before, the first at %g s", repeated, len(t), t[first])
	if float64(repeated) > mostRepeated*float64(len(t)) {
		r.refuse("time-repeated", timeID, first, found, "one point a time", "export the time with more decimals; if two records stand under one name, part them")
		return
	}
	r.doubt("time-repeated", timeID, first, found, "one point a time", "their mean was used; look at the file")
}

// merge copies the record, points of one time as their mean.
func (r *record) merge(t []float64, c Curve) {
	n := len(t)
	r.t, r.f = make([]float64, 0, n), make([]float64, 0, n)
	if c.DistanceMM != nil {
		r.d = make([]float64, 0, n)
	}
	var rows []int
	for i := 0; i < n; {
		j, f, d := i, 0.0, 0.0
		for ; j < n && t[j] == t[i]; j++ {
			f += c.ForceN[j]
			if r.d != nil {
				d += c.DistanceMM[j]
			}
		}
		k := float64(j - i)
		r.t, r.f = append(r.t, t[i]), append(r.f, f/k)
		if r.d != nil {
			r.d = append(r.d, d/k)
		}
		if r.rows != nil {
			rows = append(rows, r.rows[i])
		}
		i = j
	}
	r.rows = rows
}

// leaveOutSpikes takes single readings off the record that lie outside both
// neighbours and outside the straight lines through the two points on either
// side, by more than 12 noise deviations and a tenth of the range. The corner of
// a sharp peak does not: the lines of its own flanks reach it.
func (r *record) leaveOutSpikes() {
	t, f := r.t, r.f
	limit := max(12*r.noise, spikeShare*(slices.Max(f)-slices.Min(f)))
	var out []int
	for i := 2; i+2 < len(f); i++ {
		left := f[i-1] + (f[i-1]-f[i-2])*(t[i]-t[i-1])/(t[i-1]-t[i-2])
		right := f[i+1] - (f[i+2]-f[i+1])*(t[i+1]-t[i])/(t[i+2]-t[i+1])
		low, high := min(left, right, f[i-1], f[i+1]), max(left, right, f[i-1], f[i+1])
		if max(f[i]-high, low-f[i]) > limit {
			out = append(out, i)
		}
	}
	if len(out) == 0 {
		return
	}
	r.doubt("spike", forceID, out[0], fmt.Sprintf("%d single readings stand out, the first at %.4g s", len(out), t[out[0]]), "a curve without spikes", "they were left out; look at the load cell and its cable")
	keep := func(x []float64) []float64 { return without(x, out) }
	r.t, r.f = keep(r.t), keep(r.f)
	if r.d != nil {
		r.d = keep(r.d)
	}
	if r.rows != nil {
		r.rows = without(r.rows, out)
	}
}

// without is x less the elements at the rising indices out.
func without[T any](x []T, out []int) []T {
	kept := make([]T, 0, len(x))
	from := 0
	for _, i := range out {
		kept = append(kept, x[from:i]...)
		from = i + 1
	}
	return append(kept, x[from:]...)
}
