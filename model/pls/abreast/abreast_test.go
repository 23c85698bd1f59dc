package abreast_test

import (
	"fmt"
	"math"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/moment"
	"flourcast/model/pls"
	"flourcast/model/pls/abreast"
	"flourcast/work"
)

func table(t *testing.T, n, p int, change func(x [][]float64)) *design.Matrix {
	t.Helper()
	random := work.Rand(4, "abreast")
	s := design.Spec{Response: "y", X: make([][]float64, n)}
	for j := range p {
		s.Features = append(s.Features, fmt.Sprint("t", j))
	}
	for i := range n {
		a, b := random.NormFloat64(), random.NormFloat64()
		for j := range p {
			u := float64(j) / float64(p)
			s.X[i] = append(s.X[i], 1000+a*math.Exp(-20*u*u)+b*u+0.1*random.NormFloat64())
		}
		s.Y, s.Lots = append(s.Y, 5+a-b+0.1*random.NormFloat64()), append(s.Lots, fmt.Sprint("lot ", i))
	}
	change(s.X)
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestThreeWays: from the rows, from a part's own products and from those of all
// rows, jobs are predicted as by fitting their rows one part after the other.
func TestThreeWays(t *testing.T) {
	m := table(t, 30, 60, func([][]float64) {})
	w, err := moment.NewWide(m)
	if err != nil {
		t.Fatal(err)
	}
	const steps = 4
	parts := [][]int{{0, 7, 29}, {3}, {}, {10, 11, 12, 13, 14}}
	for _, c := range []struct {
		scaling   model.Scaling
		responses int // of each part
	}{{model.ScaleUnit, 1}, {model.ScaleUnit, 40}, {model.ScaleNone, 1}, {model.ScaleNone, 70}} {
		var jobs []moment.Job
		var ys [][]float64
		for _, left := range parts {
			for q := range c.responses {
				y := make([]float64, m.N())
				for i, k := range work.Rand(uint64(q), "order").Perm(m.N()) {
					y[i] = m.Y()[k]
				}
				target, err := w.Target("y", y)
				if err != nil {
					t.Fatal(err)
				}
				test := left
				if len(left) == 0 {
					test = []int{5}
				}
				ys = append(ys, y)
				jobs = append(jobs, moment.Job{Left: left, Test: test, Y: target, Out: make([]float64, steps*len(test))})
			}
		}
		f := pls.PLS{Components: steps, Scaling: c.scaling}
		s := abreast.New(w, c.scaling == model.ScaleUnit, f.Steps)
		s.Solve(jobs[:3], 2) // memory is used again
		s.Solve(jobs, steps)
		for k, j := range jobs {
			if !j.OK {
				t.Fatalf("%v: job %d was handed back", c, k)
			}
			var rows []int
			for i := range m.N() {
				keep := true
				for _, l := range j.Left {
					keep = keep && l != i
				}
				if keep {
					rows = append(rows, i)
				}
			}
			mq, err := m.WithResponse("y", ys[k])
			if err != nil {
				t.Fatal(err)
			}
			path, err := f.FitRows(mq.Subset(rows))
			if err != nil {
				t.Fatal(err)
			}
			for a := range steps {
				for i, row := range j.Test {
					got, want := j.Y.Mean+j.Out[a*len(j.Test)+i], path.At(min(a, path.Len()-1)).Predict(m.Row(row))
					if !(math.Abs(got-want) <= 1e-10*math.Abs(want)) {
						t.Fatalf("%v job %d, %d components, row %d: %v, its rows give %v", c, k, a+1, row, got, want)
					}
				}
			}
		}
	}
}

// TestHandedBack: what would lose digits is not done.
func TestHandedBack(t *testing.T) {
	m := table(t, 20, 30, func(x [][]float64) { x[2][7] = 1e9 })
	w, err := moment.NewWide(m)
	if err != nil {
		t.Fatal(err)
	}
	y, err := w.Target("y", m.Y())
	if err != nil {
		t.Fatal(err)
	}
	spike := make([]float64, m.N())
	spike[4] = 1
	once, err := w.Target("y", spike)
	if err != nil {
		t.Fatal(err)
	}
	jobs := []moment.Job{
		{Left: []int{2}, Y: y},            // nearly all of a column's variance goes
		{Left: []int{4}, Y: once},         // all of the response's
		{Left: []int{5}, Y: y},            // nothing is lost
		{Left: allBut(20, 3, 9), Y: once}, // too few rows are left
	}
	for i := range jobs {
		jobs[i].Test, jobs[i].Out = jobs[i].Left[:1], make([]float64, 3)
	}
	abreast.New(w, true, pls.PLS{Components: 3}.Steps).Solve(jobs, 3)
	for i, want := range []bool{false, false, true, false} {
		if jobs[i].OK != want {
			t.Errorf("job %d: %v", i, jobs[i].OK)
		}
	}
}

func allBut(n int, keep ...int) (rows []int) {
	for i := range n {
		if i != keep[0] && i != keep[1] {
			rows = append(rows, i)
		}
	}
	return rows
}
