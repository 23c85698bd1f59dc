package candidate

import (
	"context"
	"strconv"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/work"
)

// Choice is the outcome of letting the data choose among candidates.
type Choice struct {
	// Honest comes from lots that neither the choice nor any fit had seen.
	Honest *eval.Honest
	// Picks counts the training parts in which each candidate was taken.
	Picks []int
}

// Chosen chooses among the candidates anew in every training part of the plan: in
// it each candidate is cross-validated with its own choices inside (10 folds by
// unit), the one of least error is fitted on the part, and the rows left out are
// predicted. Of equals the earlier stands. Candidates that a training part cannot
// fit are passed over there. Cost: folds × repeats × candidates nested
// validations. Errors: *RowsError, those of the plan, the last candidate's error
// when none can be fitted, ctx's.
func Chosen(ctx context.Context, cs []Candidate, plan fold.Plan, seed uint64, cores int) (*Choice, error) {
	if err := same(cs); err != nil {
		return nil, err
	}
	m := cs[0].Matrix
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	type piece struct{ repeat, fold int }
	var pieces []piece
	for r, k := range plan.K {
		for f := range k {
			pieces = append(pieces, piece{r, f})
		}
	}
	pick, out := make([]int, len(pieces)), make([][]float64, len(pieces))
	err := work.Each(ctx, len(pieces), cores, func(i int) error {
		p := pieces[i]
		label := work.Seed(seed, "candidate", strconv.Itoa(p.repeat), strconv.Itoa(p.fold))
		var err error
		pick[i], out[i], err = chooseOne(ctx, cs, plan.Fold[p.repeat], p.fold, label)
		if err != nil {
			return &eval.FoldError{Scheme: plan.Scheme, Repeat: p.repeat, Fold: p.fold, Err: err}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	c := &Choice{Picks: make([]int, len(cs))}
	h := &eval.Honest{Predicted: make([]float64, m.N()), Picks: make([][]int, plan.Repeats())}
	for i, p := range pieces {
		c.Picks[pick[i]]++
		h.Picks[p.repeat] = append(h.Picks[p.repeat], pick[i])
		for t, row := range plan.Test(p.repeat, p.fold) {
			d := m.Y()[row] - out[i][t]
			h.PRESS += d * d
			h.Predicted[row] += out[i][t] / float64(plan.Repeats())
		}
	}
	for r := range plan.Repeats() {
		zero := meanPredictions(fold.Plan{Scheme: plan.Scheme, Fold: plan.Fold[r : r+1], K: plan.K[r : r+1]}, m.Y())
		for i, y := range m.Y() {
			h.MeanPRESS += (y - zero[i]) * (y - zero[i])
		}
	}
	c.Honest = eval.Summed(h, m.N()*plan.Repeats())
	return c, nil
}

// chooseOne chooses on the rows outside one fold and predicts those inside.
func chooseOne(ctx context.Context, cs []Candidate, of []int, k int, seed uint64) (pick int, predicted []float64, err error) {
	var train, test []int
	for i, f := range of {
		if f == k {
			test = append(test, i)
		} else {
			train = append(train, i)
		}
	}
	pick = -1
	least := 0.0
	for c, candidate := range cs {
		part := candidate.Matrix.Subset(train)
		units, _ := fold.Units(part)
		inner, e := fold.Inner(units, seed)
		if e != nil {
			return 0, nil, e
		}
		h, e := eval.Nested(ctx, candidate.Fitter, part, inner, seed, 1)
		if e != nil {
			err = e
			continue
		}
		if pick < 0 || h.PRESS < least {
			pick, least = c, h.PRESS
		}
	}
	if pick < 0 {
		return 0, nil, err
	}
	held, err := eval.Holdout(ctx, cs[pick].Fitter, cs[pick].Matrix, []eval.Split{{Train: train, Test: test}}, seed, 1)
	if err != nil {
		return 0, nil, err
	}
	return pick, held[0], nil
}
