package record

import (
	"context"
	"slices"
	"testing"
)

func TestReadForces(t *testing.T) {
	long := write(t, "long.csv", "lot,replicate,batch,protocol,thickness_mm,time_s,Force (gf)\n"+
		"A,1,b1,p,2.2,0,0\nA,1,b1,p,,1,1000\nA,1,b2,p,2.4,0,10\nA,1,b1,p,2.2,2,x\nA,1,b1,p,2.2,3,5\nA,1,b1,p,2.2,0,1\n,1,b1,p,2.2,0,1\n")
	depth := write(t, "depth.csv", "distance_mm,force_N\n0,0\n1,3\n0,0\n")
	lacking := write(t, "lacking.csv", "lot,time_s\nA,1\n")
	files := make([][]Run, 3)
	c, fl, err := EachForces(context.Background(), []string{long, depth, lacking}, Options{Lot: "L"}, func(i int, runs []Run) error { files[i] = runs; return nil })
	runs := slices.Concat(files...)
	if err != nil || len(runs) != 3 {
		t.Fatal(runs, fl, err)
	}
	if c.Read != 3 || c.Refused != 3 || fl.Count("refused") != 3 { // text for a force, no lot, a file without force
		t.Errorf("%+v %v", c, fl)
	}
	a := runs[0]
	if a.Lot != "A" || a.Batch != "b1" || a.Protocol != "p" || a.Rows != 4 || !slices.Equal(a.Points.TimeS, []float64{0, 1, 3, 0}) || a.Points.ForceN[1] != 9.80665 || a.Points.DistanceMM != nil || a.Figures.Values["thickness_mm"] != 2.2 {
		t.Errorf("%+v %+v", a, a.Points)
	}
	if runs[1].Batch != "b2" || runs[1].Figures.Values["thickness_mm"] != 2.4 {
		t.Errorf("%+v", runs[1])
	}
	if d := runs[2]; d.Lot != "L" || d.Points.TimeS != nil || !slices.Equal(d.Points.DistanceMM, []float64{0, 1, 0}) {
		t.Errorf("%+v", d)
	}
	readings := write(t, "readings.csv", "lot,hardness_N\nA,3\n")
	force, other, err := SplitForces(context.Background(), []string{readings, long, lacking, depth, "not-there.csv"}, nil, 0)
	if err != nil || !slices.Equal(force, []string{long, depth}) || !slices.Equal(other, []string{readings, lacking, "not-there.csv"}) {
		t.Error(force, other, err)
	}
}
