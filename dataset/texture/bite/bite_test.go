package bite

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/protocol"
	"flourcast/finding"
)

// corner is a point of a force record made of straight lines.
type corner struct{ t, f float64 }

// triangles is the two-bite record worked out by hand: first bite up 2 s to 10 N
// and down 1 s, below zero a triangle of 0.4 N and 0.5 s, second bite up 1.8 s to
// 9 N and down 0.8 s. A1 = 10 + 5, A2 = 8.1 + 3.6.
var triangles = []corner{{0, 0}, {2, 10}, {3, 0}, {3.25, -0.4}, {3.5, 0}, {6, 0}, {7.8, 9}, {8.6, 0}, {10, 0}}

// byHand are its readings, computed by us from the definitions of Bourne 1978,
// Food Technol 32(7):62, and Peleg 1976, J Food Sci 41:721.
var byHand = map[string]float64{Hardness: 10, Cohesiveness: 11.7 / 15, CohesivenessDown: 0.81, CohesivenessNet: 0.9, Springiness: 0.9,
	Resilience: 0.5, Adhesiveness: 0.1}

// sample draws straight lines between corners every dt seconds.
func sample(corners []corner, dt float64) Curve {
	var c Curve
	for k := 0; ; k++ {
		t := float64(k) * dt
		if t > corners[len(corners)-1].t+1e-9 {
			return c
		}
		i := 1
		for i < len(corners)-1 && corners[i].t < t {
			i++
		}
		a, b := corners[i-1], corners[i]
		c.TimeS, c.ForceN = append(c.TimeS, t), append(c.ForceN, a.f+(b.f-a.f)*(t-a.t)/(b.t-a.t))
	}
}

func (c Curve) copy() Curve {
	return Curve{slices.Clone(c.TimeS), slices.Clone(c.ForceN), slices.Clone(c.DistanceMM), slices.Clone(c.Rows), c.At}
}

var twoBites = protocol.Protocol{ID: "two", Test: protocol.TwoBite, Cohesiveness: protocol.Whole, Springiness: protocol.ByTime}

