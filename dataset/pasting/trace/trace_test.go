package trace

import (
	"math"
	"slices"
	"testing"

	"flourcast/dataset/method"
	"flourcast/finding"
)

func general(t testing.TB) method.Method {
	m, ok := method.Lookup("general-13min")
	if !ok {
		t.Fatal("no general-13min")
	}
	return m
}

// curve is a run of straight pieces that keeps to m, a point each step seconds.
func curve(m method.Method, step float64) Curve {
	var c Curve
	for k := 0; float64(k)*step <= m.DurationS(); k++ {
		t := float64(k) * step
		c.TimeS, c.TemperatureC = append(c.TimeS, t), append(c.TemperatureC, m.TemperatureAt(t))
		c.ViscosityMPas = append(c.ViscosityMPas, 60+14*max(0, min(t, 372)-192)-8*max(0, min(t, 480)-372)+5*max(0, t-480))
		c.Rows = append(c.Rows, k+2)
	}
	return c
}

// TestStages: the corners of the 13-minute profile, run exactly, come back to a
// sample, and the programme's own are the same by the same rules.
func TestStages(t *testing.T) {
	m := general(t)
	for _, step := range []float64{0.5, 1, 2, 4, 6} {
		tr, faults := Read(curve(m, step), m)
		if tr == nil || len(faults) > 0 {
			t.Fatal(faults)
		}
		s := tr.Stages
		if math.Abs(s.Hot-282) > 1e-6 || math.Abs(s.Cooling-432) > 1e-6 || !s.HasFinal || s.Heating < 60 || s.Heating > 60+10+step || s.Final < 640 || s.Final > 660 || s.HotC != 95 || s.EndC != 50 || s.Stir != 10 {
			t.Errorf("every %g s: %+v", step, s)
		}
		if p, ok := tr.Programmed(); !ok || p != s {
			t.Errorf("every %g s: programme %+v, run %+v", step, p, s)
		}
	}
	tr, _ := Read(curve(m, 2), method.Unknown("own"))
	if _, ok := tr.Programmed(); ok {
		t.Error("a method without a programme has stages of one")
	}
}

// TestThousandfold: a jump by a factor of a thousand is told from a paddle that
// stops, in both directions and in whichever part of the curve.
func TestThousandfold(t *testing.T) {
	m := general(t)
	scaled := func(low, high, by float64) Curve {
		c := curve(m, 2)
		for i, v := range c.ViscosityMPas {
			if v >= low && v < high {
				c.ViscosityMPas[i] = v * by
			}
		}
		return c
	}
	for name, c := range map[string]struct {
		curve Curve
		want  string
	}{
		"1,234 read as 1.234":        {scaled(1000, 1e9, 1e-3), "thousandfold"},
		"987.0 read as 987000":       {scaled(0, 1000, 1e3), "thousandfold"},
		"all in Pa·s":                {scaled(0, 1e9, 1e-3), "viscosity-low"},
		"the paddle stops":           {func() Curve { c := curve(m, 2); clear(c.ViscosityMPas[230:]); return c }(), "sudden-drop"},
		"a torque that starts at 0":  {func() Curve { c := curve(m, 2); clear(c.ViscosityMPas[:20]); return c }(), ""},
		"a reading lost, then found": {func() Curve { c := curve(m, 2); c.ViscosityMPas[230] = 0; return c }(), "spike"},
	} {
		_, faults := Read(c.curve, m)
		if got := Findings(faults); (c.want == "" && len(got) > 0) || (c.want != "" && (len(got) != 1 || got[0].Code != c.want)) {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// TestFaultsHavePlaceAndSize: row, time and size of what is wrong, behind a
// reading that was left out.
func TestFaultsHavePlaceAndSize(t *testing.T) {
	m := general(t)
	c := curve(m, 2)
	c.ViscosityMPas[150] += 5000 // 300 s
	for i := 220; i < len(c.ViscosityMPas); i++ {
		c.ViscosityMPas[i] *= 0.85 // from 440 s, hot
	}
	tr, faults := Read(c, m)
	if tr == nil || len(faults) != 2 {
		t.Fatal(faults)
	}
	spike, step := faults[0], faults[1]
	if spike.Code != "spike" || spike.At.Row != 152 || spike.FromS != 300 || math.Abs(spike.Size-5000) > 30 {
		t.Errorf("%+v", spike)
	}
	before := 60 + 14*180 - 8*(438-372.0)
	if step.Code != "viscosity-step" && step.Code != "boil-over" || step.At.Row != 222 || step.FromS != 440 || math.Abs(step.Size-0.15*before) > 25 {
		t.Errorf("%+v, expected %g", step, 0.15*before)
	}
	if slices.Contains(tr.T, 300) || len(tr.T) != len(c.TimeS)-1 || c.ViscosityMPas[150] < 5000 {
		t.Error("the spike was not left out, or the record was written to")
	}
}

// TestMillionRows: a record of a million rows is averaged to what is read, in
// order, and nothing of it is lost: the means add up to the mean of all.
func TestMillionRows(t *testing.T) {
	m := general(t)
	c := curve(m, 780./1e6)
	tr, faults := Read(c, m)
	if tr == nil || len(tr.T) > most || !Findings(faults).Has("curve-dense") {
		t.Fatalf("%v", faults)
	}
	if !slices.IsSorted(tr.T) || math.Abs(mean(tr.V)-mean(c.ViscosityMPas)) > 0.5 {
		t.Errorf("mean %g, of the file %g", mean(tr.V), mean(c.ViscosityMPas))
	}
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// TestRefusedNamesWhat: a refused record has no trace and says what to do.
func TestRefusedNamesWhat(t *testing.T) {
	m := general(t)
	shuffled := curve(m, 2)
	for i := range shuffled.TimeS {
		j := (i * 97) % len(shuffled.TimeS)
		shuffled.TimeS[i], shuffled.TimeS[j] = shuffled.TimeS[j], shuffled.TimeS[i]
	}
	speeds := curve(m, 2)
	speeds.SpeedRPM = []float64{160}
	for name, c := range map[string]struct {
		curve Curve
		code  string
	}{"shuffled": {shuffled, "time-backwards"}, "nothing": {Curve{}, "curve-short"}, "speeds of one point": {speeds, "curve-ragged"}} {
		tr, faults := Read(c.curve, m)
		if tr != nil || len(faults) != 1 || faults[0].Code != c.code || faults[0].Severity != finding.Refused || faults[0].Do == "" || faults[0].Want == "" {
			t.Errorf("%s: %v", name, faults)
		}
	}
}
