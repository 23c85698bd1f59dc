// Package trace makes the record of one pasting run fit for reading.
//
//  1. The record is checked: times that rise, finite figures, enough points, a
//     temperature of a pasting test, viscosities of one scale. What cannot be
//     mended is refused.
//  2. Repeated times become their mean, a very dense record is averaged, a
//     temperature that was not measured is that of the method's programme.
//  3. The stages (heating, hot hold, cooling, final) are taken from the measured
//     temperature, never from a fixed clock.
//  4. Single readings that stand out are left out, and a clipped top, a step, a
//     gap, a stopped paddle are named.
//
// Each thing wrong or doubtful is a Fault: a finding with its time and its size.
// The package reads no feature and judges no run against its method; it knows
// one record and the method's name, programme and speeds.
package trace

import (
	"fmt"
	"slices"
	"sort"

	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Curve is one run as recorded: time s, temperature °C, viscosity mPa·s, of
// equal length and in the order of the file. TemperatureC may be nil when the
// method's programme is known, SpeedRPM when the speed was not recorded. At is
// where the run stands and Rows the file row of each point; both go into the
// findings and may be left out.
type Curve struct {
	TimeS, TemperatureC, ViscosityMPas []float64
	SpeedRPM                           []float64

	At   finding.Place
	Rows []int
}

// Fault is one thing wrong or doubtful in a record: its finding, the time where
// it begins and ends, s, and its size in Unit. A fault of the whole record has
// FromS and ToS of its ends; one without a size has no Unit.
type Fault struct {
	finding.Finding
	FromS, ToS float64
	Size       float64
	Unit       string
}

// Trace is a record fit for reading, of n ≥ 12 points: times T, s, strictly
// rising; temperatures C, °C; viscosities V, mPa·s; speeds RPM, or nil. All are
// finite. Nothing may write to it: it shares the memory of the curve that it was read
// from, where nothing had to be mended.
type Trace struct {
	T, C, V, RPM []float64
	Measured     bool // temperatures were measured, not taken from the programme
	Stages       Stages
	Method       method.Method
	UsualS       float64 // from one point to the next
	LongestS     float64

	at     finding.Place
	rows   []int
	faults []Fault
}

// Read checks c, run by method m, and finds its stages. A method of which only
// the name is known (method.Unknown) will do; an onset criterion or tolerance
// left empty takes its default. tr is nil when the record is refused: then at
// least one fault is refused, and none otherwise. The cost is linear in points.
func Read(c Curve, m method.Method) (tr *Trace, faults []Fault) {
	if m.Onset.RiseMPas <= 0 || m.Onset.WithinS <= 0 {
		m.Onset = method.DefaultOnset()
	}
	for _, d := range []struct {
		of *float64
		is float64
	}{{&m.ToleranceC, method.DefaultToleranceC}, {&m.ToleranceRatePct, method.DefaultToleranceRatePct}, {&m.ToleranceRPMPct, method.DefaultToleranceRPMPct}, {&m.ToleranceS, method.DefaultToleranceS}} {
		if *d.of <= 0 {
			*d.of = d.is
		}
	}
	r := &Trace{at: c.At, Measured: c.TemperatureC != nil, Method: m}
	for _, step := range []func(Curve){r.checkShape, r.checkFinite, r.checkTimes, r.merge, r.checkScale, r.checkGaps, r.stage, r.checkViscosity} {
		if step(c); r.refused() {
			return nil, r.faults
		}
	}
	return r, r.faults
}

// Findings are the findings of faults, in their order.
func Findings(faults []Fault) finding.List {
	var out finding.List
	for _, f := range faults {
		out.Add(f.Finding)
	}
	return out
}

// From is the index of the first point at or after a time.
func (r *Trace) From(timeS float64) int { return sort.SearchFloat64s(r.T, timeS) }

// After is the index behind the last point at or before a time.
func (r *Trace) After(timeS float64) int {
	return sort.Search(len(r.T), func(i int) bool { return r.T[i] > timeS })
}

// Last is the time of the last point, s.
func (r *Trace) Last() float64 { return r.T[len(r.T)-1] }

// Place is where point i stands in the file; a negative i is the whole record.
func (r *Trace) Place(column string, i int) finding.Place {
	at := r.at
	at.Column = column
	if i >= 0 && i < len(r.rows) {
		at.Row = r.rows[i]
	}
	return at
}

// EndsEarly reports whether the record ends more than 15 s before the programme.
func (r *Trace) EndsEarly() bool { return r.Last() < r.Method.DurationS()-15 }

// Highest is the index of the first highest of v, which is not empty.
func Highest(v []float64) int {
	at := 0
	for i := range v {
		if v[i] > v[at] {
			at = i
		}
	}
	return at
}

// Lowest is the index of the first lowest of v, which is not empty.
func Lowest(v []float64) int {
	at := 0
	for i := range v {
		if v[i] < v[at] {
			at = i
		}
	}
	return at
}

func (r *Trace) refused() bool {
	return slices.ContainsFunc(r.faults, func(f Fault) bool { return f.Severity == finding.Refused })
}

func (r *Trace) refuse(code, column string, point int, found, want, do string) {
	r.faults = append(r.faults, Fault{Finding: finding.Finding{Code: code, Severity: finding.Refused, At: r.Place(column, point), Found: found, Want: want, Do: do}})
}

func (r *Trace) note(code, column, found, do string) {
	r.faults = append(r.faults, Fault{Finding: finding.Finding{Code: code, Severity: finding.Note, At: r.Place(column, -1), Found: found, Do: do}, FromS: r.T[0], ToS: r.Last()})
}

// doubt adds a fault that reaches from point i to point j.
func (r *Trace) doubt(code, column string, i, j int, size float64, unit, found, want, do string) {
	r.faults = append(r.faults, Fault{Finding: finding.Finding{Code: code, Severity: finding.Doubt, At: r.Place(column, i), Found: found, Want: want, Do: do},
		FromS: r.T[i], ToS: r.T[j], Size: size, Unit: unit})
}

func (r *Trace) methodName() string {
	if r.Method.ID == "" {
		return "(not named)"
	}
	return r.Method.ID
}

// merge takes the curve as it is or, where that will not do, a copy of it: points of
// one time as their mean, the temperature from the programme where none was measured,
// and neighbours averaged where there are more than most points, so that a record of
// any length is read in a moment.
func (r *Trace) merge(c Curve) {
	if r.Measured && len(c.TimeS) <= most && rising(c.TimeS) {
		r.T, r.C, r.V, r.RPM = c.TimeS, c.TemperatureC, c.ViscosityMPas, c.SpeedRPM
		return
	}
	r.rows = nil
	n := len(c.TimeS)
	r.T, r.V, r.C = make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	if c.Rows != nil {
		r.rows = make([]int, 0, n)
	}
	for i := 0; i < len(c.TimeS); {
		j := i
		var sum [3]float64
		for ; j < len(c.TimeS) && c.TimeS[j] == c.TimeS[i]; j++ {
			sum[0] += c.ViscosityMPas[j]
			if r.Measured {
				sum[1] += c.TemperatureC[j]
			} else {
				sum[1] += r.Method.TemperatureAt(c.TimeS[j])
			}
			if c.SpeedRPM != nil {
				sum[2] += c.SpeedRPM[j]
			}
		}
		k := float64(j - i)
		r.T, r.V, r.C = append(r.T, c.TimeS[i]), append(r.V, sum[0]/k), append(r.C, sum[1]/k)
		if c.SpeedRPM != nil {
			r.RPM = append(r.RPM, sum[2]/k)
		}
		if c.Rows != nil {
			r.rows = append(r.rows, c.Rows[i])
		}
		i = j
	}
	if repeated := len(c.TimeS) - len(r.T); repeated > 0 {
		i := 1
		for c.TimeS[i] != c.TimeS[i-1] {
			i++
		}
		r.doubt("time-repeated", "time_s", i-1, i-1, float64(repeated), "points", fmt.Sprintf("%d points repeat the time before, the first at %g s", repeated, c.TimeS[i]),
			"one point a time", "their mean was used; look at the file")
	}
	if !r.Measured {
		r.note("temperature-from-programme", "temperature_C", "no temperatures were recorded: those of the programme of "+r.methodName()+" were used", "pasting and peak temperature are nominal")
	}
	if n := len(r.T); n > most {
		group := (n + most - 1) / most
		r.T, r.C, r.V, r.RPM = means(r.T, group), means(r.C, group), means(r.V, group), means(r.RPM, group)
		if r.rows != nil {
			rows := make([]int, 0, len(r.T))
			for i := 0; i < n; i += group {
				rows = append(rows, r.rows[i])
			}
			r.rows = rows
		}
		r.note("curve-dense", "time_s", fmt.Sprintf("%d points, read as means of %d", n, group), "")
	}
}

// rising reports whether no time is that of the one before; none is before it.
func rising(t []float64) bool {
	for i := 1; i < len(t); i++ {
		if t[i] == t[i-1] {
			return false
		}
	}
	return true
}

func means(v []float64, group int) []float64 {
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

// sampling is the usual time from one point to the next, and the longest, which begins
// at point gap.
func (r *Trace) sampling() (usual, longest float64, gap int) {
	steps := make([]float64, len(r.T)-1)
	for i := range steps {
		steps[i] = r.T[i+1] - r.T[i]
	}
	gap = Highest(steps)
	return smooth.Median(steps), steps[gap], gap
}