func codes(fl finding.List) string {
	var out []string
	for _, f := range fl {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

func near(t *testing.T, what string, b Bites, want map[string]float64, tolerance float64) {
	t.Helper()
	for id, w := range want {
		if got, ok := b.Get(id); !ok || math.Abs(got-w) > tolerance*math.Max(1, math.Abs(w)) {
			t.Errorf("%s: %s is %.6g (there: %v), want %.6g", what, id, got, ok, w)
		}
	}
}

// TestTriangles: the record by hand at several sampling rates, on and off the
// corners, with an idle lead, an untared and drifting load cell.
func TestTriangles(t *testing.T) {
	for name, c := range map[string]struct {
		dt, lead, offset, drift, tolerance float64
		codes                              string
	}{
		"fine":           {0.005, 0, 0, 0, 1e-9, ""},
		"50 per second":  {0.02, 0, 0, 0, 1e-3, ""}, // 3.25 s falls between two points
		"odd step":       {0.0137, 0, 0, 0, 0.02, ""},
		"coarse":         {0.1, 0, 0, 0, 0.02, ""}, // the small triangle has five points
		"lead":           {0.005, 1.5, 0, 0, 1e-9, ""},
		"untared":        {0.005, 1.5, 2, 0, 1e-9, "baseline-offset"},
		"untared below":  {0.005, 1.5, -3, 0, 1e-9, "baseline-offset"},
		"drift":          {0.005, 1.5, 0, 0.08, 1e-6, "baseline-drift"},
		"offset, drift":  {0.01, 1.5, 1, -0.1, 2e-3, "baseline-drift baseline-offset"},
		"little of both": {0.005, 1.5, 0.05, 0.01, 1e-6, ""},
	} {
		shifted := []corner{{0, 0}}
		for _, k := range triangles {
			if k.t > 0 || c.lead > 0 {
				shifted = append(shifted, corner{k.t + c.lead, k.f})
			}
		}
		curve := sample(shifted, c.dt)
		for i, at := range curve.TimeS {
			curve.ForceN[i] += c.offset + c.drift*at
		}
		b, fl := Extract(curve, twoBites)
		if !b.OK() || codes(fl) != c.codes {
			t.Errorf("%s: findings %v", name, fl)
		}
		near(t, name, b, byHand, c.tolerance)
		near(t, name, b, map[string]float64{AdhesiveForce: 0.4}, max(1.7*c.dt, c.tolerance)) // its tip falls between points
		if _, ok := b.Get(Fracturability); ok {
			t.Errorf("%s: fracturability without a break", name)
		}
		if _, ok := b.Get(Firmness); ok {
			t.Errorf("%s: firmness of a two-bite test", name)
		}
	}
}

// TestCurvedBites: strokes of half a sine, whose areas are 2·F·T/π.
func TestCurvedBites(t *testing.T) {
	var c Curve
	half := func(at, from, length, force float64) float64 {
		if at < from || at > from+length {
			return 0
		}
		return force * math.Sin(math.Pi*(at-from)/length)
	}
	for at := 0.0; at < 12; at += 0.004 {
		c.TimeS = append(c.TimeS, at)
		c.ForceN = append(c.ForceN, half(at, 1, 3, 5)+half(at, 6, 2.4, 3.5)-half(at, 4, 0.8, 0.3))
	}
	b, _ := Extract(c, twoBites)
	near(t, "sines", b, map[string]float64{Hardness: 5, Cohesiveness: 3.5 * 2.4 / 15, CohesivenessDown: 3.5 * 2.4 / 15, Springiness: 0.8, Resilience: 1,
		Adhesiveness: 2 * 0.3 * 0.8 / math.Pi, AdhesiveForce: 0.3}, 3e-3)
}

// travel gives the record by hand a probe at 1 mm/s: down 2 mm, up, and down
// again; contact of the second bite is 0.2 mm deeper.
func travel(c Curve) Curve {
	for _, at := range c.TimeS {
		d := 0.0
		switch {
		case at <= 2:
			d = at
		case at <= 4:
			d = 4 - at
		case at <= 5.8:
			d = 0
		case at <= 7.8:
			d = at - 5.8
		default:
			d = max(9.8-at, 0)
		}
		c.DistanceMM = append(c.DistanceMM, d)
	}
	return c
}

func TestTravel(t *testing.T) {
	c := travel(sample(triangles, 0.005))
	speed, area := 1.0, 50.0
	p := twoBites
	p.SpeedMMPerS, p.ContactAreaMM2 = &speed, &area
	want := map[string]float64{SpringinessTravel: 0.9, Stress: 200}
	for id, v := range byHand {
		want[id] = v
	}
	b, fl := Extract(c, p)
	if len(fl) > 0 {
		t.Error(fl)
	}
	near(t, "down", b, want, 2e-3)

	up := c.copy() // the same, as height above the plate
	for i := range up.DistanceMM {
		up.DistanceMM[i] = 30 - up.DistanceMM[i]
	}
	b, fl = Extract(up, p)
	if len(fl) > 0 {
		t.Error(fl)
	}
	near(t, "height", b, want, 2e-3)

	speed = 2
	if _, fl = Extract(c, p); codes(fl) != "speed-off" {
		t.Errorf("wrong speed: %v", fl)
	}
	speed = 1
	untimed := c.copy()
	untimed.TimeS = nil
	b, fl = Extract(untimed, p)
	if codes(fl) != "time-from-speed" {
		t.Error(fl)
	}
	near(t, "no times", b, map[string]float64{Hardness: 10, Cohesiveness: 0.78, Springiness: 0.9, SpringinessTravel: 0.9, Adhesiveness: 0.1}, 0.01)

	p.SpeedMMPerS = nil
	b, fl = Extract(untimed, p)
	if codes(fl) != "speed-missing" {
		t.Error(fl)
	}
	near(t, "no times, no speed", b, map[string]float64{Cohesiveness: 0.78, SpringinessTravel: 0.9}, 0.01)
	for _, id := range []string{Adhesiveness, Springiness} {
		if _, ok := b.Get(id); ok {
			t.Errorf("%s without times", id)
		}
	}

	still := c.copy()
	for i := range still.DistanceMM {
		still.DistanceMM[i] = 7
	}
	b, fl = Extract(still, twoBites)
	if codes(fl) != "distance-still" {
		t.Error(fl)
	}
	near(t, "still", b, byHand, 1e-6)
}

// TestConventions: the protocol chooses what cohesiveness, springiness and the
// sign of adhesiveness mean; the other figures do not change.
func TestConventions(t *testing.T) {
	c := travel(sample(triangles, 0.005))
	for i := range c.DistanceMM { // slower on the way to the second turning point
		if c.TimeS[i] > 5.8 {
			c.DistanceMM[i] *= 0.95
		}
	}
	p := twoBites
	p.Cohesiveness, p.Springiness, p.AdhesivenessNegative = protocol.Down, protocol.ByDistance, true
	b, _ := Extract(c, p)
	near(t, "down", b, map[string]float64{Cohesiveness: 0.81, CohesivenessDown: 0.81, Springiness: 0.855, SpringinessTravel: 0.855, Adhesiveness: -0.1, AdhesiveForce: 0.4}, 2e-3)
	p.Cohesiveness = protocol.Net
	b, _ = Extract(c, p)
	near(t, "net", b, map[string]float64{Cohesiveness: 0.9}, 1e-3)
	c.DistanceMM = nil
	b, fl := Extract(c, p)
	if _, ok := b.Get(Springiness); ok || codes(fl) != "convention-not-met" {
		t.Errorf("springiness by distance without one: %v", fl)
	}
	trigger := 1.0 // 0.2 s of each down-stroke's start do not count
	p = twoBites
	p.TriggerN = &trigger
	b, _ = Extract(sample(triangles, 0.005), p)
	near(t, "trigger", b, map[string]float64{Hardness: 10, Springiness: 1.6 / 1.8, CohesivenessDown: (8.1 - 0.1) / (10 - 0.1)}, 1e-6)
}

// TestOneBite: a cut and a compression of the first triangle alone.
func TestOneBite(t *testing.T) {
	one := sample([]corner{{0, 0}, {2, 10}, {3, 0}, {3.25, -0.4}, {3.5, 0}, {6, 0}}, 0.005)
	speed := 0.5
	cut := protocol.Protocol{ID: "cut", Test: protocol.Cutting, SpeedMMPerS: &speed}
	b, fl := Extract(one, cut)
	if len(fl) > 0 || b.Count() != 1 || len(b.Values()) != 2 {
		t.Errorf("cut: %v %v", b.Values(), fl)
	}
	near(t, "cut", b, map[string]float64{Firmness: 10, FirmnessWork: 7.5}, 1e-9)
	withTravel := travel(one.copy())
	b, _ = Extract(withTravel, protocol.Protocol{ID: "cut", Test: protocol.Cutting})
	near(t, "cut with travel", b, map[string]float64{Firmness: 10, FirmnessWork: 10}, 0.01)
	press := protocol.Protocol{ID: "press", Test: protocol.Compression, SpeedMMPerS: &speed}
	b, _ = Extract(one, press)
	near(t, "compression", b, map[string]float64{Firmness: 10, Hardness: 10, FirmnessWork: 5, Resilience: 0.5, Adhesiveness: 0.1}, 1e-9)

	b, fl = Extract(one, protocol.Unknown("x"))
	if codes(fl) != "one-bite work-not-known" || b.Test() != protocol.Compression {
		t.Errorf("not stated: %v", fl)
	}
	near(t, "not stated", b, map[string]float64{Firmness: 10, Hardness: 10, Resilience: 0.5}, 1e-9)
}

// change is the record by hand with something wrong.
func change(f func(c *Curve)) Curve {
	c := sample(triangles, 0.005)
	f(&c)
	return c
}

func TestFindings(t *testing.T) {
	cut := func(at float64) Curve {
		return change(func(c *Curve) { n := index(c.TimeS, at); c.TimeS, c.ForceN = c.TimeS[:n], c.ForceN[:n] })
	}
	each := func(f func(t, v float64) float64) Curve {
		return change(func(c *Curve) {
			for i, at := range c.TimeS {
				c.ForceN[i] = f(at, c.ForceN[i])
			}
		})
	}
	for name, x := range map[string]struct {
		c       Curve
		codes   string
		ok      bool
		has     []string
		lacks   []string
		fracN   float64
		brittle bool
	}{
		"failed second bite": {each(func(t, v float64) float64 {
			if t > 6 {
				return v / 20
			}
			return v
		}), "second-bite-missing", true, []string{Hardness, Resilience, Adhesiveness}, []string{Cohesiveness, CohesivenessDown, Springiness, Firmness}, 0, false},
		"ends in the second bite":  {cut(8.4), "bite-unfinished", true, []string{CohesivenessDown, Springiness}, []string{Cohesiveness, CohesivenessNet}, 0, false},
		"ends before the second":   {cut(7), "bite-unfinished", true, []string{Hardness}, []string{Cohesiveness, CohesivenessDown, Springiness}, 0, false},
		"ends in the first bite":   {cut(2.5), "bite-unfinished second-bite-missing", true, []string{Hardness}, []string{Resilience, Adhesiveness}, 0, false},
		"saturated":                {each(func(_, v float64) float64 { return min(v, 7) }), "saturated", false, nil, []string{Hardness}, 0, false},
		"no adhesion":              {each(func(_, v float64) float64 { return max(v, 0) }), "no-adhesion", true, []string{Resilience}, []string{Adhesiveness, AdhesiveForce}, 0, false},
		"compression written down": {each(func(_, v float64) float64 { return -v }), "force-negative", false, nil, []string{Hardness}, 0, false},
		"nothing":                  {each(func(_, _ float64) float64 { return 0 }), "no-bite", false, nil, []string{Hardness}, 0, false},
		"constant":                 {each(func(_, _ float64) float64 { return 4 }), "baseline-unseen no-bite", false, nil, []string{Hardness}, 0, false},
		"second bite stronger": {each(func(t, v float64) float64 {
			if t > 6 {
				return v * 1.3
			}
			return v
		}), "second-bite-stronger", true, []string{Cohesiveness}, nil, 0, false},
		"slipped strand": {each(func(t, v float64) float64 { // one of five strands leaves the probe
			if t > 1.5 && t < 2.9 {
				return v * 0.93
			}
			return v
		}), "slipped-strand", true, []string{Hardness}, nil, 7.5, false},
		"meant to break": {each(func(t, v float64) float64 {
			if t > 1.5 && t < 2.9 {
				return v * 0.93
			}
			return v
		}), "", true, []string{Hardness}, nil, 7.5, true},
		"slipped in the second stroke": {each(func(t, v float64) float64 {
			if t > 7.2 && t < 8.5 {
				return v * 0.8
			}
			return v
		}), "slipped-strand", true, []string{Hardness}, []string{Fracturability}, 0, false},
		"slow break": {each(func(t, v float64) float64 { // gives way over 0.4 s
			return v - 3*math.Max(0, 1-math.Abs(t-1.2)/0.4)
		}), "", true, []string{Hardness}, nil, 4, false},
		"begins in contact": {change(func(c *Curve) { c.TimeS, c.ForceN = c.TimeS[200:], c.ForceN[200:] }), "starts-in-contact", true, []string{Hardness}, nil, 0, false},
		"spike":             {change(func(c *Curve) { c.ForceN[1000] = 40 }), "spike", true, []string{Cohesiveness}, nil, 0, false},
		"two records": {change(func(c *Curve) {
			c.TimeS, c.ForceN = append(c.TimeS, c.TimeS...), append(c.ForceN, c.ForceN...)
		}), "time-backwards", false, nil, nil, 0, false},
		"time repeated":   {change(func(c *Curve) { c.TimeS[700] = c.TimeS[699] }), "time-repeated", true, []string{Cohesiveness}, nil, 0, false},
		"time in minutes": {change(func(c *Curve) { roundTo(c.TimeS, 0.1) }), "time-repeated", false, nil, nil, 0, false},
		"short":           {change(func(c *Curve) { c.TimeS, c.ForceN = c.TimeS[:19], c.ForceN[:19] }), "curve-short", false, nil, nil, 0, false},
		"ragged":          {change(func(c *Curve) { c.TimeS = c.TimeS[:30] }), "curve-ragged", false, nil, nil, 0, false},
		"NaN":             {change(func(c *Curve) { c.ForceN[5] = math.NaN() }), "not-finite", false, nil, nil, 0, false},
		"infinite":        {change(func(c *Curve) { c.TimeS[5] = math.Inf(-1) }), "not-finite", false, nil, nil, 0, false},
		"no time":         {change(func(c *Curve) { c.TimeS = nil }), "time-missing", false, nil, nil, 0, false},
		"empty":           {Curve{}, "curve-short", false, nil, nil, 0, false},
		"three bites": {sample(append(slices.Clone(triangles), corner{10.5, 8}, corner{11, 0}, corner{12, 0}), 0.005), "bites-more", true,
			[]string{Cohesiveness}, nil, 0, false},
	} {
		t.Run(name, func(t *testing.T) {
			p := twoBites
			p.Brittle = x.brittle
			b, fl := Extract(x.c, p)
			if codes(fl) != x.codes || b.OK() != x.ok {
				t.Fatalf("OK %v, findings %v, want %s", b.OK(), fl, x.codes)
			}
			for _, f := range fl {
				if f.Severity != finding.Note && (f.Want == "" || f.Do == "") {
					t.Errorf("no cure: %v", f)
				}
			}
			for _, id := range x.has {
				if _, ok := b.Get(id); !ok {
					t.Errorf("%s is absent", id)
				}
			}
			for _, id := range x.lacks {
				if v, ok := b.Get(id); ok {
					t.Errorf("%s is %g", id, v)
				}
			}
			if got, ok := b.Get(Fracturability); x.fracN > 0 && (!ok || math.Abs(got-x.fracN) > 0.02*x.fracN) {
				t.Errorf("fracturability %g, want %g", got, x.fracN)
			}
		})
	}
}

func roundTo(x []float64, step float64) {
	for i := range x {
		x[i] = math.Round(x[i]/step) * step
	}
}

// TestNoise: readings of a noisy record stay within what the noise explains, and
// nothing is found that is not there.
func TestNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	for k := range 40 {
		c := sample(append([]corner{{0, 0}}, shift(triangles, 1.5)...), 0.01)
		for i := range c.ForceN {
			c.ForceN[i] += 0.02 * r.NormFloat64()
		}
		b, fl := Extract(c, twoBites)
		if len(fl) > 0 {
			t.Fatalf("record %d: %v", k, fl)
		}
		near(t, "noise", b, map[string]float64{Hardness: 10, Cohesiveness: 0.78, CohesivenessDown: 0.81, Springiness: 0.9, Adhesiveness: 0.1}, 0.015)
		near(t, "noise", b, map[string]float64{Resilience: 0.5, CohesivenessNet: 0.9, AdhesiveForce: 0.4}, 0.08) // few points, or a difference of differences
	}
}

func shift(corners []corner, by float64) []corner {
	out := slices.Clone(corners)
	for i := range out {
		out[i].t += by
	}
	return out
}

// TestElasticBiteHasNoNetCohesiveness: where the withdrawal gives back all that
// the stroke took, there is nothing to divide by, and the reading is absent.
func TestElasticBiteHasNoNetCohesiveness(t *testing.T) {
	c := sample([]corner{{0, 0}, {1, 0}, {2, 10}, {3, 0}, {3.5, -1}, {4, 0}, {6, 0}, {6.8, 9}, {7.8, 0}, {9, 0}}, 0.01)
	b, fl := Extract(c, twoBites)
	if !b.OK() {
		t.Fatal(fl)
	}
	if v, ok := b.Get(CohesivenessNet); ok {
		t.Errorf("net cohesiveness %g of an elastic bite, want none", v)
	}
	if _, ok := b.Get(CohesivenessDown); !ok {
		t.Error("the down-strokes' cohesiveness is gone too")
	}
}

// TestScalingAndShifting: forces times k scale the readings in N by k and leave
// ratios; a shift of time changes nothing; a stretch of time stretches areas.
func TestScalingAndShifting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		up := rapid.Float64Range(0.4, 3).Draw(t, "up")
		step := min(up, 1) * rapid.Float64Range(0.004, 0.01).Draw(t, "step")
		h := rapid.Float64Range(0.5, 20).Draw(t, "hardness")
		second := rapid.Float64Range(0.3, 0.99).Draw(t, "second")
		stick := rapid.Float64Range(0.01, 0.2).Draw(t, "stick")
		c := sample([]corner{{0, 0}, {1, 0}, {1 + up, h}, {2 + up, 0}, {2.5 + up, -stick * h}, {3 + up, 0}, {5 + up, 0}, {5 + 1.8*up, second * h}, {6 + 1.8*up, 0}, {7 + 2*up, 0}}, step)
		b, fl := Extract(c, twoBites)
		if !b.OK() || len(fl) > 0 {
			t.Fatal(fl)
		}
		k := rapid.Float64Range(1e-3, 1e3).Draw(t, "k")
		by := rapid.Float64Range(-500, 500).Draw(t, "by")
		scaled := c.copy()
		for i := range scaled.ForceN {
			scaled.ForceN[i] *= k
			scaled.TimeS[i] += by
		}
		s, fl := Extract(scaled, twoBites)
		if len(fl) > 0 {
			t.Fatal(fl)
		}
		for _, v := range b.Values() {
			want := v.Value
			if v.ID == Hardness || v.ID == Adhesiveness || v.ID == AdhesiveForce {
				want *= k
			}
			// 1e-12: a net area may cancel to nothing but rounding.
			if got, ok := s.Get(v.ID); !ok || math.Abs(got-want) > 1e-7*math.Abs(want)+1e-12*max(1, k) {
				t.Fatalf("%s: %g became %g, want %g", v.ID, v.Value, got, want)
			}
		}
		near := func(id string, want float64) {
			if got, _ := b.Get(id); math.Abs(got-want) > 0.05*want+2*step {
				t.Fatalf("%s %g, want %g", id, got, want)
			}
		}
		near(Springiness, 0.8)
		near(Resilience, 1/up)
		near(CohesivenessDown, 0.8*second)
	})
}

