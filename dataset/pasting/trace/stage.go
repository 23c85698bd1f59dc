package trace

import (
	"fmt"
	"slices"

	"flourcast/stat/smooth"
)

// Stages are the times, s, at which the stages of a run begin, read off its
// temperature, and the temperatures, °C, of the hot hold and of the end.
type Stages struct {
	Stir    float64 // end of the first fast stir
	Heating float64
	Hot     float64
	Cooling float64 // when HasCooling
	Final   float64 // when HasFinal
	HotC    float64
	EndC    float64

	HasCooling, HasFinal bool
}

// Search is where the search for the peak begins: after the fast stir, and not
// before the block heats, so that lumps of the start count for nothing.
func (s Stages) Search() float64 { return max(s.Stir, s.Heating) }

// Bands of the stage rules, °C.
const (
	hotBand   = 3.0  // the hot stage reaches from the first to the last point this near the highest temperature
	rampBand  = 10.0 // the next stretch of the ramp, whose straight line meets the hold at the corner
	holdBand  = 1.0  // points of one hold lie this near its median
	endBand   = 1.5  // the final stage is this near the lowest temperature after cooling
	heatBand  = 2.0  // heating begins where the temperature leaves its start by this much
	leastHot  = 10.0 // less heating than this is none
	leastFall = 5.0  // less cooling than this is none
)

// stage divides the run. The hold's temperature is the median of the hot stage;
// its two corners are where straight lines through the ramps beside it meet
// that temperature, so a slow controller or an overshoot does not move them
// much. A run that was never heated is refused, unless its method is hot throughout, and one that was heated again from
// the cold: two runs under one name.
func (r *Trace) stage(Curve) {
	temp := median3(r.C)
	n := len(temp)
	top := hottest(temp)
	first := slices.IndexFunc(temp, func(c float64) bool { return c >= top-hotBand })
	s := Stages{Stir: r.T[0] + r.stirS()}
	start := smooth.Median(temp[:min(3, n)])
	if r.Method.StaysHot() && top-start < leastHot { // hot from the first point to the last
		s.Heating, s.Hot, s.HotC, s.EndC = r.T[0], r.T[0], smooth.Median(temp), temp[n-1]
		r.Stages = s
		return
	}
	if top-start < leastHot || first == 0 {
		r.refuse("no-heating", "temperature_C", 0, fmt.Sprintf("temperature goes from %.1f to at most %.1f °C", start, top),
			fmt.Sprintf("heating by at least %g °C", leastHot), "check the temperature column and its unit; a run at constant temperature has no pasting features")
		return
	}
	last := first // of the first hot stage, should there be two
	for i := first; i < n && temp[i] >= top-hotBand-rampBand; i++ {
		if temp[i] >= top-hotBand {
			last = i
		}
	}
	s.HotC = smooth.Median(temp[first : last+1])
	s.EndC = temp[n-1]

	cold := first
	for cold > 0 && temp[cold-1] > start+heatBand {
		cold--
	}
	s.Heating = r.T[max(0, cold-1)]
	low := first
	for low > cold && temp[low-1] >= top-hotBand-rampBand {
		low--
	}
	s.Hot = clamp(r.corner(temp, low, first, s.HotC, r.T[first]), r.T[low], r.T[last])

	if high := last + 1; high < n && temp[last+1+Lowest(temp[last+1:])] < s.HotC-leastFall {
		end := high
		for end < n && temp[end] >= top-hotBand-rampBand {
			end++
		}
		s.HasCooling = true
		s.Cooling = clamp(r.corner(temp, high, end, s.HotC, r.T[last]), s.Hot, r.T[last])
		if back := slices.IndexFunc(temp[high:], func(c float64) bool { return c >= top-hotBand }); back >= 0 {
			again := fmt.Sprintf("heated again to %.1f °C at %.0f s", temp[high+back], r.T[high+back])
			if coldest := temp[high+Lowest(temp[high:high+back+1])]; coldest < start+leastFall {
				r.refuse("two-runs", "temperature_C", high+back, again+fmt.Sprintf(", after it had cooled to %.1f °C", coldest), "one heating and one cooling",
					"two runs stand under one name: give each its own replicate or file")
				return
			}
			r.doubt("two-heatings", "temperature_C", high+back, n-1, temp[high+back], "°C", again, "one heating and one cooling", "only the first heating counts for the peak; look at the programme")
		}
		bottom := temp[high+Lowest(temp[high:])]
		end = high
		for temp[end] > bottom+endBand {
			end++
		}
		if r.T[n-1]-r.T[end] >= 10 {
			s.HasFinal, s.Final = true, r.T[end]
		}
	}
	r.Stages = s
}

// hottest is the temperature that the hot stage is measured from: the highest,
// unless the run overshot a hold by more than hotBand: then the hold's, which
// more than half of the points within rampBand of the highest lie beside.
func hottest(temp []float64) float64 {
	top := temp[Highest(temp)]
	hot, rest := 0, 0 // points near the highest: within hotBand of it, and below that
	for _, c := range temp {
		switch {
		case c >= top-hotBand:
			hot++
		case c >= top-rampBand:
			rest++
		}
	}
	if hot > rest { // the median of both is within hotBand: as in most runs
		return top
	}
	near := make([]float64, 0, len(temp))
	for _, c := range temp {
		if c >= top-rampBand {
			near = append(near, c)
		}
	}
	hold, beside := smooth.Median(near), 0
	for _, c := range near {
		if c >= hold-holdBand && c <= hold+holdBand {
			beside++
		}
	}
	if hold < top-hotBand && 2*beside > len(near) {
		return hold
	}
	return top
}

// corner is when the straight line through points from…to-1 reaches the level;
// otherwise stands in where fewer than two points or a flat line give none.
func (r *Trace) corner(temp []float64, from, to int, level, otherwise float64) float64 {
	if to-from < 2 {
		return otherwise
	}
	value, slope := smooth.Line(r.T[from:to], temp[from:to], r.T[from])
	if slope == 0 {
		return otherwise
	}
	return r.T[from] + (level-value)/slope
}

func clamp(v, low, high float64) float64 { return min(max(v, low), high) }

// median3 is the running median of three, which takes out a single stray reading.
func median3(v []float64) []float64 {
	out := slices.Clone(v)
	for i := 1; i+1 < len(v); i++ {
		out[i] = max(min(v[i-1], v[i]), min(max(v[i-1], v[i]), v[i+1]))
	}
	return out
}

// Programmed is the stages that the method's programme itself shows at the times
// of the record, by the rules that found the run's own: what the two differ by
// is no artefact of the rules. ok is false without a programme that heats.
func (r *Trace) Programmed() (s Stages, ok bool) {
	if !r.Method.HasProgramme() {
		return Stages{}, false
	}
	p := Trace{T: r.T, C: r.Method.TemperaturesAt(r.T), Method: r.Method}
	p.stage(Curve{})
	return p.Stages, !p.refused()
}
