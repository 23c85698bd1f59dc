package pasting

import (
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/method"
	"flourcast/finding"
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
	flatTop      = 5       // equal readings in a row at the top that make a clipped curve
	dropShare    = 0.5     // loss of this share of the viscosity …
	dropS        = 6.0     // … within this time, s, is a stopped paddle or a boil-over
)

// record is one curve made fit for reading: times strictly rising, all figures
// finite, temperature always there.
type record struct {
	t, temp, v []float64
	at         finding.Place
	rows       []int
	stirS      float64
	measured   bool // temperature was measured, not taken from the programme
	findings   finding.List
}

func (r *record) add(code string, s finding.Severity, column string, point int, found, want, do string) {
	at := r.at
	at.Column = column
	if point >= 0 && point < len(r.rows) {
		at.Row = r.rows[point]
	}
	r.findings.Add(finding.Finding{Code: code, Severity: s, At: at, Found: found, Want: want, Do: do})
}

func (r *record) refuse(code, column string, point int, found, want, do string) {
	r.add(code, finding.Refused, column, point, found, want, do)
}

func (r *record) refused() bool { return r.findings.Count(finding.Refused) > 0 }

// newRecord checks and copies c. Look at refused before reading further.
func newRecord(c Curve, m method.Method) *record {
	n := len(c.TimeS)
	r := &record{at: c.At, measured: c.TemperatureC != nil}
	if m.StirS > 0 {
		r.stirS = m.StirS
	}
	if len(c.ViscosityMPas) != n || (r.measured && len(c.TemperatureC) != n) || (c.Rows != nil && len(c.Rows) != n) {
		r.refuse("curve-ragged", "", -1, fmt.Sprintf("%d times, %d temperatures, %d viscosities", n, len(c.TemperatureC), len(c.ViscosityMPas)),
			"one temperature and one viscosity for each time", "mend the columns")
		return r
	}
	r.rows = slices.Clone(c.Rows)
	if n < fewest {
		r.refuse("curve-short", "time_s", n-1, fmt.Sprintf("%d points", n), fmt.Sprintf("at least %d", fewest), "the curve is too short to have a peak: export the whole run")
		return r
	}
	if !r.measured && !m.HasProgramme() {
		r.refuse("temperature-missing", "temperature_C", -1, "no temperatures, and the programme of method "+quoted(m.ID)+" is not known",
			"measured temperatures, or a method with its programme", "export the temperature with the curve, or give the method's file")
		return r
	}
	r.checkFinite(c)
	if r.refused() {
		return r
	}
	r.checkTimes(c.TimeS)
	if r.refused() {
		return r
	}
	if first, last := c.TimeS[0], c.TimeS[n-1]; last-first < briefest {
		r.refuse("curve-brief", "time_s", n-1, fmt.Sprintf("%.4g s from the first point to the last", last-first), fmt.Sprintf("at least %g s", briefest),
			"if the time is in minutes, say so in the header (time_min); else export the whole run")
		return r
	}
	r.merge(c, m)
	r.thin()
	r.checkTemperature()
	r.checkNegative()
	r.checkGaps(m)
	return r
}

func quoted(id string) string {
	if id == "" {
		return "(not named)"
	}
	return id
}

func (r *record) checkFinite(c Curve) {
	for _, column := range []struct {
		name   string
		values []float64
	}{{"time_s", c.TimeS}, {"temperature_C", c.TemperatureC}, {"viscosity_mPas", c.ViscosityMPas}} {
		if i := slices.IndexFunc(column.values, func(v float64) bool { return math.IsNaN(v) || math.Abs(v) > 1e12 }); i >= 0 {
			r.refuse("not-finite", column.name, i, fmt.Sprintf("%v at point %d", column.values[i], i+1), "a number that a run can have", "mend the cell, or leave its row out of the file")
		}
	}
}