// TestRecordIsNotChanged: Extract works on copies.
func TestRecordIsNotChanged(t *testing.T) {
	c := travel(sample(triangles, 0.01))
	for i := range c.ForceN {
		c.ForceN[i] += 1
		c.DistanceMM[i] = 9 - c.DistanceMM[i]
	}
	c.ForceN[300] = 60
	before := c.copy()
	Extract(c, twoBites)
	if !slices.Equal(c.ForceN, before.ForceN) || !slices.Equal(c.TimeS, before.TimeS) || !slices.Equal(c.DistanceMM, before.DistanceMM) {
		t.Error("the caller's curve was changed")
	}
}

func TestParts(t *testing.T) {
	b, _ := Extract(sample(triangles, 0.005), twoBites)
	want := []Part{{"first stroke", 0, 2}, {"first withdrawal", 2, 3}, {"adhesion", 3, 3.5}, {"second stroke", 6, 7.8}, {"second withdrawal", 7.8, 8.6}}
	got := b.Parts()
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for i := range want {
		if got[i].Name != want[i].Name || math.Abs(got[i].FromS-want[i].FromS) > 0.006 || math.Abs(got[i].ToS-want[i].ToS) > 0.006 {
			t.Errorf("%v, want %v", got[i], want[i])
		}
	}
}

