// Package coverage makes a model's forecast interval, and tries it on lots that
// stood apart.
//
//  1. Make gives least squares with one row a lot its prediction interval,
//     t·s·√(1 + h); every other method a jackknife+ or CV+ interval from the
//     folds that its cross-validation used.
//  2. LeaveOut takes each group of lots (a crop year) out, makes model and
//     interval anew from the rest, and counts the group's lots inside.
//
// Measured on simulated mills (see docs/intervals.md), on average over
// calibration sets 88 to 92 % of new lots lie inside an interval of 90 % from 30
// lots on. A single set's observed coverage varies by more, and is not judged
// by that. The package refuses what eval and eval/interval refuse.
package coverage

import (
	"context"
	"fmt"
	"math"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/eval/interval"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
)

// Make gives the interval of method f fitted on m as final, cross-validated by
// plan with the choices of honest. final decides which kind: a least-squares fit
// without weights and with one row a lot takes the parametric interval (variance σ², its own
// leverage, n − p − 1 degrees of freedom), anything else the folds of the plan's
// first repeat. Errors: *interval.ValueError, and those of eval.FoldModels.
func Make(ctx context.Context, f model.Fitter, m *design.Matrix, final model.Fitted, plan fold.Plan, honest *eval.Honest, cores int) (interval.Source, error) {
	if ols, ok := final.(*linear.OLSModel); ok && !ols.Weighted() && oneRowEach(m.Lots()) {
		normal, err := interval.New(ols.Sigma()*ols.Sigma(), m.N(), ols.DF())
		return interval.Source{Normal: normal, Leverage: ols.LeverageAt}, err
	}
	var picks []int
	if honest.Picks != nil {
		picks = honest.Picks[0]
	}
	lines, err := eval.FoldModels(ctx, f, m, plan, picks, cores)
	if err != nil {
		return interval.Source{}, err
	}
	models := make([]interval.Equation, len(lines))
	for k, l := range lines {
		models[k] = interval.Equation{Intercept: l.Intercept, Coefficients: l.Coefficients}
	}
	onLog := false
	if l, ok := final.(model.OnLog); ok {
		onLog = l.OnLog()
	}
	misses := make([]interval.Miss, m.N())
	for i, lot := range m.Lots() {
		k := plan.Fold[0][i]
		y := m.Y()[i]
		if onLog {
			y = math.Log(y)
		}
		misses[i] = interval.Miss{Lot: lot, Model: k, Size: abs(y - models[k].At(m.Row(i)))}
	}
	build := interval.NewCross
	if onLog {
		build = interval.NewLogCross
	}
	cross, err := build(models, misses)
	return interval.Source{Cross: cross}, err
}

func abs(v float64) float64 { return max(v, -v) }

func oneRowEach(lots []string) bool {
	seen := make(map[string]bool, len(lots))
	for _, lot := range lots {
		if seen[lot] {
			return false
		}
		seen[lot] = true
	}
	return true
}

// Left is how the lots of one group fared that the model had not seen. Known is
// how many of its rows had a finite interval, and Inside how many of those lay
// inside it.
type Left struct {
	Rows          []int
	Known, Inside int
}

// LeaveOut takes each fold of the plan's first repeat out, makes the interval of
// f from the other rows alone (their own folds by lot, every choice inside), and
// counts the fold's rows inside at level. Rows are in order of the folds. Errors
// are those of eval.Nested and Make; *fold.TooFewUnitsError where the rest cannot
// be split.
func LeaveOut(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, level float64, seed uint64, cores int) ([]Left, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	out := make([]Left, plan.K[0])
	for k := range out {
		out[k].Rows = plan.Test(0, k)
		var rest []int
		for i, at := range plan.Fold[0] {
			if at != k {
				rest = append(rest, i)
			}
		}
		source, predict, err := refit(ctx, f, m.Subset(rest), seed, cores)
		if err != nil {
			return nil, fmt.Errorf("%s, without fold %d: %w", plan.Scheme, k+1, err)
		}
		for _, i := range out[k].Rows {
			r, err := source.Around(m.Row(i), predict(m.Row(i)), level)
			if err != nil {
				return nil, err
			}
			if r.Low == nil || r.High == nil {
				continue
			}
			out[k].Known++
			if y := m.Y()[i]; *r.Low <= y && y <= *r.High {
				out[k].Inside++
			}
		}
	}
	return out, nil
}

// refit makes model and interval from m's rows alone.
func refit(ctx context.Context, f model.Fitter, m *design.Matrix, seed uint64, cores int) (interval.Source, func([]float64) float64, error) {
	plan, err := fold.Parse("lot", m, 1, seed)
	if err != nil {
		return interval.Source{}, nil, err
	}
	path, err := f.Fit(m)
	if err != nil {
		return interval.Source{}, nil, err
	}
	honest, err := eval.Nested(ctx, f, m, plan, seed, cores)
	if err != nil {
		return interval.Source{}, nil, err
	}
	// The value matters to a path of one step only: cross intervals carry their own.
	final := path.At(path.Len() - 1)
	source, err := Make(ctx, f, m, final, plan, honest, cores)
	return source, final.Predict, err
}
