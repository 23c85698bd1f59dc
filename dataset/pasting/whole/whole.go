// Package whole lays pasting curves on a common grid, so that a model may take
// the whole curve instead of features read off it.
//
//  1. A Grid says what the curves are laid on: the time of the programme, or
//     temperature while the block heats and cools.
//  2. Plan works out the columns of a grid for one method: the same for every run.
//     Named works them out of their names, for runs that come after a model.
//  3. Lay reads a run at each of them, by straight lines between its points; Mean is
//     several runs of one lot.
//
// Nothing is smoothed, and nothing invented: before the first point, after the
// last, within a gap and where a temperature was not reached, the cell is
// absent. A method without a programme, and a grid of more than MostColumns
// columns, are refused. The package knows one run at a time, and no files.
package whole

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/trait"
)

// On is what a curve is laid on.
type On string

// What curves are laid on.
const (
	Time        On = "time"
	Temperature On = "temperature"
)

// Limits: ours.
const (
	MostColumns = 5000
	HoldStepS   = 10.0 // s; holds have no temperature to lay on: they are laid on their own time
	gapFactor   = 4.0  // a step this many times the usual one is a gap …
	gapS        = 12.0 // … if it is also longer than this, s
)

// Grid is what to lay curves on, and the step: seconds on Time, °C on
// Temperature.
type Grid struct {
	On   On
	Step float64
}

// GridError says what is wrong with a grid.
type GridError struct{ Found, Want, Do string }

func (e *GridError) Error() string {
	text := "grid: found " + e.Found + ", expected " + e.Want
	if e.Do != "" {
		text += "; " + e.Do
	}
	return text
}

// ParseGrid reads a grid as a person writes it: on "time" (or "") with a step
// such as "4s" or "0.5min", on "temperature" with one such as "1C". The error is
// a *GridError.
func ParseGrid(on, step string) (Grid, error) {
	g := Grid{On: On(on)}
	if on == "" {
		g.On = Time
	}
	units := map[On]map[string]float64{Time: {"s": 1, "min": 60}, Temperature: {"C": 1, "°C": 1}}[g.On]
	if units == nil {
		return Grid{}, &GridError{Found: strconv.Quote(on), Want: "time or temperature"}
	}
	number := strings.TrimRight(step, "sminC° ")
	factor, known := units[strings.TrimSpace(step[len(number):])]
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || !known || !(v > 0) || math.IsInf(v, 0) {
		want := "a step such as 4s or 0.5min; 1C goes with --on temperature"
		if g.On == Temperature {
			want = "a step such as 1C"
		}
		return Grid{}, &GridError{Found: strconv.Quote(step), Want: want}
	}
	g.Step = v * factor
	return g, nil
}

// Plan is the columns of a grid for one method, in the order of the test.
type Plan struct {
	columns []column
}

// column is one place of a curve: a time since a stage began, or a temperature
// within a stage.
type column struct {
	name  string
	stage string // "" is the whole record
	at    float64
}

// Plan works out the columns of the grid for runs of m: on Time one each step
// from 0 to the end of the programme, v_0000s … On Temperature, for the first
// heating to the hottest hold and the cooling after it, one each step strictly
// between the temperatures of the programme, v_heat_52C …, v_cool_94C …, and
// for the hot and the final hold one each HoldStepS seconds since they began,
// v_hot_0000s …, v_final_0000s … The error is a *GridError.
func (g Grid) Plan(m method.Method) (Plan, error) {
	if !m.HasProgramme() {
		return Plan{}, &GridError{Found: "method " + strconv.Quote(m.ID) + ", of which no programme is known", Want: "a method with its programme", Do: "give the method's file"}
	}
	if !(g.Step > 0) {
		return Plan{}, &GridError{Found: fmt.Sprint(g.Step), Want: "a step above 0"}
	}
	if n := m.DurationS() / g.Step; g.On == Time && n > MostColumns {
		return Plan{}, &GridError{Found: fmt.Sprintf("%.0f columns", n), Want: fmt.Sprintf("at most %d", MostColumns), Do: "take a longer step"}
	}
	var p Plan
	if g.On == Time {
		p.every("v_", "", g.Step, m.DurationS())
		return p, nil
	}
	first, top, hold, last, rest := programmed(m)
	if !(top > first) {
		return Plan{}, &GridError{Found: "a programme that does not heat", Want: "heating to a hold", Do: "lay the curves on time"}
	}
	if n := (2*top - first - last) / g.Step; n > MostColumns {
		return Plan{}, &GridError{Found: fmt.Sprintf("%.0f columns", n), Want: fmt.Sprintf("at most %d", MostColumns), Do: "take a larger step"}
	}
	for k := math.Floor(first/g.Step) + 1; k*g.Step < top-1e-9; k++ {
		p.add(fmt.Sprintf("v_heat_%sC", short(k*g.Step)), trait.StageHeating, k*g.Step)
	}
	p.every("v_hot_", trait.StageHot, HoldStepS, hold)
	if last < top {
		for k := math.Ceil(top/g.Step) - 1; k*g.Step > last+1e-9; k-- {
			p.add(fmt.Sprintf("v_cool_%sC", short(k*g.Step)), trait.StageCooling, k*g.Step)
		}
		p.every("v_final_", trait.StageFinal, HoldStepS, rest)
	}
	return p, nil
}

func (p *Plan) add(name, stage string, at float64) {
	p.columns = append(p.columns, column{name, stage, at})
}