// FuzzExtract: whatever the record, figures are finite, and a record is read or
// refused with a reason.
func FuzzExtract(f *testing.F) {
	f.Add([]byte("two bites"), uint64(1), 0.01, 1.0)
	f.Add([]byte{0, 10, 100, 10, 0, 0, 80, 0}, uint64(2), 0.05, 100.0)
	f.Add([]byte{255, 0, 255, 0}, uint64(3), 1e-9, 1e8)
	f.Add([]byte{7}, uint64(4), -1.0, math.MaxFloat64)
	f.Fuzz(func(t *testing.T, levels []byte, seed uint64, step, scale float64) {
		r := rand.New(rand.NewPCG(seed, 1))
		n := 10 + int(seed%400)
		var c Curve
		for i := range n {
			level := 0.0
			if len(levels) > 0 {
				x := float64(i) / float64(n) * float64(len(levels)-1)
				a, b := levels[int(x)], levels[min(int(x)+1, len(levels)-1)]
				level = float64(a) + (float64(b)-float64(a))*(x-math.Floor(x))
			}
			c.ForceN = append(c.ForceN, (level-20)*scale)
			c.TimeS = append(c.TimeS, float64(i)*step)
			c.DistanceMM = append(c.DistanceMM, level*step+float64(r.IntN(3)))
		}
		switch seed % 5 {
		case 1:
			c.TimeS = nil
		case 2:
			c.DistanceMM = nil
		case 3:
			c.ForceN[r.IntN(n)] *= -1e3
		}
		p := protocol.Protocol{Test: []protocol.Test{protocol.Unstated, protocol.TwoBite, protocol.Compression, protocol.Cutting}[seed%4], Cohesiveness: protocol.Net, Springiness: protocol.ByDistance}
		if seed%7 == 0 {
			p.SpeedMMPerS, p.TriggerN, p.ContactAreaMM2 = &step, &scale, &scale
		}
		b, fl := Extract(c, p)
		if b.OK() == (fl.Count(finding.Refused) > 0) {
			t.Fatalf("OK %v with %v", b.OK(), fl)
		}
		for _, v := range b.Values() {
			if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				t.Fatalf("%s is %g", v.ID, v.Value)
			}
		}
		for i, x := range b.Parts() {
			if !(x.ToS > x.FromS) {
				t.Fatalf("part %d: %v", i, x)
			}
		}
	})
}
