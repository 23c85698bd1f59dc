package decisive

import (
	"cmp"
	"context"
	"math"
	"slices"

	"flourcast/eval/direction"
	"flourcast/eval/verdict"
	"flourcast/stat/correlation"
)

// turns checks the established rules again without the lots that carry most of
// each. It returns, by lot, what turns, and all answers with those put in.
func (in Input) turns(ctx context.Context, cores int) (map[string][]verdict.Turn, map[string][]direction.Answer, error) {
	var rules []direction.Rule
	columns := map[string]bool{}
	for _, a := range in.Verdict.Directions {
		if !a.Applies || a.Rule.Standing != direction.Established {
			continue
		}
		columns[a.Feature] = true
		if !slices.ContainsFunc(rules, func(r direction.Rule) bool { return r.ID == a.Rule.ID }) {
			rules = append(rules, a.Rule)
		}
	}
	turns, answers := map[string][]verdict.Turn{}, map[string][]direction.Answer{}
	if len(rules) == 0 {
		return turns, answers, nil
	}
	small := in.Evidence
	small.Features = slices.DeleteFunc(slices.Clone(small.Features), func(c direction.FeatureColumn) bool { return !columns[c.ID] && c.ID != sproutColumn })
	for _, lot := range in.carriers(small, columns) {
		fresh, err := direction.Check(ctx, rules, small.Without(lot), in.Seed, cores)
		if err != nil {
			return nil, nil, err
		}
		all := slices.Clone(in.Verdict.Directions)
		for i, was := range all {
			at := slices.IndexFunc(fresh, func(a direction.Answer) bool {
				return a.Rule.ID == was.Rule.ID && a.Feature == was.Feature && a.Applies
			})
			if at < 0 || !was.Applies {
				continue
			}
			is := fresh[at]
			if is.Outcome != was.Outcome && (was.Outcome != direction.CannotTell || is.Outcome == direction.Contradicted) {
				turns[lot] = append(turns[lot], verdict.Turn{Rule: was.Rule.ID, Feature: was.Feature, From: was.Outcome, To: is.Outcome})
			}
			all[i] = is
		}
		answers[lot] = all
	}
	return turns, answers, nil
}

// sproutColumn tells sprouted lots, see direction.Evidence.
const sproutColumn = "falling_number_s"

// carriers are the lots without which the correlation of a column with the
// response moves most, either way, in order of first mention.
func (in Input) carriers(e direction.Evidence, columns map[string]bool) []string {
	var out []string
	for _, c := range e.Features {
		if !columns[c.ID] {
			continue
		}
		var lots []string
		var x, y []float64
		for i, lot := range e.Lots {
			if c.Present == nil || c.Present[i] {
				lots, x, y = append(lots, lot), append(x, c.X[i]), append(y, e.Y[i])
			}
		}
		all, ok := correlation.Pearson(x, y, nil)
		if !ok {
			continue
		}
		moves := make([]float64, len(x))
		order := make([]int, len(x))
		for i := range x {
			order[i] = i
			if r, ok := correlation.Pearson(without(x, lots, lots[i]), without(y, lots, lots[i]), nil); ok {
				moves[i] = r - all
			}
		}
		for _, sign := range []float64{1, -1} {
			slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(sign*moves[b], sign*moves[a]) })
			for _, i := range order[:min(heaviest, len(order))] {
				if math.Abs(moves[i]) > 0 && !slices.Contains(out, lots[i]) {
					out = append(out, lots[i])
				}
			}
		}
	}
	return out
}

func without(v []float64, lots []string, lot string) []float64 {
	out := make([]float64, 0, len(v))
	for i, l := range lots {
		if l != lot {
			out = append(out, v[i])
		}
	}
	return out
}
