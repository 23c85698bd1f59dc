package trace

import (
	"fmt"
	"math"
	"slices"

	"flourcast/stat/smooth"
)

// Limits of the checks. They are ours: wide, so that they catch a wrong unit or
// a broken run and leave the judgement of a poor run to a person.
const (
	fewest       = 12      // points a curve needs at least
	most         = 5000    // points that are read; a denser record is averaged in even groups
	briefest     = 60.0    // s, a shorter record is no pasting test
	gapFactor    = 4.0     // a step this many times the usual one is a gap …
	gapS         = 12.0    // … if it is also longer than this, s
	mostRepeated = 0.1     // share of points that may repeat the time before
	coldestC     = -10.0   // a measured temperature outside these is no °C of a pasting test
	hottestC     = 160.0   //
	thickest     = 50000.0 // mPa·s; more looks like a thousands separator or another unit
	thinnest     = 15.0    // mPa·s; a whole curve below this looks like Pa·s
)

// Hottest is the highest temperature, °C, and Thickest the highest viscosity,
// mPa·s, that a pasting test is believed.
const (
	Hottest  = hottestC
	Thickest = thickest
)

func (r *Trace) checkShape(c Curve) {
	n := len(c.TimeS)
	r.rows = c.Rows
	switch {
	case len(c.ViscosityMPas) != n || (r.Measured && len(c.TemperatureC) != n) || (c.Rows != nil && len(c.Rows) != n) || (c.SpeedRPM != nil && len(c.SpeedRPM) != n):
		r.rows = nil
		r.refuse("curve-ragged", "", -1, fmt.Sprintf("%d times, %d temperatures, %d viscosities, %d speeds", n, len(c.TemperatureC), len(c.ViscosityMPas), len(c.SpeedRPM)),
			"one temperature and one viscosity for each time", "mend the columns")
	case n < fewest:
		r.refuse("curve-short", "time_s", n-1, fmt.Sprintf("%d points", n), fmt.Sprintf("at least %d", fewest), "the curve is too short to have a peak: export the whole run")
	case !r.Measured && !r.Method.HasProgramme():
		r.refuse("temperature-missing", "temperature_C", -1, "no temperatures, and the programme of method "+r.methodName()+" is not known",
			"measured temperatures, or a method with its programme", "export the temperature with the curve, or give the method's file")
	}
}

func (r *Trace) checkFinite(c Curve) {
	for _, column := range []struct {
		name   string
		values []float64
	}{{"time_s", c.TimeS}, {"temperature_C", c.TemperatureC}, {"viscosity_mPas", c.ViscosityMPas}, {"speed_rpm", c.SpeedRPM}} {
		if i := slices.IndexFunc(column.values, func(v float64) bool { return math.IsNaN(v) || math.Abs(v) > 1e12 }); i >= 0 {
			r.refuse("not-finite", column.name, i, fmt.Sprintf("%v at point %d", column.values[i], i+1), "a number that a run can have", "mend the cell, or leave its row out of the file")
		}
	}
}

// checkTimes refuses times that run backwards, a record whose times repeat too
// often to be one run written with enough decimals, and one too brief.
func (r *Trace) checkTimes(c Curve) {
	t := c.TimeS
	back, repeated, first, again := 0, 0, -1, -1
	for i := 1; i < len(t); i++ {
		switch {
		case t[i] < t[i-1]:
			if back++; first < 0 {
				first = i
			}
		case t[i] == t[i-1]:
			if repeated++; again < 0 {
				again = i
			}
		}
	}
	if back > 0 {
		do := "sort the rows by time, or mend the time column"
		if back <= 3 && t[first] <= t[0]+(t[first-1]-t[0])/10 {
			do = "time starts again: two runs stand under one name; give each its own replicate or file"
		}
		r.refuse("time-backwards", "time_s", first, fmt.Sprintf("time goes from %g to %g s (%d such steps)", t[first-1], t[first], back), "times that rise", do)
		return
	}
	if float64(repeated) > mostRepeated*float64(len(t)) {
		r.refuse("time-repeated", "time_s", again, fmt.Sprintf("%d of %d points repeat the time before, the first at %g s", repeated, len(t), t[again]), "one point a time",
			"export the time with more decimals; if two runs stand under one name, part them")
		return
	}
	if first, last := t[0], t[len(t)-1]; last-first < briefest {
		r.refuse("curve-brief", "time_s", len(t)-1, fmt.Sprintf("%.4g s from the first point to the last", last-first), fmt.Sprintf("at least %g s", briefest),
			"if the time is in minutes, say so in the header (time_min); else export the whole run")
	}
}

