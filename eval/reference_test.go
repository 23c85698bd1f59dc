package eval

import (
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/pls"
)

// cvReference is the part of ../model/testdata/reference that this package needs
// (SOURCE.md there: R pls 2.8-1, segments as they are named).
type cvReference struct {
	Sizes []int `json:"contiguous5_sizes"`
	PLS   map[model.Scaling]struct {
		CV map[string]struct {
			Press     []float64 `json:"press"`
			PressMean float64   `json:"press_mean"`
		} `json:"cv"`
	} `json:"pls"`
}

func figures(t testing.TB, path string) ([]string, [][]float64) {
	t.Helper()
	f, err := os.Open(path)
	var r io.Reader = f
	if err != nil {
		if f, err = os.Open(path + ".gz"); err != nil {
			t.Fatal(err)
		}
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	defer f.Close()
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, len(rows)-1)
	for i, row := range rows[1:] {
		for _, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[i] = append(out[i], v)
		}
	}
	return rows[0], out
}

func referenceSet(t testing.TB, name string) (*design.Matrix, cvReference) {
	t.Helper()
	dir := "../model/testdata/reference/" + name + "/"
	data, err := os.ReadFile(dir + "reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref cvReference
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	names, x := figures(t, dir+"x.csv")
	response, y := figures(t, dir+"y.csv")
	s := design.Spec{Features: names, Response: response[0], X: x}
	for i, v := range y {
		s.Y, s.Lots = append(s.Y, v[0]), append(s.Lots, fmt.Sprint(i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m, ref
}

// segments is the reference's split as a plan.
func segments(t testing.TB, scheme string, n int, sizes []int) fold.Plan {
	t.Helper()
	of := make([]string, n)
	segment, used := 0, 0
	for i := range of {
		switch scheme {
		case "loo":
			segment = i
		case "interleaved5":
			segment = i % 5
		case "contiguous5":
			if used == sizes[segment] {
				segment, used = segment+1, 0
			}
			used++
		}
		of[i] = fmt.Sprint("segment ", segment)
	}
	plan, err := fold.ByValue(scheme, of)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// TestRMSECVReference: RMSECV for 1…A components, and the mean model's, on the
// segments of R pls 2.8-1, to 1e-8 relative.
func TestRMSECVReference(t *testing.T) {
	for _, name := range []string{"cake", "diabetes", "biomass", "gasoline"} {
		m, ref := referenceSet(t, name)
		worst, compared := 0.0, 0
		for scaling, r := range ref.PLS {
			for scheme, want := range r.CV {
				plan := segments(t, scheme, m.N(), ref.Sizes)
				f := pls.PLS{Components: len(want.Press), Scaling: scaling}
				cv, err := CrossValidate(context.Background(), f, m, plan, 0)
				if err != nil {
					t.Fatal(err)
				}
				if len(cv.PRESS) != len(want.Press) {
					t.Fatalf("%s %s: %d steps, expected %d", name, scheme, len(cv.PRESS), len(want.Press))
				}
				for a, press := range want.Press {
					d := math.Abs(cv.RMSECV[a]/math.Sqrt(press/float64(m.N())) - 1)
					q := math.Abs(cv.Q2[a] - (1 - press/want.PressMean))
					worst = max(worst, d, q)
					compared++
					if !(d <= 1e-8) || !(q <= 1e-8) {
						t.Errorf("%s %s %s, %d components: RMSECV differs by %.2g, Q² by %.2g", name, scaling, scheme, a+1, d, q)
					}
				}
			}
		}
		if compared == 0 {
			t.Error(name, "has no reference")
		}
		t.Logf("%s: %d figures, largest relative difference %.1g", name, compared, worst)
	}
}