// checkTimes refuses times that run backwards, and a record whose times repeat
// too often to be one run written with enough decimals.
func (r *record) checkTimes(t []float64) {
	back, repeated, first := 0, 0, -1
	for i := 1; i < len(t); i++ {
		switch {
		case t[i] < t[i-1]:
			if back++; first < 0 {
				first = i
			}
		case t[i] == t[i-1]:
			repeated++
		}
	}
	if back > 0 {
		do := "sort the rows by time, or mend the time column"
		if t[first] <= t[0]+(t[first-1]-t[0])/10 {
			do = "time starts again: two runs stand under one name; give each its own replicate or file"
		}
		r.refuse("time-backwards", "time_s", first, fmt.Sprintf("time goes from %g to %g s (%d such steps)", t[first-1], t[first], back), "times that rise", do)
		return
	}
	if repeated == 0 {
		return
	}
	i := 1
	for t[i] != t[i-1] {
		i++
	}
	if float64(repeated) > mostRepeated*float64(len(t)) {
		r.refuse("time-repeated", "time_s", i, fmt.Sprintf("%d of %d points repeat the time before, the first at %g s", repeated, len(t), t[i]), "one point a time",
			"export the time with more decimals; if two runs stand under one name, part them")
		return
	}
	r.add("time-repeated", finding.Doubt, "time_s", i, fmt.Sprintf("%d points repeat the time before, the first at %g s", repeated, t[i]), "one point a time",
		"their mean was used; look at the file")
}

// merge copies the curve, points of one time as their mean, and fills in the
// temperature from the programme where none was measured.
func (r *record) merge(c Curve, m method.Method) {
	var rows []int
	for i := 0; i < len(c.TimeS); {
		j := i
		var temp, v float64
		for ; j < len(c.TimeS) && c.TimeS[j] == c.TimeS[i]; j++ {
			v += c.ViscosityMPas[j]
			if r.measured {
				temp += c.TemperatureC[j]
			} else {
				temp += m.TemperatureAt(c.TimeS[j])
			}
		}
		k := float64(j - i)
		r.t, r.temp, r.v = append(r.t, c.TimeS[i]), append(r.temp, temp/k), append(r.v, v/k)
		if r.rows != nil {
			rows = append(rows, r.rows[i])
		}
		i = j
	}
	r.rows = rows
	if !r.measured {
		r.add("temperature-from-programme", finding.Note, "temperature_C", -1, "no temperatures were recorded: those of the programme of "+quoted(m.ID)+" were used", "",
			"pasting and peak temperature are nominal")
	}
}

// thin averages neighbouring points where there are more than most, so that a
// record of any length is read in a moment.
func (r *record) thin() {
	n := len(r.t)
	if n <= most {
		return
	}
	group := (n + most - 1) / most
	mean := func(v []float64) []float64 {
		var out []float64
		for part := range slices.Chunk(v, group) {
			sum := 0.0
			for _, x := range part {
				sum += x
			}
			out = append(out, sum/float64(len(part)))
		}
		return out
	}
	r.t, r.temp, r.v = mean(r.t), mean(r.temp), mean(r.v)
	if r.rows != nil {
		var rows []int
		for part := range slices.Chunk(r.rows, group) {
			rows = append(rows, part[0])
		}
		r.rows = rows
	}
	r.add("curve-dense", finding.Note, "time_s", -1, fmt.Sprintf("%d points, read as means of %d", n, group), "", "")
}

func (r *record) checkTemperature() {
	low, high := lowest(r.temp), highest(r.temp)
	start := smooth.Median(r.temp[:3])
	switch {
	case start > 100:
		r.refuse("temperature-implausible", "temperature_C", 0, fmt.Sprintf("%.1f at the start", start), "a start below 100 °C", "if the column is in °F, say so in its header")
	case r.temp[low] < coldestC:
		r.refuse("temperature-implausible", "temperature_C", low, fmt.Sprintf("%.1f °C", r.temp[low]), fmt.Sprintf("between %g and %g °C", coldestC, hottestC), "mend the cell or the column's unit")
	case r.temp[high] > hottestC:
		r.refuse("temperature-implausible", "temperature_C", high, fmt.Sprintf("%.1f °C", r.temp[high]), fmt.Sprintf("between %g and %g °C", coldestC, hottestC), "mend the cell or the column's unit")
	}
}

