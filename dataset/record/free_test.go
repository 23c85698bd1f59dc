package record

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// Memory of points that were freed is used again, and nothing of the run before is left
// in it: not its points, its speeds, nor a column that the next file does not have.
func TestFree(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	whole := write("whole.csv", "lot,time_s,temperature_C,viscosity_mPas,speed_rpm\nA,0,50,10,160\nA,4,51,11,160\nA,8,52,12,160\n")
	bare := write("bare.csv", "lot,time_s,viscosity_mPas\nB,0,20\nB,4,21\n")
	var got []Points
	_, _, err := EachCurves(context.Background(), []string{whole, bare, whole}, Options{Cores: 1}, func(_ int, runs []Run) error {
		p := runs[0].Points
		got = append(got, Points{TimeS: slices.Clone(p.TimeS), TemperatureC: slices.Clone(p.TemperatureC), ViscosityMPas: slices.Clone(p.ViscosityMPas), SpeedRPM: slices.Clone(p.SpeedRPM), Row: slices.Clone(p.Row)})
		p.Free()
		return nil
	})
	if err != nil || len(got) != 3 {
		t.Fatal(got, err)
	}
	for i, p := range []int{3, 2, 3} {
		if g := got[i]; len(g.TimeS) != p || len(g.ViscosityMPas) != p || len(g.Row) != p {
			t.Errorf("file %d: %+v", i, g)
		}
	}
	if b := got[1]; b.TemperatureC != nil || b.SpeedRPM != nil || !slices.Equal(b.ViscosityMPas, []float64{20, 21}) {
		t.Errorf("a file without temperatures and speeds: %+v", b)
	}
	if a := got[2]; !slices.Equal(a.TemperatureC, []float64{50, 51, 52}) || !slices.Equal(a.SpeedRPM, []float64{160, 160, 160}) {
		t.Errorf("again: %+v", a)
	}
}
