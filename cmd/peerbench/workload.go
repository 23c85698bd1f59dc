package main

import (
	"context"
	"fmt"
	"math"
	"slices"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/pls"
)

// task is what a workload works on.
type task struct {
	ctx        context.Context
	s          *set
	components int
	scaling    model.Scaling
}

func (t task) fitter() pls.PLS { return pls.PLS{Components: t.components, Scaling: t.scaling} }

// workloads do their work inner times and say what they found.
var workloads = map[string]func(t task) (inner int, _ answer, _ error){
	"W1": oneFit, "W2": tenFold, "W3": leaveOneOut, "W4": nested, "W5": permuted, "W6": firstRepeat,
}

// fits is how often one fit is repeated so that it can be timed, as the peers do.
var fits = map[string]int{"S": 200, "M": 100, "C": 10}

// oneFit fits all rows.
func oneFit(t task) (int, answer, error) {
	inner := max(1, fits[t.s.name])
	var path model.Path
	for range inner {
		var err error
		if path, err = t.fitter().Fit(t.s.m); err != nil {
			return 0, answer{}, err
		}
	}
	out := answer{RMSECV: make([]float64, path.Len())}
	for a := range out.RMSECV {
		fitted, ss := path.At(a), 0.0
		for i, y := range t.s.m.Y() {
			e := y - fitted.Predict(t.s.m.Row(i))
			ss += e * e
		}
		out.RMSECV[a] = math.Sqrt(ss / float64(t.s.m.N()))
	}
	return inner, out, nil
}

func cross(t task, plan fold.Plan) (int, answer, error) {
	cv, err := eval.CrossValidate(t.ctx, t.fitter(), t.s.m, plan, 0)
	if err != nil {
		return 0, answer{}, err
	}
	return 1, answer{RMSECV: cv.RMSECV}, nil
}

// tenFold takes all repeats.
func tenFold(t task) (int, answer, error) { return cross(t, t.s.plan) }

func firstRepeat(t task) (int, answer, error) { return cross(t, t.s.plan.First(1)) }

// leaveOneOut leaves out row by row.
func leaveOneOut(t task) (int, answer, error) {
	n := t.s.m.N()
	each := make([]int, n)
	for i := range each {
		each[i] = i
	}
	return cross(t, fold.Plan{Scheme: "leave one out", Fold: [][]int{each}, K: []int{n}})
}

// nestedRepeats is how many outer repeats there are; the inner folds of repeat r
// are those of column innerFrom + r, less the rows left out.
const nestedRepeats, innerFrom = 5, 10

// nested takes the number of components with the least inner error.
func nested(t task) (int, answer, error) {
	if t.s.plan.Repeats() < innerFrom+nestedRepeats {
		return 0, answer{}, fmt.Errorf("found %d columns of folds, expected %d", t.s.plan.Repeats(), innerFrom+nestedRepeats)
	}
	how := eval.Choosing{Least: true, Inner: func(repeat, _ int, rows []int) (fold.Plan, error) {
		all := t.s.plan.Fold[innerFrom+repeat]
		inner := make([]int, len(rows))
		for k, i := range rows {
			inner[k] = all[i]
		}
		return fold.Plan{Scheme: "inner folds", Fold: [][]int{inner}, K: []int{t.s.plan.K[innerFrom+repeat]}}, nil
	}}
	h, err := eval.NestedBy(t.ctx, t.fitter(), t.s.m, t.s.plan.First(nestedRepeats), how, 0)
	if err != nil {
		return 0, answer{}, err
	}
	sum := 0
	for _, picks := range h.Picks {
		for _, step := range picks {
			sum += step + 1
		}
	}
	return 1, answer{RMSECV: []float64{h.RMSECV}, Picks: &sum}, nil
}

// permuted compares the least error over the numbers of components with that of
// responses that changed places.
func permuted(t task) (int, answer, error) {
	if t.s.perms == nil {
		return 0, answer{}, fmt.Errorf("found no perms.csv, expected one row a permutation")
	}
	n := t.s.m.N()
	same := make([]int, n)
	for i := range same {
		same[i] = i
	}
	press, err := eval.Shuffled(t.ctx, t.fitter(), t.s.m, t.s.plan.First(1), append([][]int{same}, t.s.perms...), 0)
	if err != nil {
		return 0, answer{}, err
	}
	root := func(press float64) float64 { return math.Sqrt(press / float64(n)) }
	out := answer{}
	for _, v := range press[0] {
		out.RMSECV = append(out.RMSECV, root(v))
	}
	least, better, mean := slices.Min(out.RMSECV), 1, 0.0
	for _, one := range press[1:] {
		v := root(slices.Min(one))
		mean += v / float64(len(t.s.perms))
		if v <= least {
			better++
		}
	}
	p := float64(better) / float64(len(press))
	out.P, out.MinMean = &p, &mean
	return 1, out, nil
}