// checkNegative doubts viscosities a little below zero (a zero that drifted) and
// refuses a curve that goes as far below as a twentieth of its height.
func (r *record) checkNegative() {
	low, negative := lowest(r.v), 0
	for _, v := range r.v {
		if v < 0 {
			negative++
		}
	}
	if negative == 0 {
		return
	}
	severity, do := finding.Doubt, "check the zero of the torque before the next run"
	if -r.v[low] > r.v[highest(r.v)]/20 {
		severity, do = finding.Refused, "mend the column, or set the zero of the torque and repeat the run"
	}
	r.add("viscosity-negative", severity, "viscosity_mPas", low, fmt.Sprintf("%d negative viscosities, the lowest %.4g mPa·s at %.0f s", negative, r.v[low], r.t[low]),
		"viscosities from 0", do)
}

// checkGaps doubts stretches without points, sampling too slow for the onset
// criterion, and a record that ends before its programme.
func (r *record) checkGaps(m method.Method) {
	steps := make([]float64, len(r.t)-1)
	for i := range steps {
		steps[i] = r.t[i+1] - r.t[i]
	}
	if len(steps) == 0 {
		return
	}
	usual, longest := smooth.Median(steps), highest(steps)
	if usual > m.Onset.WithinS {
		r.add("sampling-slow", finding.Doubt, "time_s", -1, fmt.Sprintf("one point every %.3g s", usual), fmt.Sprintf("at least one every %g s, the window of the onset criterion", m.Onset.WithinS),
			"pasting temperature and rise rate are coarse; sample more often")
	}
	if steps[longest] > gapS && steps[longest] > gapFactor*usual {
		count := 0
		for _, s := range steps {
			if s > gapS && s > gapFactor*usual {
				count++
			}
		}
		r.add("gap", finding.Doubt, "time_s", longest+1, fmt.Sprintf("%d gaps, the longest from %.0f to %.0f s", count, r.t[longest], r.t[longest+1]), fmt.Sprintf("one point about every %.3g s", usual),
			"a feature inside a gap is not seen; export the whole run")
	}
	if m.HasProgramme() && r.endsEarly(m) {
		r.add("record-short", finding.Doubt, "time_s", len(r.t)-1, fmt.Sprintf("record ends at %.0f s", r.t[len(r.t)-1]), fmt.Sprintf("%g s, the end of the programme of %s", m.DurationS(), quoted(m.ID)),
			"export the whole run, or declare the method that it was run by")
	}
}

func (r *record) endsEarly(m method.Method) bool { return r.t[len(r.t)-1] < m.DurationS()-15 }

// checkProgramme doubts a run whose temperature lies off the programme: by more
// than the method's tolerance for half of the run, or far off for a tenth of it.
func (r *record) checkProgramme(m method.Method, s Stages) {
	if !r.measured || !m.HasProgramme() {
		return
	}
	var off []float64
	worst, at := 0.0, 0
	for i, t := range r.t {
		if t < s.Stir || t > m.DurationS() {
			continue
		}
		d := math.Abs(r.temp[i] - m.TemperatureAt(t))
		if off = append(off, d); d > worst {
			worst, at = d, i
		}
	}
	if len(off) == 0 {
		return
	}
	slices.Sort(off)
	typical, ninth := off[len(off)/2], off[len(off)*9/10]
	if typical > m.ToleranceC || ninth > 4*m.ToleranceC {
		r.add("temperature-off", finding.Doubt, "temperature_C", at, fmt.Sprintf("temperature is off the programme by %.1f °C (median), at most %.1f °C at %.0f s", typical, worst, r.t[at]),
			fmt.Sprintf("within %g °C of the programme of %s", m.ToleranceC, quoted(m.ID)), "check the method's name, or the block and its calibration; pasting temperature and peak time suffer first")
	}
}

