package pasting

import (
	"fmt"
	"slices"
	"sort"

	"flourcast/finding"
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
	endBand   = 1.5  // the final stage is this near the lowest temperature after cooling
	heatBand  = 2.0  // heating begins where the temperature leaves its start by this much
	leastHot  = 10.0 // less heating than this is none
	leastFall = 5.0  // less cooling than this is none
)

// stage divides the run. The hold's temperature is the median of the hot stage;
// its two corners are where straight lines through the ramps beside it meet
// that temperature, so a slow controller or an overshoot does not move them
// much. ok is false when the run was never heated.
func (r *record) stage() (Stages, bool) {
	temp := median3(r.temp)
	n := len(temp)
	top := temp[highest(temp)]
	first := slices.IndexFunc(temp, func(c float64) bool { return c >= top-hotBand })
	s := Stages{Stir: r.t[0] + r.stirS}
	start := smooth.Median(temp[:min(3, n)])
	if top-start < leastHot || first == 0 {
		r.refuse("no-heating", "temperature_C", 0, fmt.Sprintf("temperature goes from %.1f to at most %.1f °C", start, top),
			fmt.Sprintf("heating by at least %g °C", leastHot), "check the temperature column and its unit; a run at constant temperature has no pasting features")
		return s, false
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
	s.Heating = r.t[max(0, cold-1)]
	low := first
	for low > cold && temp[low-1] >= top-hotBand-rampBand {
		low--
	}
	s.Hot = clamp(r.corner(temp, low, first, s.HotC, r.t[first]), r.t[low], r.t[last])

	if high := last + 1; high < n && temp[last+1+lowest(temp[last+1:])] < s.HotC-leastFall {
		end := high
		for end < n && temp[end] >= top-hotBand-rampBand {
			end++
		}
		s.HasCooling = true
		s.Cooling = clamp(r.corner(temp, high, end, s.HotC, r.t[last]), s.Hot, r.t[last])
		if back := slices.IndexFunc(temp[high:], func(c float64) bool { return c >= top-hotBand }); back >= 0 {
			r.add("two-heatings", finding.Doubt, "temperature_C", high+back, fmt.Sprintf("heated again to %.1f °C at %.0f s", temp[high+back], r.t[high+back]),
				"one heating and one cooling", "look whether two runs stand in one file; only the first heating counts for the peak")
		}
		bottom := temp[high+lowest(temp[high:])]
		end = high
		for temp[end] > bottom+endBand {
			end++
		}
		if r.t[n-1]-r.t[end] >= 10 {
			s.HasFinal, s.Final = true, r.t[end]
		}
	}
	return s, true
}

// corner is when the straight line through points from…to-1 reaches the level;
// otherwise stands in where fewer than two points or a flat line give none.
func (r *record) corner(temp []float64, from, to int, level, otherwise float64) float64 {
	if to-from < 2 {
		return otherwise
	}
	value, slope := smooth.Line(r.t[from:to], temp[from:to], r.t[from])
	if slope == 0 {
		return otherwise
	}
	return r.t[from] + (level-value)/slope
}

// from is the index of the first point at or after a time.
func (r *record) from(timeS float64) int { return sort.SearchFloat64s(r.t, timeS) }

// after is the index behind the last point at or before a time.
func (r *record) after(timeS float64) int {
	return sort.Search(len(r.t), func(i int) bool { return r.t[i] > timeS })
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
