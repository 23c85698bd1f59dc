package bite

import (
	"fmt"
	"math"
	"slices"
)

// bite is one stretch of contact. from and to are when contact begins and ends;
// first is the first point behind from, last the last one before to. peak and
// turn are points; entered and left say whether the record shows both ends.
type bite struct {
	from, to          float64
	first, last       int
	peak, turn        int
	entered, left     bool
	detected, dropped int // where the force rose above and fell below the threshold
}

// floor is the force that cannot be told from none, N.
func (r *record) floor() float64 { return 3 * r.noise }

// bites finds the bites of the record, in order of time, and refuses a record
// without one.
func (r *record) bites() []bite {
	top := highest(r.f)
	most := r.f[top]
	if low := slices.Min(r.f); -low > 3*most {
		r.refuse("force-negative", forceID, top, fmt.Sprintf("forces from %.4g to %.4g N", low, most), "compression above zero", "turn the sign: factor = -1 for the column in an import map")
		return nil
	}
	threshold := max(contactShare*most, 5*r.noise)
	if r.p.TriggerN != nil {
		threshold = *r.p.TriggerN
	}
	if most <= max(10*r.noise, threshold) || most <= 0 {
		r.refuse("no-bite", forceID, top, "the greatest force is "+newtons(most), "a force that rises clearly above trigger and noise", "check the column and its unit; the probe may have missed the piece")
		return nil
	}
	var out []bite
	for _, s := range r.contacts(threshold) {
		b := bite{detected: s[0], dropped: s[1]}
		b.peak = s[0] + highest(r.f[s[0]:s[1]+1])
		if r.f[b.peak] >= bound*most {
			out = append(out, b)
		}
	}
	for i := range out {
		end := len(r.f)
		if i+1 < len(out) {
			end = out[i+1].detected
		}
		r.ends(&out[i], end, i > 0)
	}
	r.checkTravel(out)
	for i := range out {
		end := len(r.f)
		if i+1 < len(out) {
			end = out[i+1].first
		}
		r.turning(&out[i], end)
		if r.checkTop(out[i]); r.refused() {
			break
		}
	}
	if len(out) == 1 && !out[0].entered && !out[0].left {
		r.refuse("no-bite", forceID, 0, "contact from the first point to the last, or a force that does not change", "a record that begins before the bite and ends behind it", "check the column; record the whole test")
	}
	return out
}

// contacts are the stretches [i, j] of points above the threshold. Two with a
// short gap in which the force never falls below zero, or while the probe is
// still going down, are one: the piece broke in between.
func (r *record) contacts(threshold float64) (out [][2]int) {
	for i := 0; i < len(r.f); i++ {
		if r.f[i] <= threshold {
			continue
		}
		j := i
		for j+1 < len(r.f) && r.f[j+1] > threshold {
			j++
		}
		if n := len(out); n > 0 {
			a, b := out[n-1][0], out[n-1][1]
			gap := r.t[i] - r.t[b]
			if gap < 0.1*(r.t[b]-r.t[a]) && slices.Min(r.f[b:i]) >= -r.floor() {
				out[n-1][1] = j
				i = j
				continue
			}
		}
		out = append(out, [2]int{i, j})
		i = j
	}
	return out
}

// ends finds where contact begins and ends. With a stated trigger it begins where the
// force passes it, as the instrument counts; else where the rise before the
// threshold, extended as a straight line, leaves zero. It ends where the force
// is back at zero, not beyond point end.
func (r *record) ends(b *bite, end int, later bool) {
	i := b.detected
	if r.p.TriggerN == nil {
		for i > 0 && r.f[i-1] > r.floor() && r.f[i-1] < r.f[i] {
			i--
		}
	}
	b.first, b.from, b.entered = i, r.t[i], true
	switch {
	case i == 0:
		b.entered = later || r.f[0] <= startShare*r.f[b.peak]
	case r.p.TriggerN != nil:
		b.from = crossing(r.t[i-1], r.t[i], r.f[i-1]-*r.p.TriggerN, r.f[i]-*r.p.TriggerN)
	case i+1 < len(r.f) && r.f[i+1] > r.f[i]:
		b.from = max(r.t[i-1], r.t[i]-r.f[i]*(r.t[i+1]-r.t[i])/(r.f[i+1]-r.f[i]))
	}
	j := b.dropped
	for j+1 < end && r.f[j+1] > r.floor() {
		j++
	}
	b.last, b.to, b.left = j, r.t[j], j+1 < end || end < len(r.f)
	if j+1 < end {
		b.to = crossing(r.t[j], r.t[j+1], r.f[j], r.f[j+1])
	}
}

