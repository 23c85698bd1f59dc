// Package decisive finds the lot without which a model's standing, or what its
// lots say of an established direction, would be another.
//
//  1. Each lot is left out in turn, and the model cross-validated without it:
//     the same folds (the plan's first repeat), every choice made anew.
//  2. Of each established rule that applies, the lots whose absence moves the
//     correlation most are left out in turn, and the rule is checked anew.
//  3. Without the lot that carries most of Q², chance is tried anew, by a short
//     permutation test.
//  4. The verdict is judged again with those figures. What differs is named.
//
// Not made anew, for they cost a whole test each or hardly hang on one lot: the
// permutation test for the other lots, crop years left out, the gain beyond
// protein, the reference's error. The number of lots counts as it was: one fewer
// is no news. With more than Most lots, the Most are tried that lie farthest out
// in features and response. The package refuses what eval and eval/direction
// refuse.
package decisive

import (
	"cmp"
	"context"
	"math"
	"slices"

	"flourcast/eval"
	"flourcast/eval/direction"
	"flourcast/eval/domain"
	"flourcast/eval/fold"
	"flourcast/eval/metric"
	"flourcast/eval/verdict"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

const (
	// most is how many lots are left out one by one.
	most = 200
	// heaviest is how many lots a rule is checked without.
	heaviest = 3
	// shuffles of the short permutation test.
	shuffles = 99
)

// Input is a model as it was judged. Verdict must be the evidence that was judged,
// OneLot nil; Rules are those that Answers came from.
type Input struct {
	Fitter   model.Fitter
	Matrix   *design.Matrix
	Plan     fold.Plan
	Domain   *domain.Domain
	Evidence direction.Evidence
	Verdict  verdict.Evidence
	Seed     uint64
}

// Find leaves lots out. A turn counts where a rule was confirmed or contradicted
// with the lot, or is contradicted without it. Cost: one nested cross-validation a
// lot, 99 more, and six checks of the established rules a column.
func Find(ctx context.Context, in Input, cores int) (*verdict.WithoutLots, error) {
	turns, answers, err := in.turns(ctx, cores)
	if err != nil {
		return nil, err
	}
	lots := in.outermost(answers)
	plan := in.Plan.First(1)
	whole, err := eval.Nested(ctx, in.Fitter, in.Matrix, plan, in.Seed, cores)
	if err != nil {
		return nil, err
	}
	shift := make([]float64, len(lots)) // of Q² when the lot goes
	err = work.Each(ctx, len(lots), cores, func(k int) error {
		q2, ok, err := in.q2Without(ctx, lots[k], plan)
		if err == nil && ok {
			shift[k] = q2 - whole.Q2
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	standing := verdict.Judge(in.Verdict).Standing
	res := &verdict.WithoutLots{Tried: len(lots), Changes: []verdict.WithoutLot{}}
	base := whole.Q2
	if in.Verdict.Q2 != nil {
		base = *in.Verdict.Q2
	}
	for k, lot := range lots {
		if q2 := base + shift[k]; res.LowestLot == "" || q2 < res.LowestQ2 {
			res.LowestQ2, res.LowestLot = q2, lot
		}
	}
	chance, err := in.chanceWithout(ctx, res.LowestLot, plan, cores)
	if err != nil {
		return nil, err
	}
	for k, lot := range lots {
		e := in.Verdict
		q2 := base + shift[k]
		if lot == res.LowestLot && chance != nil {
			e.PermutationP, res.LowestP = chance, chance
		}
		if e.Q2 != nil {
			e.Q2 = &q2
		}
		if a, ok := answers[lot]; ok {
			e.Directions = a
		}
		c := verdict.WithoutLot{Lot: lot, Q2: q2, Directions: turns[lot]}
		if s := verdict.Judge(e).Standing; s != standing {
			c.Standing = s
		}
		if c.Directions == nil {
			c.Directions = []verdict.Turn{}
		}
		if c.Standing != "" || len(c.Directions) > 0 {
			res.Changes = append(res.Changes, c)
		}
	}
	slices.SortStableFunc(res.Changes, func(a, b verdict.WithoutLot) int {
		if (a.Standing != "") != (b.Standing != "") {
			return cmp.Compare(len(b.Standing), len(a.Standing))
		}
		return cmp.Compare(a.Q2, b.Q2)
	})
	return res, nil
}

// q2Without is Q² on the plan's folds without a lot; ok is false where too few
// lots or no variance are left.
func (in Input) q2Without(ctx context.Context, lot string, plan fold.Plan) (q2 float64, ok bool, err error) {
	m, rest, ok := in.less(lot, plan)
	if !ok {
		return 0, false, nil
	}
	h, err := eval.Nested(ctx, in.Fitter, m, rest, in.Seed, 1)
	if err != nil {
		return 0, false, ctx.Err() // without it nothing can be fitted: the lot is not tried
	}
	return h.Q2, !math.IsNaN(h.Q2) && !math.IsInf(h.Q2, 0), nil
}

// chanceWithout is the short permutation test without a lot, or nil where the
// model had none or it cannot be made.
func (in Input) chanceWithout(ctx context.Context, lot string, plan fold.Plan, cores int) (*float64, error) {
	m, rest, ok := in.less(lot, plan)
	if !ok || in.Verdict.PermutationP == nil {
		return nil, nil
	}
	p, err := eval.Permute(ctx, in.Fitter, m, rest, shuffles, in.Seed, cores, work.Quiet)
	if err != nil {
		return nil, ctx.Err()
	}
	return &p.P, nil
}

// less is the matrix and the plan's first repeat without a lot; ok is false where
// fewer than two folds are left.
func (in Input) less(lot string, plan fold.Plan) (*design.Matrix, fold.Plan, bool) {
	var rows, of []int
	renumber := map[int]int{}
	for i, l := range in.Matrix.Lots() {
		if l == lot {
			continue
		}
		k, seen := renumber[plan.Fold[0][i]]
		if !seen {
			k = len(renumber)
			renumber[plan.Fold[0][i]] = k
		}
		rows, of = append(rows, i), append(of, k)
	}
	if len(renumber) < 2 {
		return nil, fold.Plan{}, false
	}
	return in.Matrix.Subset(rows), fold.Plan{Scheme: plan.Scheme, Fold: [][]int{of}, K: []int{len(renumber)}}, true
}

// outermost are the lots to leave out, in order of the matrix: those that rules
// were checked without, and the Most farthest out.
func (in Input) outermost(checked map[string][]direction.Answer) []string {
	var lots []string
	out := map[string]float64{}
	y := in.Matrix.Y()
	sd, mean := metric.SD(y), 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for i, lot := range in.Matrix.Lots() {
		far := in.Domain.Place(in.Matrix.Row(i)).T2
		if sd > 0 {
			far += (y[i] - mean) * (y[i] - mean) / (sd * sd)
		}
		if _, seen := out[lot]; !seen {
			lots = append(lots, lot)
		}
		out[lot] = max(out[lot], far)
	}
	if len(lots) <= most {
		return lots
	}
	order := slices.Clone(lots)
	slices.SortStableFunc(order, func(a, b string) int { return cmp.Compare(out[b], out[a]) })
	keep := map[string]bool{}
	for _, lot := range order[:most] {
		keep[lot] = true
	}
	return slices.DeleteFunc(lots, func(lot string) bool { return !keep[lot] && checked[lot] == nil })
}
