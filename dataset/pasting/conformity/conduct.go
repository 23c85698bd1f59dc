package conformity

import (
	"fmt"
	"math"

	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Limits of the conduct of a run: ours.
const (
	otherSpeedPct = 10.0 // %; a speed this far off is another method's
	settleShare   = 0.30 // fall of the viscosity before heating, as share of its beginning …
	settleMPas    = 30.0 // … and mPa·s: more than warming the slurry does
	noiseShare    = 0.02 // scatter of single readings, as share of the stage's median viscosity …
	noiseMPas     = 10.0 // … and mPa·s
)

// speed compares the recorded speed, after the fast stir, with the method's.
func (k *checker) speed() {
	m := k.tr.Method
	if k.tr.RPM == nil || m.TestRPM <= 0 {
		return
	}
	from := k.tr.From(k.tr.Stages.Stir + k.out.StepS)
	if len(k.tr.RPM)-from < leastPoints {
		return
	}
	typical := median(k.tr.RPM[from:])
	off := 100 * (typical/m.TestRPM - 1)
	if math.Abs(off) <= m.ToleranceRPMPct {
		return
	}
	reads := "low"
	if off < 0 {
		reads = "high"
	}
	d := Deviation{FromS: k.tr.T[from], ToS: k.tr.Last(), Size: off, Unit: "%", Affects: viscosities, Effect: "a paste thins with shear: all viscosities read " + reads}
	f := finding.Finding{Code: "speed-off", At: k.tr.Place("speed_rpm", -1), Found: fmt.Sprintf("%.4g rpm (median)", typical), Want: fmt.Sprintf("%g rpm within %g %%, by %s", m.TestRPM, m.ToleranceRPMPct, m.ID),
		Do: "check the drive; no viscosity is corrected"}
	if math.Abs(off) > otherSpeedPct {
		d.Severity, f.Code, f.Do = finding.Refused, "speed-differs", "runs at different speeds are never pooled: declare the method that it was run by"
	}
	k.add(d, f)
}

// settling looks for a viscosity that falls between the stir and heating: coarse
// particles that settle, or lumps that break up. The first and the last third of
// that stretch are compared.
func (k *checker) settling() {
	s := k.tr.Stages
	from, to := k.tr.From(s.Stir), k.tr.From(s.Heating)
	third := (to - from) / 3
	if third < 2 {
		return
	}
	first, last := median(k.tr.V[from:from+third]), median(k.tr.V[to-third:to])
	noise := smooth.Noise(k.tr.T[from:to], k.tr.V[from:to])
	fall := first - last
	if fall < settleMPas || fall < settleShare*first || fall < 3*noise {
		return
	}
	k.add(Deviation{Stage: start, FromS: s.Stir, ToS: s.Heating, Size: fall, Unit: "mPa·s", Affects: []string{"initial_mPas", "pasting_temp_C", "pasting_temp_tangent_C"},
		Effect: "the level before the rise is not that of an even slurry: initial viscosity and both pasting temperatures suffer"},
		finding.Finding{Code: "settling", At: k.tr.Place("viscosity_mPas", from), Found: fmt.Sprintf("viscosity falls from %.4g to %.4g mPa·s before heating", first, last), Want: "a level viscosity of the slurry",
			Do: "look at the particle size; disperse the flour before the run, or sieve it"})
}

// noise looks for scatter of single readings in each measured stage: a worn or
// bent paddle, lumps, or, in the hot hold, a boil.
func (k *checker) noise() {
	s := k.tr.Stages
	ends := []float64{s.Stir, s.Heating, s.Hot}
	names := []string{start, heating, hot}
	if s.HasCooling {
		ends, names = append(ends, s.Cooling), append(names, cooling)
	}
	if s.HasFinal {
		ends, names = append(ends, s.Final), append(names, final)
	}
	ends = append(ends, math.Inf(1))
	for i, name := range names {
		from, to := k.tr.From(ends[i]), k.tr.From(ends[i+1])
		if to-from < 2*smooth.MinPoints {
			continue
		}
		t, v := k.tr.T[from:to], k.tr.V[from:to]
		sd := smooth.Noise(t, v)
		if sd < noiseMPas {
			continue
		}
		level := median(v)
		if sd < noiseShare*level {
			continue
		}
		effect := fmt.Sprintf("single readings scatter by %.3g mPa·s; highest values read high and lowest low, by a part of it", sd)
		do := "look at the paddle, its seat and lumps in the paste"
		if name == hot {
			do = "look whether the paste boils, and at the paddle and its seat"
		}
		k.add(Deviation{Stage: name, FromS: t[0], ToS: t[len(t)-1], Size: sd, Unit: "mPa·s", Affects: touched[name], Effect: effect},
			finding.Finding{Code: "paddle-noise", At: k.tr.Place("viscosity_mPas", from), Found: fmt.Sprintf("%s: scatter of %.3g mPa·s, %.1f %% of the viscosity", name, sd, 100*sd/level),
				Want: fmt.Sprintf("at most %g mPa·s or %g %%", noiseMPas, 100*noiseShare), Do: do})
	}
}