// leaveOutSpikes takes single readings that stand out of their neighbourhood
// off the record. A reading stands out when it lies outside the range of its two
// neighbours and of the straight lines through the two points on either side,
// by more than 12 noise deviations and 3 % of the curve's height; a sharp peak
// does not, because the lines of its own flanks reach it.
func (r *record) leaveOutSpikes(from int) {
	n := len(r.t)
	if n-from < 2*smooth.MinPoints {
		return
	}
	v, t := r.v, r.t
	height := v[from+highest(v[from:])] - v[from+lowest(v[from:])]
	limit := max(12*smooth.Noise(t[from:], v[from:]), 0.03*height)
	var spikes []int
	largest := 0.0
	for i := max(from, 2); i+2 < n; i++ {
		left := v[i-1] + (v[i-1]-v[i-2])*(t[i]-t[i-1])/(t[i-1]-t[i-2])
		right := v[i+1] - (v[i+2]-v[i+1])*(t[i+1]-t[i])/(t[i+2]-t[i+1])
		low, high := min(left, right, v[i-1], v[i+1]), max(left, right, v[i-1], v[i+1])
		if out := max(v[i]-high, low-v[i]); out > limit {
			spikes = append(spikes, i)
			largest = max(largest, out)
		}
	}
	if len(spikes) == 0 {
		return
	}
	r.add("spike", finding.Doubt, "viscosity_mPas", spikes[0], fmt.Sprintf("%d single readings stand out, the largest by %.4g mPa·s, the first at %.0f s", len(spikes), largest, t[spikes[0]]),
		"a curve without spikes", "they were left out of the features; look at the paddle and the paste")
	for k, i := range spikes {
		i -= k
		r.t, r.v, r.temp = slices.Delete(r.t, i, i+1), slices.Delete(r.v, i, i+1), slices.Delete(r.temp, i, i+1)
		if r.rows != nil {
			r.rows = slices.Delete(r.rows, i, i+1)
		}
	}
}

// checkTrace looks for a clipped top, a sudden loss and figures of another unit.
func (r *record) checkTrace(from int) {
	if len(r.t)-from < smooth.MinPoints {
		return
	}
	t, v := r.t[from:], r.v[from:]
	top := highest(v)
	if v[top] > thickest {
		r.add("viscosity-high", finding.Doubt, "viscosity_mPas", from+top, fmt.Sprintf("%.6g mPa·s", v[top]), fmt.Sprintf("at most %g mPa·s", thickest), "check the unit and the decimal sign of the column")
	}
	end := top
	for end < len(v) && v[end] == v[top] {
		end++
	}
	if end-top >= flatTop && r.corners(v, top, end) {
		r.add("saturated", finding.Doubt, "viscosity_mPas", from+top, fmt.Sprintf("%d equal readings of %.6g mPa·s from %.0f s", end-top, v[top], t[top]), "a rounded top",
			"the curve may be clipped at the end of the range, and its peak higher: repeat with less flour or a wider range")
	}
	for i := 1; i < len(v); i++ {
		if t[i]-t[i-1] <= dropS && v[i-1] > v[top]/5 && i-1 >= 1 && v[i] < (1-dropShare)*v[i-1] && v[i-2] > v[top]/5 {
			r.refuse("sudden-drop", "viscosity_mPas", from+i, fmt.Sprintf("viscosity falls from %.4g to %.4g mPa·s within %.2g s at %.0f s", v[i-1], v[i], t[i]-t[i-1], t[i]),
				"a paste that thins gradually", "the paddle stopped, slipped off or the paste boiled over: repeat the run")
			return
		}
	}
}

// corners reports whether a flat top has an edge: a step to it or from it that
// is more than 0.2 % of the top, which a rounded top sampled closely has not.
func (r *record) corners(v []float64, top, end int) bool {
	edge := 0.002 * math.Abs(v[top])
	return (top > 0 && v[top]-v[top-1] > edge) || (end < len(v) && v[top]-v[end] > edge)
}
