package pasting

import (
	"math"
	"math/rand/v2"

	"flourcast/dataset/method"
)

// shape is a curve in closed form: a baseline, then raised cosines up to the
// peak, down to the trough and up to the final viscosity, which then stays. All
// its features are known exactly.
type shape struct {
	base, peak, trough, final    float64
	tOnset, tPeak, tTrough, tEnd float64 // tEnd: where the final viscosity is reached
}

var wheat = shape{base: 60, peak: 2500, trough: 1500, final: 2800, tOnset: 190, tPeak: 370, tTrough: 490, tEnd: 720}

func cosine(t, t0, t1, v0, v1 float64) float64 {
	return v0 + (v1-v0)*(1-math.Cos(math.Pi*(t-t0)/(t1-t0)))/2
}

func (s shape) at(t float64) float64 {
	switch {
	case t <= s.tOnset:
		return s.base
	case t <= s.tPeak:
		return cosine(t, s.tOnset, s.tPeak, s.base, s.peak)
	case t <= s.tTrough:
		return cosine(t, s.tPeak, s.tTrough, s.peak, s.trough)
	case t <= s.tEnd:
		return cosine(t, s.tTrough, s.tEnd, s.trough, s.final)
	}
	return s.final
}

// riseRate is the slope halfway up, π/2 times the mean slope.
func (s shape) riseRate() float64 { return math.Pi / 2 * (s.peak - s.base) / (s.tPeak - s.tOnset) }

// onsetEnd is the end of the first window of w seconds over which the curve
// rises by at least rise: v(t+w) − v(t) = (peak − base)·sin(π(t + w/2 − tOnset)/L)·sin(πw/2L).
func (s shape) onsetEnd(rise, w float64) float64 {
	l := s.tPeak - s.tOnset
	return s.tOnset + l/math.Pi*math.Asin(rise/((s.peak-s.base)*math.Sin(math.Pi*w/2/l))) + w/2
}

// sample takes points every step s up to duration, at the programme's temperatures.
func sample(v func(float64) float64, m method.Method, step, duration float64) Curve {
	var c Curve
	for i := 0; float64(i)*step <= duration+1e-9; i++ {
		t := float64(i) * step
		c.TimeS = append(c.TimeS, t)
		c.TemperatureC = append(c.TemperatureC, m.TemperatureAt(t))
		c.ViscosityMPas = append(c.ViscosityMPas, v(t))
	}
	return c
}

// noisy adds normal noise of sd + share·viscosity.
func noisy(c Curve, rng *rand.Rand, sd, share float64) Curve {
	v := make([]float64, len(c.ViscosityMPas))
	for i, x := range c.ViscosityMPas {
		v[i] = x + rng.NormFloat64()*(sd+share*x)
	}
	c.ViscosityMPas = v
	return c
}

func general() method.Method {
	m, ok := method.Lookup("general-13min")
	if !ok {
		panic("pasting: no general-13min")
	}
	return m
}