// checkScale refuses figures of another unit: temperatures no pasting test has,
// viscosities that jump by a factor of a thousand or are far too small
// throughout, and a zero far off. A little below zero is a doubt.
func (r *Trace) checkScale(Curve) {
	low, high := Lowest(r.C), Highest(r.C)
	span := fmt.Sprintf("between %g and %g °C", coldestC, hottestC)
	switch start := smooth.Median(r.C[:3]); {
	case start > 100:
		r.refuse("temperature-implausible", "temperature_C", 0, fmt.Sprintf("%.1f at the start", start), "a start below 100 °C", "if the column is in °F or K, say so in its header")
	case r.C[low] < coldestC:
		r.refuse("temperature-implausible", "temperature_C", low, fmt.Sprintf("%.1f °C", r.C[low]), span, "mend the cell or the column's unit")
	case r.C[high] > hottestC:
		r.refuse("temperature-implausible", "temperature_C", high, fmt.Sprintf("%.1f °C", r.C[high]), span, "mend the cell or the column's unit")
	}
	if i := r.thousandfold(); i > 0 {
		r.refuse("thousandfold", "viscosity_mPas", i, fmt.Sprintf("viscosity goes from %.6g to %.6g mPa·s at %.0f s, a factor of a thousand within a smooth curve", r.V[i-1], r.V[i], r.T[i]),
			"figures of one scale", "a thousands separator was read as a decimal sign, or the reverse: declare the decimal sign in an import map, or mend the column")
		return
	}
	stirred := r.V[min(r.From(r.T[0]+r.stirS()), len(r.V)-1):]
	if top := stirred[Highest(stirred)]; top > 0.05 && top < thinnest {
		r.refuse("viscosity-low", "viscosity_mPas", -1, fmt.Sprintf("at most %.4g mPa·s", top), fmt.Sprintf("more than %g mPa·s: water alone reads about as much", thinnest),
			"if the column is in Pa·s, say so in its header; if a thousands separator was read as a decimal sign, declare the decimal sign in an import map")
		return
	}
	r.checkNegative()
}

// thousandfold finds the first point where the viscosity, times or over a
// thousand, goes on as the two points before would have it within a fifth; −1
// when there is none. The larger figure is at least 300 mPa·s, so that a torque
// about zero is no jump.
func (r *Trace) thousandfold() int {
	v, t := r.V, r.T
	for i := 2; i < len(v); i++ {
		a, b := v[i-1], v[i]
		if max(a, b) < 300 || min(a, b) <= 0 || max(a, b) < 500*min(a, b) || max(a, b) > 2000*min(a, b) {
			continue
		}
		expected := a + (a-v[i-2])*(t[i]-t[i-1])/(t[i-1]-t[i-2])
		factor := 1000.0
		if b > a {
			factor = 1. / 1000
		}
		if math.Abs(b*factor-expected) <= 0.2*math.Abs(expected) {
			return i
		}
	}
	return -1
}

// checkNegative doubts viscosities a little below zero (a zero that drifted) and
// refuses a curve that goes as far below as a twentieth of its height.
func (r *Trace) checkNegative() {
	low, negative, last := Lowest(r.V), 0, 0
	for i, v := range r.V {
		if v < 0 {
			negative++
			last = i
		}
	}
	if negative == 0 {
		return
	}
	first := slices.IndexFunc(r.V, func(v float64) bool { return v < 0 })
	found := fmt.Sprintf("%d negative viscosities, the lowest %.4g mPa·s at %.0f s", negative, r.V[low], r.T[low])
	if -r.V[low] > r.V[Highest(r.V)]/20 {
		r.refuse("viscosity-negative", "viscosity_mPas", low, found, "viscosities from 0", "mend the column, or set the zero of the torque and repeat the run")
		return
	}
	r.doubt("viscosity-negative", "viscosity_mPas", first, last, -r.V[low], "mPa·s", found, "viscosities from 0", "check the zero of the torque before the next run")
}

// checkGaps doubts stretches without points, sampling too slow for the onset
// criterion or uneven, and a record that ends before its programme or long
// after it.
func (r *Trace) checkGaps(Curve) {
	last := len(r.T) - 1
	m := r.Method
	usual, longest, at := r.sampling()
	r.UsualS, r.LongestS = usual, longest
	if usual > m.Onset.WithinS {
		r.doubt("sampling-slow", "time_s", 0, last, usual, "s", fmt.Sprintf("one point every %.3g s", usual), fmt.Sprintf("at least one every %g s, the window of the onset criterion", m.Onset.WithinS),
			"sample more often")
	}
	if longest > gapS && longest > gapFactor*usual {
		count := 0
		for i := 1; i < len(r.T); i++ {
			if s := r.T[i] - r.T[i-1]; s > gapS && s > gapFactor*usual {
				count++
			}
		}
		r.doubt("gap", "time_s", at, at+1, longest, "s", fmt.Sprintf("%d gaps, the longest from %.0f to %.0f s", count, r.T[at], r.T[at+1]), fmt.Sprintf("one point about every %.3g s", usual),
			"a feature inside a gap is not seen; export the whole run")
	}
	if !m.HasProgramme() {
		return
	}
	end := fmt.Sprintf("%g s, the end of the programme of %s", m.DurationS(), r.methodName())
	switch over := r.Last() - m.DurationS(); {
	case r.EndsEarly():
		r.doubt("record-short", "time_s", last, last, -over, "s", fmt.Sprintf("record ends at %.0f s", r.Last()), end, "export the whole run, or declare the method that it was run by")
	case over > longOver:
		r.doubt("record-long", "time_s", last, last, over, "s", fmt.Sprintf("record ends at %.0f s", r.Last()), end, "look whether recording was stopped late, or another method was run")
	}
}

// longOver is how long a record may go on after its programme, s: ours.
const longOver = 60.0

func (r *Trace) stirS() float64 { return max(0, r.Method.StirS) }
