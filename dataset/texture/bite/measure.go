package bite

import (
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/protocol"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// measure takes the readings of one record.
type measure struct {
	*record
	test   protocol.Test
	values map[string]float64
	parts  []Part
}

func (m *measure) take(bites []bite) {
	b := bites[0]
	m.checkFirst(b)
	greatest := m.f[b.peak]
	if m.test != protocol.Cutting {
		m.values[Hardness] = greatest
		if m.p.ContactAreaMM2 != nil {
			m.values[Stress] = greatest / *m.p.ContactAreaMM2 * megapascalToKilo
		}
	}
	if m.test != protocol.TwoBite {
		m.values[Firmness] = greatest
		m.work(b)
	}
	m.part("first stroke", b.from, m.t[b.turn])
	m.part("first withdrawal", m.t[b.turn], b.to)
	m.breaks(b, "first", true)
	down, up := m.strokes(b)
	switch {
	case m.test == protocol.Cutting:
	case !b.left:
		m.doubt("bite-unfinished", forceID, len(m.f)-1, "the record ends in the first bite", "a record until the probe is off the piece", "resilience, adhesiveness and whole areas are absent; record longer")
	default:
		if down > 0 {
			m.values[Resilience] = up / down
		}
		end := m.t[len(m.t)-1]
		if len(bites) > 1 {
			end = bites[1].from
		}
		m.adhesion(b.to, end)
	}
	m.second(bites)
}

// checkFirst compares the first bite with what a good record shows.
func (m *measure) checkFirst(b bite) {
	if !b.entered {
		m.doubt("starts-in-contact", forceID, 0, "the record begins at "+newtons(m.f[0]), "a record that begins before contact", "times and areas of the first bite are short; begin to record at the trigger or before")
	}
	if n := b.turn - b.first; n < sparse {
		m.doubt("sampling-slow", timeID, b.first, fmt.Sprintf("%d points in the first stroke", n), fmt.Sprintf("at least %d", sparse), "forces and areas are coarse; sample more often")
	}
	if m.d == nil || !m.timed || m.p.SpeedMMPerS == nil || b.turn <= b.first {
		return
	}
	speed, want := (m.d[b.turn]-m.d[b.first])/(m.t[b.turn]-m.t[b.first]), *m.p.SpeedMMPerS
	if math.Abs(speed-want) > speedShare*want {
		m.doubt("speed-off", distanceID, b.turn, fmt.Sprintf("the probe goes down at %.3g mm/s", speed), fmt.Sprintf("%g mm/s by protocol %s", want, m.p.ID), "force and areas depend on speed: repeat at the protocol's, or name the protocol that was run")
	}
}

// second takes what needs a second bite.
func (m *measure) second(bites []bite) {
	wanted := 1
	if m.test == protocol.TwoBite {
		wanted = 2
	}
	if len(bites) > wanted {
		m.doubt("bites-more", forceID, bites[wanted].peak, fmt.Sprintf("%d bites", len(bites)), fmt.Sprintf("%d in a test of the kind %s", wanted, m.test), "the first count; check the protocol and the record")
	}
	if wanted == 1 {
		return
	}
	if len(bites) < 2 {
		m.doubt("second-bite-missing", forceID, bites[0].peak, fmt.Sprintf("no second bite that reaches %g %% of the first", 100*bound), "two bites", "springiness, cohesiveness and what follows are absent: repeat the test")
		return
	}
	a, b := bites[0], bites[1]
	if m.f[b.peak] > stronger*m.f[a.peak] {
		m.doubt("second-bite-stronger", forceID, b.peak, fmt.Sprintf("%s in the second bite, %s in the first", newtons(m.f[b.peak]), newtons(m.f[a.peak])), "less than in the first", "a strand moved or the piece was not under the probe: repeat the test")
	}
	m.part("second stroke", b.from, m.t[b.turn])
	m.part("second withdrawal", m.t[b.turn], b.to)
	m.breaks(b, "second", false)
	turned := b.left || m.f[len(m.f)-1] < (1-bound)*m.f[b.peak]
	if !b.left {
		m.doubt("bite-unfinished", forceID, len(m.f)-1, "the record ends in the second bite", "a record until the probe is off the piece", "cohesiveness of whole areas is absent; record longer")
	}
	if turned {
		m.ratios(a, b)
	}
	switch m.p.Springiness {
	case protocol.ByDistance:
		m.alias(Springiness, SpringinessTravel)
	default:
		if first := m.t[a.turn] - a.from; turned && first > 0 && m.timed {
			m.values[Springiness] = (m.t[b.turn] - b.from) / first
		}
	}
}

// leastNet is the share of the first down-stroke's area that must be left after
// the withdrawal's is taken off: below it the difference is noise, and a ratio to
// it says nothing (ours).
const leastNet = 0.02

// ratios takes cohesiveness by its three conventions, and springiness by travel.
func (m *measure) ratios(a, b bite) {
	down1, up1 := m.strokes(a)
	down2, up2 := m.strokes(b)
	ratio := func(id string, over, under float64, there bool) {
		if there && under > 0 {
			m.values[id] = over / under
		}
	}
	ratio(CohesivenessDown, down2, down1, true)
	ratio(CohesivenessNet, down2-up2, down1-up1, a.left && b.left && down1-up1 > leastNet*down1)
	if m.d != nil {
		ratio(SpringinessTravel, m.d[b.turn]-smooth.Interpolate(m.t, m.d, b.from), m.d[a.turn]-smooth.Interpolate(m.t, m.d, a.from), true)
	}
	switch m.p.Cohesiveness {
	case protocol.Down:
		m.alias(Cohesiveness, CohesivenessDown)
	case protocol.Net:
		m.alias(Cohesiveness, CohesivenessNet)
	default:
		ratio(Cohesiveness, down2+up2, down1+up1, a.left && b.left)
	}
}

// alias reports a reading under the name whose convention the protocol chose.
func (m *measure) alias(id, from string) {
	if v, ok := m.values[from]; ok {
		m.values[id] = v
	} else {
		m.doubt("convention-not-met", id, -1, "no "+from+" on this record", "what the protocol's convention needs", "record the distance and both bites to their end")
	}
}

// strokes are the areas of a bite's two strokes, force above zero over time, N·s.
func (m *measure) strokes(b bite) (down, up float64) {
	turn := m.t[b.turn]
	return area(m.t, m.f, b.from, turn, 1), area(m.t, m.f, turn, b.to, 1)
}

// adhesion takes the stretch below zero around the lowest force between two
// times: its area and its greatest pull.
func (m *measure) adhesion(from, to float64) {
	i, j := index(m.t, from), index(m.t, to)
	if i >= j {
		return
	}
	low := i
	for k := i; k < j; k++ {
		if m.f[k] < m.f[low] {
			low = k
		}
	}
	if m.f[low] >= -max(m.floor(), adhesionShare*m.values[Hardness]) {
		m.note("no-adhesion", forceID, -1, "no force below zero behind the first bite: no adhesiveness", "")
		return
	}
	a, b := low, low
	for a > 0 && m.f[a-1] < 0 && m.t[a-1] >= from {
		a--
	}
	for b+1 < len(m.f) && m.f[b+1] < 0 && m.t[b+1] <= to {
		b++
	}
	start, end := max(from, m.t[max(a-1, 0)]), min(to, m.t[min(b+1, len(m.t)-1)])
	m.part("adhesion", start, end)
	sign := 1.0
	if m.p.AdhesivenessNegative {
		sign = -1
	}
	m.values[AdhesiveForce] = -m.f[low]
	if m.timed {
		m.values[Adhesiveness] = sign * area(m.t, m.f, start, end, -1)
	} else {
		m.doubt("speed-missing", timeID, -1, "no adhesiveness in N·s: "+secondsAreDistance, "times, or a speed", "export the time, or state speed_mm_per_s in the protocol")
	}
}

// work takes the work of the first stroke, N·mm: force over travel to the turning
// point or, without travel, force over the whole contact times the stated speed.
func (m *measure) work(b bite) {
	switch {
	case m.d != nil:
		w := 0.0
		for i := b.first + 1; i <= b.turn; i++ {
			w += (max(m.f[i], 0) + max(m.f[i-1], 0)) / 2 * (m.d[i] - m.d[i-1])
		}
		if w > 0 {
			m.values[FirmnessWork] = w
		}
	case m.p.SpeedMMPerS != nil && m.test == protocol.Cutting && b.left:
		m.values[FirmnessWork] = *m.p.SpeedMMPerS * area(m.t, m.f, b.from, b.to, 1)
	case m.p.SpeedMMPerS != nil && m.test == protocol.Compression:
		m.values[FirmnessWork] = *m.p.SpeedMMPerS * area(m.t, m.f, b.from, m.t[b.turn], 1)
	default:
		m.note("work-not-known", distanceID, -1, "no work: the record has no distances and the protocol no speed, or it ends in the cut", "export the distance, or state speed_mm_per_s in the protocol")
	}
}

// breaks looks for losses of force in a down-stroke. The greatest force before
// the first loss, where the force rises above it again, is the fracturability. A sudden one may as well be a strand that
// slipped, which force alone cannot tell.
func (m *measure) breaks(b bite, name string, first bool) {
	limit := max(breakShare*m.f[b.peak], 6*m.noise)
	top := b.first
	for i := b.first; i <= b.turn; i++ {
		if m.f[i] > m.f[top] {
			top = i
		}
		if m.f[top]-m.f[i] < limit {
			continue
		}
		if first && top < b.peak && m.test != protocol.Cutting {
			m.values[Fracturability] = m.f[top]
		}
		lasted := m.t[i] - m.t[top]
		if !m.p.Brittle && m.test != protocol.Cutting && (i-top <= 2 || lasted <= suddenShare*(m.t[b.turn]-b.from)) {
			m.add("slipped-strand", finding.Doubt, forceID, top, fmt.Sprintf("the force falls suddenly from %s at %.4g s of the %s stroke", newtons(m.f[top]), m.t[top], name),
				"a force that rises smoothly to the turning point", "a strand slipped or the piece broke: look at it, and repeat unless it is meant to break (brittle = true in the protocol)")
		}
		return
	}
}

func (m *measure) part(name string, from, to float64) {
	if to > from {
		m.parts = append(m.parts, Part{name, from, to})
	}
}

// index is the first point at or behind a time.
func index(t []float64, at float64) int {
	i, _ := slices.BinarySearch(t, at)
	return i
}

// area is the integral of the force over time between two times by trapezoids,
// of the part above zero (sign 1) or below (sign −1), as a positive figure.
// Segments are cut at the limits and at zero.
func area(t, f []float64, from, to, sign float64) float64 {
	if to <= from {
		return 0
	}
	sum := 0.0
	t0, f0 := from, sign*smooth.Interpolate(t, f, from)
	for i := index(t, from); ; i++ {
		last := i >= len(t) || t[i] >= to
		t1 := to
		if !last {
			t1 = t[i]
		}
		f1 := sign * smooth.Interpolate(t, f, t1)
		sum += above(f0, f1) * (t1 - t0)
		if last {
			return sum
		}
		t0, f0 = t1, f1
	}
}

// above is the mean of the part above zero of a straight line from a to b.
func above(a, b float64) float64 {
	switch {
	case a >= 0 && b >= 0:
		return (a + b) / 2
	case a <= 0 && b <= 0:
		return 0
	case a > 0:
		return a * a / (a - b) / 2
	}
	return b * b / (b - a) / 2
}
