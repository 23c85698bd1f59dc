package conformity

import (
	"math"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/pasting/whole"
	"flourcast/finding"
)

// FuzzRun spoils a clean run by a programme of edits, five bytes each (column and
// edit, from, to, by how much), and takes it all the way: record, conformity,
// features, grid. Arbitrary curves seldom get past the first checks; these do.
// There is no panic, what comes out is finite, and whether it was refused agrees
// with the findings.
func FuzzRun(f *testing.F) {
	for _, seed := range []string{"", "\x01\x10\x40\x05\x00", "\x02\x30\x60\xf0\x01", "\x05\x40\xff\x80\x02\x04\x00\x20\x03\x00", "\x09\x20\x21\x7f\xff\x11\x50\x90\x00\x10", "\x0a\x70\x90\x10\x00\x0e\x10\x30\x40\x40"} {
		f.Add([]byte(seed), byte(0))
	}
	methods := method.Builtin()
	f.Fuzz(func(t *testing.T, edits []byte, by byte) {
		c := clean(builtin(t, "general-13min"))
		for k := 0; len(edits) >= 5 && k < 12; k, edits = k+1, edits[5:] {
			spoil(&c, edits[:5])
		}
		m := methods[int(by)%len(methods)]
		if by >= 128 {
			m = method.Unknown("own")
		}
		tr, faults := trace.Read(c, m)
		if (tr == nil) != (trace.Findings(faults).Count(finding.Refused) > 0) {
			t.Fatalf("trace %v beside %v", tr != nil, faults)
		}
		r, fl := Check(tr, faults, Policy{All: Refuse})
		for _, d := range r.Deviations {
			if math.IsNaN(d.Size) || math.IsInf(d.Size, 0) || d.ToS < d.FromS || d.Severity == finding.Doubt || !fl.Has(d.Code) {
				t.Fatalf("%+v", d)
			}
		}
		for _, s := range r.Stages {
			if math.IsNaN(s.OffsetC) || (s.Rate != nil && math.IsNaN(*s.Rate)) {
				t.Fatalf("%+v", s)
			}
		}
		if tr == nil {
			return
		}
		features, more := pasting.FromTrace(tr)
		if features.OK() != (more.Count(finding.Refused) == 0) {
			t.Fatalf("OK is %v beside %v", features.OK(), more)
		}
		for _, v := range features.Values() {
			if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				t.Fatalf("%s is %v", v.ID, v.Value)
			}
		}
		for _, g := range []whole.Grid{{On: whole.Time, Step: 20}, {On: whole.Temperature, Step: 5}} {
			plan, err := g.Plan(m)
			if err != nil {
				continue
			}
			row := plan.Lay(tr)
			for i, v := range row.Values {
				if math.IsNaN(v) || math.IsInf(v, 0) || (!row.Present[i] && v != 0) {
					t.Fatalf("%s is %v, present %v", plan.Columns()[i], v, row.Present[i])
				}
			}
		}
	})
}

// spoil makes one edit.
func spoil(c *trace.Curve, e []byte) {
	n := len(c.TimeS)
	from, to := int(e[1])*n/256, int(e[2])*n/256
	if from > to {
		from, to = to, from
	}
	x := float64(int8(e[3])) * math.Pow(10, float64(int8(e[4]))/32)
	columns := [][]float64{c.TimeS, c.TemperatureC, c.ViscosityMPas, c.SpeedRPM}
	column := columns[e[0]%4]
	switch e[0] / 4 % 8 {
	case 0:
		for i := from; i < to; i++ {
			column[i] += x
		}
	case 1:
		for i := from; i < to; i++ {
			column[i] *= x / 16
		}
	case 2:
		for i := from; i < to; i++ {
			column[i] = x
		}
	case 3:
		for i := from; i < to; i += 7 {
			column[i] += x
		}
	case 4:
		for i := from; i < to; i++ {
			column[i] = min(column[i], x)
		}
	case 5:
		for i := from; i < to; i++ {
			column[i] += x * math.Sin(float64(i))
		}
	case 6: // a piece is cut out
		c.TimeS, c.TemperatureC, c.ViscosityMPas, c.SpeedRPM = cutOut(c.TimeS, from, to), cutOut(c.TemperatureC, from, to), cutOut(c.ViscosityMPas, from, to), cutOut(c.SpeedRPM, from, to)
	case 7: // the piece follows once more, at the end, on the same clock
		if n > 4000 {
			return
		}
		shift := c.TimeS[n-1]
		for i := from; i < to; i++ {
			c.TimeS, c.TemperatureC, c.ViscosityMPas, c.SpeedRPM = append(c.TimeS, shift+c.TimeS[i]), append(c.TemperatureC, c.TemperatureC[i]), append(c.ViscosityMPas, c.ViscosityMPas[i]), append(c.SpeedRPM, c.SpeedRPM[i])
		}
	}
}

// cutOut leaves at least one value, so that later edits have something to do.
func cutOut(v []float64, from, to int) []float64 {
	if to-from >= len(v) {
		return v
	}
	return append(append([]float64(nil), v[:from]...), v[to:]...)
}
