package grain

import (
	"math"
	"math/rand/v2"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
)

// Constants of the paste. None is fitted to data: they were set by hand so that
// curves have the height and shape the trade knows (from memory).
const (
	stepS   = 2.0 // s, step of the calculation
	sampleS = 4.0 // s, every second step is recorded

	firstSwell  = 4.5    // g/g that any granule takes when it has just gelatinised
	swellPerS   = 0.0135 // 1/s, how fast a granule takes up water
	breakPerS   = 0.0052
	cutPerS     = 0.0030 // 1/s, amylase at 72 °C in a sound flour
	leachPerS   = 0.012
	networkPerS = 0.006
	stump       = 0.45 // what a broken granule still fills, of a whole one

	crowding     = 2.6  // power of the volume fraction in a crowd of soft granules
	granuleMPas  = 4200 // mPa·s at volume fraction 1, 95 °C
	amyloseMPas  = 100  // mPa·s of the dissolved amylose at 1 g/100 mL
	waterMPas    = 24.0 // mPa·s that the can reads of the raw slurry at 50 °C
	viscousK     = 1550 // K, fall of viscosity with temperature
	hotC         = 95.0
	sucroseC     = 19.0 // °C by which 50 % sucrose delays gelatinisation
	sucroseSwell = 0.62 // share of the swelling that is left in 50 % sucrose
	sucroseThick = 1.7  // the syrup itself is thicker than water
)

// Curve is one recorded run.
type Curve struct{ TimeS, TemperatureC, ViscosityMPas []float64 }

// paste is the state of the starch in the can (or in a cake) while it cooks.
type paste struct {
	f                      Flour
	sucrose                bool
	top                    float64 // hottest so far, °C
	gel, swell, intact     float64 // share gelatinised; g/g swollen; share of granules unbroken
	leached, amylase, cut  float64 // amylose outside granules; enzyme left; cutting done
	network                float64 // amylose that has come together again, 0…1
	delay, reduce, swiftly float64
}

// newPaste is raw flour in its solvent. An inhibitor leaves the enzyme nothing
// to do. Heat treatment lets granules take up syrup earlier and further, and
// makes them tougher.
func newPaste(f Flour, solvent trait.Solvent) *paste {
	p := &paste{f: f, intact: 1, amylase: f.Amylase, reduce: 1, swiftly: 1}
	switch solvent {
	case trait.Inhibitor:
		p.amylase = 0
	case trait.Sucrose:
		p.sucrose, p.delay, p.reduce = true, sucroseC, sucroseSwell
		p.amylase *= 0.3
		if f.Heated {
			p.delay, p.reduce, p.swiftly = sucroseC-3, sucroseSwell*1.14, 1.2
		}
	}
	if f.Heated {
		p.amylase *= 0.4
		p.f.Fragility *= 0.7
	}
	return p
}

// heat cooks the paste for dt seconds at a temperature, stirred or not.
func (p *paste) heat(celsius, dt float64, stirred bool) {
	p.top = math.Max(p.top, celsius)
	past := p.top - p.f.GelMean - p.delay
	p.gel = 1 / (1 + math.Exp(-past/p.f.GelSpread))
	reach := math.Pow(math.Max(0, past+8)/(hotC-p.f.GelMean+8), 1.2)
	want := p.gel * (firstSwell + (p.f.Swelling*p.reduce-firstSwell)*reach) * (1 + 0.012*(p.f.Damaged-5.5))
	p.swell += (want - p.swell) * swellPerS * p.swiftly * dt
	p.leached += (p.gel*p.f.Amylose*math.Min(reach, 1) - p.leached) * leachPerS * dt

	warm := (celsius - 72) / 8
	p.cut += p.amylase * cutPerS * math.Exp(-warm*warm) * p.gel * dt
	p.amylase -= p.amylase * math.Min(1, 0.004*math.Exp((celsius-80)/4)*dt)
	if stirred {
		load := math.Sqrt(p.swell/8) * math.Exp((celsius-hotC)/6)
		p.intact -= p.intact * breakPerS * p.f.Fragility * load * dt
	}
	if celsius < 85 && p.leached > 0.01 {
		p.network += (1 - p.network) * networkPerS * (85 - celsius) / 35 * dt
	}
}

