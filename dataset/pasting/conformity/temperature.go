package conformity

import (
	"fmt"
	"math"
	"slices"

	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Stage is one straight piece of the method's programme and what the run did
// meanwhile. Temperatures in °C, rates in °C per minute; OffsetC is the median of
// measured less programme, WorstC the largest difference, WorstAtS where. LagS
// is how late the run comes on a slope: offset over rate.
type Stage struct {
	Name     string   `json:"name"`
	Kind     string   `json:"kind"` // "hold", "heating", "cooling"
	FromS    float64  `json:"from_s"`
	ToS      float64  `json:"to_s"`
	FromC    float64  `json:"from_C"`
	ToC      float64  `json:"to_C"`
	Points   int      `json:"points"`
	OffsetC  float64  `json:"offset_C"`
	WorstC   float64  `json:"worst_C"`
	WorstAtS float64  `json:"worst_at_s"`
	WantRate *float64 `json:"programme_C_per_min,omitempty"`
	Rate     *float64 `json:"measured_C_per_min,omitempty"`
	LagS     *float64 `json:"lag_s,omitempty"`
	OverC    *float64 `json:"overshoot_C,omitempty"`

	off []float64 // measured − programme, point by point
}

// Limits of the temperature checks: ours.
const (
	leastPoints = 4     // a stage with fewer is not judged
	middle      = 0.1   // rates leave out this share of a slope at either end, where controllers turn
	shiftRangeS = 120.0 // a clock is tried this far early and late
	leastShiftS = 3.0   //
	otherTimes  = 5.0   // off by so many tolerances for a quarter of the run, it is another programme
)

// temperature compares the run with its programme. Where the run is off, a clock
// that started early or late is tried first.
func (k *checker) temperature() {
	m := k.tr.Method
	if !k.tr.Measured || !m.HasProgramme() {
		return
	}
	k.stages()
	if len(k.out.Stages) > 0 && !slices.ContainsFunc(k.out.Stages, func(s Stage) bool { return math.Abs(s.WorstC) > m.ToleranceC }) {
		k.holdLength()
		return
	}
	shift, left := k.bestShift()
	if len(left) < leastPoints {
		k.add(Deviation{FromS: k.tr.T[0], ToS: k.tr.Last(), Size: k.tr.T[0], Unit: "s", Affects: []string{"peak_time_s"}, Effect: "peak time does not count from the beginning of the test"},
			finding.Finding{Code: "clock-shift", At: k.tr.Place("time_s", -1), Found: fmt.Sprintf("the record runs from %.0f to %.0f s", k.tr.T[0], k.tr.Last()),
				Want: fmt.Sprintf("0 to %g s, the programme of %s", m.DurationS(), m.ID), Do: "export times since the beginning of the test"})
		return
	}
	if far := quantile(left, 0.75); far > otherTimes*m.ToleranceC {
		k.add(Deviation{Severity: finding.Refused, FromS: k.tr.T[0], ToS: k.tr.Last(), Size: far, Unit: "°C", Affects: viscosities, Effect: "no feature is that of the method"},
			finding.Finding{Code: "programme-differs", At: k.tr.Place("temperature_C", -1), Found: fmt.Sprintf("temperature is off the programme by more than %.1f °C for a quarter of the run, on any clock", far),
				Want: fmt.Sprintf("the programme of %s: runs of different programmes are never pooled", m.ID), Do: "declare the method that it was run by"})
		return
	}
	if math.Abs(shift) >= leastShiftS && quantile(left, 0.9) <= m.ToleranceC {
		k.shift, k.out.ShiftS = shift, &shift
		word := "late"
		if shift < 0 {
			word = "early"
		}
		k.add(Deviation{FromS: k.tr.T[0], ToS: k.tr.Last(), Size: shift, Unit: "s", Affects: []string{"peak_time_s"}, Effect: fmt.Sprintf("peak time reads %.0f s too %s", math.Abs(shift), word)},
			finding.Finding{Code: "clock-shift", At: k.tr.Place("time_s", -1), Found: fmt.Sprintf("the programme begins %.0f s %s on the record's clock", math.Abs(shift), word),
				Want: "recording that starts with the test", Do: "look when recording starts"})
		k.stages()
	}
	for i := range k.out.Stages {
		k.judge(i)
	}
	k.holdLength()
}

// stages measures every straight piece of the programme, moved by the shift of
// the clock.
func (k *checker) stages() {
	p := k.tr.Method.Programme
	k.out.Stages = make([]Stage, 0, len(p)-1) // no more: a report is kept for each of many runs
	for i := 1; i < len(p); i++ {
		s := Stage{FromS: p[i-1].TimeS + k.shift, ToS: p[i].TimeS + k.shift, FromC: p[i-1].TemperatureC, ToC: p[i].TemperatureC}
		slope := (s.ToC - s.FromC) / (s.ToS - s.FromS)
		switch {
		case slope > 0:
			s.Kind, s.Name = "heating", fmt.Sprintf("heating %g to %g °C", s.FromC, s.ToC)
		case slope < 0:
			s.Kind, s.Name = "cooling", fmt.Sprintf("cooling %g to %g °C", s.FromC, s.ToC)
		default:
			s.Kind, s.Name = "hold", fmt.Sprintf("hold at %g °C", s.FromC)
		}
		from, to := k.tr.From(max(s.FromS, k.tr.Stages.Stir)), k.tr.After(s.ToS)
		if s.Points = to - from; s.Points < leastPoints {
			continue
		}
		s.off = make([]float64, 0, s.Points)
		for j := from; j < to; j++ {
			d := k.tr.C[j] - (s.FromC + slope*(k.tr.T[j]-s.FromS))
			s.off = append(s.off, d)
			if math.Abs(d) > math.Abs(s.WorstC) {
				s.WorstC, s.WorstAtS = d, k.tr.T[j]
			}
		}
		s.OffsetC = median(s.off)
		if s.Kind == "hold" {
			if i > 1 && p[i-2].TemperatureC < s.FromC {
				over := max(0, highest(k.tr.C[from:to])-s.ToC)
				s.OverC = &over
			}
		} else {
			want, lag := 60*slope, -s.OffsetC/slope
			s.WantRate, s.LagS = &want, &lag
			edge := middle * (s.ToS - s.FromS)
			if a, b := k.tr.From(s.FromS+edge), k.tr.After(s.ToS-edge); b-a >= leastPoints {
				_, rate := smooth.Line(k.tr.T[a:b], k.tr.C[a:b], k.tr.T[a])
				rate *= 60
				s.Rate = &rate
			}
		}
		k.out.Stages = append(k.out.Stages, s)
	}
}

// highest is the highest of v that its neighbour confirms: one stray reading
// is no overshoot.
func highest(v []float64) float64 {
	best := math.Inf(-1)
	for i := 1; i < len(v); i++ {
		best = max(best, min(v[i-1], v[i]))
	}
	return best
}

// bestShift is the clock shift, s, at which the measured temperature lies
// closest to the programme, and how far off it lies then, point by point.
func (k *checker) bestShift() (shift float64, left []float64) {
	from := k.tr.From(k.tr.Stages.Stir)
	stride := max(1, (len(k.tr.T)-from)/200)
	at := func(shift float64) []float64 {
		var off []float64
		for i := from; i < len(k.tr.T); i += stride {
			if t := k.tr.T[i] - shift; t >= 0 && t <= k.tr.Method.DurationS() {
				off = append(off, math.Abs(k.tr.C[i]-k.tr.Method.TemperatureAt(t)))
			}
		}
		return off
	}
	left = at(0)
	if len(left) < leastPoints {
		return 0, left
	}
	best := mean(left)
	for s := -shiftRangeS; s <= shiftRangeS; s++ {
		if off := at(s); len(off) >= len(left)*4/5 && mean(off) < best*0.999 {
			shift, best = s, mean(off)
		}
	}
	return shift, at(shift)
}

// judge tells what one stage did wrong.
func (k *checker) judge(i int) {
	s, m := k.out.Stages[i], k.tr.Method
	place := k.tr.Place("temperature_C", k.tr.From(s.FromS))
	within := fmt.Sprintf("within %g °C of the programme of %s", m.ToleranceC, m.ID)
	add := func(code string, size float64, unit, found, want, do string, affects []string, effect string) {
		k.add(Deviation{Stage: s.Name, FromS: s.FromS, ToS: s.ToS, Size: size, Unit: unit, Affects: affects, Effect: effect},
			finding.Finding{Code: code, At: place, Found: s.Name + ": " + found, Want: want, Do: do})
	}
	side := touched[k.partOf(s)]
	switch over := s.OverC; {
	case math.Abs(s.OffsetC) > m.ToleranceC && s.LagS != nil:
		late, reads := "late", "low"
		if *s.LagS < 0 {
			late = "early"
		}
		if s.OffsetC > 0 {
			reads = "high"
		}
		effect := fmt.Sprintf("what happens there comes about %.0f s %s, or the sensor reads %.1f °C %s and the temperatures with it", math.Abs(*s.LagS), late, math.Abs(s.OffsetC), reads)
		affects := append([]string{"peak_time_s", "peak_temp_C"}, side...)
		if s.Kind == "cooling" {
			affects = side
		}
		add("temperature-lag", *s.LagS, "s", fmt.Sprintf("temperature lags by %.0f s (%+.1f °C)", *s.LagS, s.OffsetC), within, "check the block, its cooling and its calibration", affects, effect)
	case math.Abs(s.OffsetC) > m.ToleranceC:
		add("temperature-offset", s.OffsetC, "°C", fmt.Sprintf("temperature is %+.1f °C off (median)", s.OffsetC), within, "check the block and its calibration", side, k.holdEffect(s))
	case over != nil && *over > m.ToleranceC:
		add("temperature-overshoot", *over, "°C", fmt.Sprintf("temperature overshoots by %.1f °C", *over), within, "check the controller", side, "the paste is thinned and broken down more at first than by the method")
	case quantile(abs(s.off), 0.9) > 2*m.ToleranceC:
		add("temperature-unsteady", s.WorstC, "°C", fmt.Sprintf("temperature is off by up to %+.1f °C, at %.0f s", s.WorstC, s.WorstAtS), within, "check the controller and the sensor", side, "features of the stage are less repeatable")
	}
	if s.Rate != nil {
		if off := 100 * (*s.Rate / *s.WantRate - 1); math.Abs(off) > m.ToleranceRatePct {
			effect := fmt.Sprintf("onset, peak and their times move, and the rise rate per s by about %+.0f %%; compare the rise rate per °C", off)
			if s.Kind == "cooling" {
				effect = "final viscosity and setback stand for another cooling"
			}
			add(s.Kind+"-rate", off, "%", fmt.Sprintf("%.2f °C/min", *s.Rate), fmt.Sprintf("%.2f °C/min within %g %%", *s.WantRate, m.ToleranceRatePct), "check the block's power and its cooling", side, effect)
		}
	}
}

// holdEffect says what a hold too warm or too cold does.
func (k *checker) holdEffect(s Stage) string {
	warm := s.OffsetC > 0
	switch k.partOf(s) {
	case start:
		return "the slurry starts at another temperature: initial viscosity and the first rise move"
	case hot:
		if warm {
			return "hotter paste is thinner and breaks down more: trough reads low, breakdown high"
		}
		return "cooler paste is thicker and breaks down less: trough reads high, breakdown low"
	}
	if warm {
		return "warmer paste is thinner: final viscosity and setback read low"
	}
	return "cooler paste is thicker: final viscosity and setback read high"
}

// partOf is the measured stage that the middle of a programme's stage falls into.
func (k *checker) partOf(s Stage) string {
	switch s.Kind {
	case "heating":
		return heating
	case "cooling":
		return cooling
	}
	return k.stageAt((s.FromS + s.ToS) / 2)
}

// holdLength compares the length of the hot hold with the programme's, both by
// the same rules.
func (k *checker) holdLength() {
	want, ok := k.tr.Programmed()
	s := k.tr.Stages
	if !ok || !s.HasCooling || !want.HasCooling {
		return
	}
	is, should := s.Cooling-s.Hot, want.Cooling-want.Hot
	if math.Abs(is-should) <= k.tr.Method.ToleranceS {
		return
	}
	effect := "the paste breaks down longer: trough reads low, breakdown high"
	if is < should {
		effect = "the paste breaks down for a shorter time: trough reads high, breakdown low"
	}
	k.add(Deviation{Stage: hot, FromS: s.Hot, ToS: s.Cooling, Size: is - should, Unit: "s", Affects: touched[hot], Effect: effect},
		finding.Finding{Code: "hold-length", At: k.tr.Place("temperature_C", k.tr.From(s.Hot)), Found: fmt.Sprintf("hot hold of %.0f s", is), Want: fmt.Sprintf("%.0f s within %g s", should, k.tr.Method.ToleranceS),
			Do: "check the programme that was run"})
}

func median(v []float64) float64 { return smooth.Median(v) }

// quantile is the value below which a share of v lies; v is not empty.
func quantile(v []float64, share float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return s[min(len(s)-1, int(share*float64(len(s))))]
}

func abs(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = math.Abs(x)
	}
	return out
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