// every adds a column each step seconds from 0 to end.
func (p *Plan) every(prefix, stage string, step, end float64) {
	digits, decimals := 4, 0
	for scaled := step; decimals < 3 && math.Abs(scaled-math.Round(scaled)) > 1e-9; scaled = step * math.Pow(10, float64(decimals)) {
		digits, decimals = 6+decimals, decimals+1
	}
	for k := 0; float64(k)*step <= end+1e-9; k++ {
		at := float64(k) * step
		p.add(fmt.Sprintf("%s%0*.*fs", prefix, digits, decimals, at), stage, at)
	}
}

func short(v float64) string { return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'g', -1, 64) }

// programmed is the temperatures of a programme, °C, at its beginning, at the top
// and at the end, and how long the top and the end are held, s.
func programmed(m method.Method) (first, top, hold, last, rest float64) {
	p := m.Programme
	first, top, last = p[0].TemperatureC, p[0].TemperatureC, p[len(p)-1].TemperatureC
	reached, left := p[0].TimeS, p[0].TimeS
	for _, q := range p {
		switch {
		case q.TemperatureC > top:
			top, reached, left = q.TemperatureC, q.TimeS, q.TimeS
		case q.TemperatureC == top:
			left = q.TimeS
		}
	}
	since := p[len(p)-1].TimeS
	for i := len(p) - 1; i >= 0 && p[i].TemperatureC == last; i-- {
		since = p[i].TimeS
	}
	return first, top, left - reached, last, p[len(p)-1].TimeS - since
}

// Columns are the names of the columns, in order.
func (p Plan) Columns() []string {
	out := make([]string, len(p.columns))
	for i, c := range p.columns {
		out[i] = c.name
	}
	return out
}

// Row is a run, or several of one lot, at the columns of a plan: viscosities, mPa·s,
// and which of them are there.
type Row struct {
	Values  []float64
	Present []bool
}

// Absent is how many columns are not there.
func (r Row) Absent() int {
	n := 0
	for _, ok := range r.Present {
		if !ok {
			n++
		}
	}
	return n
}

// Mean is the mean of rows of one plan, one at least, in the columns that all of them
// have.
func Mean(rows []Row) Row {
	out := Row{slices.Clone(rows[0].Values), slices.Clone(rows[0].Present)}
	for _, r := range rows[1:] {
		for i, v := range r.Values {
			out.Values[i] += v
			out.Present[i] = out.Present[i] && r.Present[i]
		}
	}
	for i := range out.Values {
		out.Values[i] /= float64(len(rows))
	}
	return out
}

// Lay reads a run at every column, by straight lines between points. A temperature
// counts where the run first reaches it within its stage, a hold from where the run's
// own hold begins. The cost is columns times the logarithm of points on time, and
// columns times points on temperature.
func (p Plan) Lay(tr *trace.Trace) Row {
	values, present := make([]float64, len(p.columns)), make([]bool, len(p.columns))
	limit := max(gapS, gapFactor*usualStep(tr.T))
	s := tr.Stages
	for i, c := range p.columns {
		var at float64
		ok := true
		switch c.stage {
		case "":
			at = c.at
		case trait.StageHeating:
			at, ok = reached(tr, s.Search(), s.Hot, c.at, 1)
		case trait.StageHot:
			at = s.Hot + c.at
			ok = !s.HasCooling || at <= s.Cooling+1e-6
		case trait.StageCooling:
			end := tr.Last()
			if s.HasFinal {
				end = s.Final
			}
			at, ok = reached(tr, s.Cooling, end, c.at, -1)
			ok = ok && s.HasCooling
		case trait.StageFinal:
			at, ok = s.Final+c.at, s.HasFinal
		}
		if ok {
			values[i], present[i] = between(tr, at, limit)
		}
	}
	return Row{values, present}
}

// reached is the time within from…to when the measured temperature first gets
// to celsius, going up (1) or down (−1). The points beside the ends count.
func reached(tr *trace.Trace, from, to, celsius, way float64) (timeS float64, ok bool) {
	start := max(0, tr.From(from)-1)
	end := min(len(tr.T)-1, tr.After(to))
	for i := start; i <= end; i++ {
		if way*(tr.C[i]-celsius) < 0 {
			continue
		}
		if i == start {
			return tr.T[i], tr.C[i] == celsius
		}
		return tr.T[i-1] + (tr.T[i]-tr.T[i-1])*(celsius-tr.C[i-1])/(tr.C[i]-tr.C[i-1]), true
	}
	return 0, false
}

// between is the viscosity at a time by a straight line between the points
// beside it, unless these are further apart than limit.
func between(tr *trace.Trace, timeS, limit float64) (float64, bool) {
	i := sort.SearchFloat64s(tr.T, timeS)
	switch {
	case i < len(tr.T) && tr.T[i] == timeS:
		return tr.V[i], true
	case i == 0 || i == len(tr.T) || tr.T[i]-tr.T[i-1] > limit:
		return 0, false
	}
	share := (timeS - tr.T[i-1]) / (tr.T[i] - tr.T[i-1])
	return tr.V[i-1] + share*(tr.V[i]-tr.V[i-1]), true
}

func usualStep(t []float64) float64 {
	steps := make([]float64, len(t)-1)
	for i := range steps {
		steps[i] = t[i+1] - t[i]
	}
	sort.Float64s(steps)
	return steps[len(steps)/2]
}