// crossing is where the straight line from (t0, a) to (t1, b) is zero; t1 if it
// is not yet.
func crossing(t0, t1, a, b float64) float64 {
	if a*b > 0 || a == b {
		return t1
	}
	return t0 + (t1-t0)*a/(a-b)
}

// checkTravel turns the travel so that it grows downwards, and drops one that
// does not move with the first bite.
func (r *record) checkTravel(bites []bite) {
	if r.d == nil || len(bites) == 0 {
		return
	}
	b := bites[0]
	low, high := slices.Min(r.d), slices.Max(r.d)
	down := r.d[b.peak] - r.d[b.first]
	if math.Abs(down) <= 0.01*(high-low) || high == low {
		r.doubt("distance-still", distanceID, b.peak, fmt.Sprintf("the distance goes from %.4g to %.4g mm while the force rises", r.d[b.first], r.d[b.peak]), "a probe that moves", "distances were not used; check the column")
		r.d = nil
		return
	}
	if down < 0 {
		for i := range r.d {
			r.d[i] = -r.d[i]
		}
	}
}

// turning finds the end of the down-stroke: where the travel is greatest, or the
// force where there is no travel.
func (r *record) turning(b *bite, end int) {
	b.turn = b.peak
	if r.d == nil {
		return
	}
	d := r.d[b.first:min(end, b.last+1)]
	deepest := slices.Max(d)
	near := deepest - 1e-3*(deepest-d[0])
	b.turn = b.first + slices.IndexFunc(d, func(v float64) bool { return v >= near })
	if b.turn <= b.first {
		b.turn = b.peak
	}
}

// checkTop refuses a force that stands still at the top after a steep rise: the
// load cell or the amplifier was at the end of its range.
func (r *record) checkTop(b bite) {
	most := r.f[b.peak]
	end := b.peak
	for end+1 < len(r.f) && r.f[end+1] == most {
		end++
	}
	if end-b.peak+1 < flatTop || b.peak < b.first+2 {
		return
	}
	rise := (most - r.f[b.peak-2]) / (r.t[b.peak] - r.t[b.peak-2])
	if rise >= flatRise*most/(r.t[b.peak]-b.from) {
		r.refuse("saturated", forceID, b.peak, fmt.Sprintf("%d equal readings of %s from %.4g s, after a steep rise", end-b.peak+1, newtons(most), r.t[b.peak]), "a force within the instrument's range",
			"the true force is higher: repeat with a larger load cell or less under the probe")
	}
}

// highest is the index of the first greatest value.
func highest(x []float64) int {
	top := 0
	for i, v := range x {
		if v > x[top] {
			top = i
		}
	}
	return top
}

// topShare of the travel is how near to the top of its way a probe counts as waiting.
const topShare = 0.005

// ran reads travel, speed and pause off the record.
func (r *record) ran(bites []bite) (out Ran) {
	if r.d == nil || bites[0].turn <= bites[0].first {
		return out
	}
	a := bites[0]
	travel := r.d[a.turn] - r.d[a.first]
	out.TravelMM = &travel
	if !r.timed || r.fromSpeed {
		return out
	}
	speed := travel / (r.t[a.turn] - r.t[a.first])
	out.SpeedMMPerS = &speed
	if len(bites) < 2 {
		return out
	}
	between := r.d[a.turn:bites[1].turn]
	low := slices.Min(between)
	limit := low + topShare*(r.d[a.turn]-low)
	i := a.turn + slices.IndexFunc(between, func(d float64) bool { return d <= limit })
	j := i
	for j+1 < bites[1].turn && r.d[j+1] <= limit {
		j++
	}
	pause := r.t[j] - r.t[i]
	out.PauseS = &pause
	return out
}