// filled is the volume fraction of swollen granules for starch g/mL.
func (p *paste) filled(starch float64) float64 {
	return starch * (0.65*(1-p.gel) + p.swell*(p.intact+stump*(1-p.intact)))
}

// viscosity is what the viscometer reads, mPa·s.
func (p *paste) viscosity(starch, celsius float64) float64 {
	thin := math.Exp(viscousK * (1/(celsius+273.15) - 1/(hotC+273.15)))
	syrup := 1.0
	if p.sucrose {
		syrup = sucroseThick
	}
	raw := waterMPas * syrup * thin / math.Exp(viscousK*(1/323.15-1/(hotC+273.15))) * (1 + 2.5*starch)
	granules := granuleMPas * math.Pow(p.gel*p.filled(starch), crowding)
	amylose := amyloseMPas * math.Pow(100*starch*p.leached, 1.1) * (0.25 + 1.6*p.network)
	return raw + syrup*thin*(granules+amylose)*math.Exp(-p.cut)
}

// PastingRun runs one flour by a method: weighing, the shear and the
// instrument, whose reading strays, differ a little each time, so duplicates differ as duplicates do.
// off is the instrument's error as a factor, 1 when it is in order.
func PastingRun(r *rand.Rand, f Flour, m method.Method, off float64) Curve {
	off *= 1 + 0.008*r.NormFloat64()
	weighed := 1 + 0.003*r.NormFloat64()
	f.Fragility *= 1 + 0.01*r.NormFloat64()
	dry := m.SolidsG
	if m.SolidsBasis != "dry" {
		dry *= 0.86
	}
	starch := weighed * dry * f.starch() / (m.SolventML + 0.8*m.SolidsG)
	p := newPaste(f, m.Solvent)
	keep, wander := math.Exp(-sampleS/60), 0.0 // how the reading strays, over about a minute
	var c Curve
	for t := 0.0; t <= m.DurationS(); t += stepS {
		celsius := m.TemperatureAt(t)
		p.heat(celsius, stepS, true)
		if math.Mod(t, sampleS) != 0 {
			continue
		}
		wander = keep*wander + 0.007*math.Sqrt(1-keep*keep)*r.NormFloat64()
		v := off*(1+wander)*p.viscosity(starch, celsius) + 60*math.Exp(-t/5) // the fast stir at the start
		v += 1.2*r.NormFloat64() + 0.0006*v*r.NormFloat64()
		c.TimeS = append(c.TimeS, t)
		c.TemperatureC = append(c.TemperatureC, math.Round(10*(celsius+0.08*r.NormFloat64()))/10)
		c.ViscosityMPas = append(c.ViscosityMPas, math.Round(math.Max(v, 1)))
	}
	return c
}

// Until cuts a curve off, as when a run is stopped.
func (c Curve) Until(timeS float64) Curve {
	n := 0
	for n < len(c.TimeS) && c.TimeS[n] <= timeS {
		n++
	}
	return Curve{c.TimeS[:n], c.TemperatureC[:n], c.ViscosityMPas[:n]}
}

// Reading is a curve read by eye: what an old laboratory notebook holds.
type Reading struct{ PastingC, Peak, Trough, Final, PeakTimeS float64 }

// Read finds the highest point before cooling, the lowest after it, the end, and
// the first two samples (8 s) that rise as steeply as 24 mPa·s in 6 s.
func (c Curve) Read() Reading {
	top, peakAt, cooling := 0.0, 0, 0
	for i, t := range c.TemperatureC {
		if t > top-0.5 {
			top, cooling = math.Max(top, t), i
		}
	}
	for i := range cooling + 1 {
		if c.TimeS[i] > 12 && c.ViscosityMPas[i] > c.ViscosityMPas[peakAt] || peakAt == 0 {
			peakAt = i
		}
	}
	out := Reading{Peak: c.ViscosityMPas[peakAt], Trough: c.ViscosityMPas[peakAt], PeakTimeS: c.TimeS[peakAt]}
	for _, v := range c.ViscosityMPas[peakAt:] {
		out.Trough = math.Min(out.Trough, v)
	}
	out.Final = c.ViscosityMPas[len(c.ViscosityMPas)-1]
	for i := 5; i+2 < len(c.TimeS) && out.PastingC == 0; i++ {
		if c.ViscosityMPas[i+2]-c.ViscosityMPas[i] >= 32 {
			out.PastingC = c.TemperatureC[i+2]
		}
	}
	return out
}
