package eval

import (
	"context"
	"errors"
	"slices"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// FoldModels are the models of the plan's first repeat, one a fold, each fitted
// without its fold's rows at the step that picks names (Honest.Picks[0]; nil: the
// path's last step). They are in original units with a coefficient for every
// feature of m: one that does not vary in a training part has 0, and a part in
// which nothing can be explained is its mean. The models are those whose
// predictions Nested averages. Errors: plan.Check, *FoldError, ctx's.
func FoldModels(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, picks []int, cores int) ([]model.Linear, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	out := make([]model.Linear, plan.K[0])
	err := work.Each(ctx, len(out), cores, func(k int) error {
		line, err := fitPart(f, m.Subset(others(m.N(), plan.Test(0, k))), func(path model.Path) int {
			if picks == nil {
				return path.Len() - 1
			}
			return min(picks[k], path.Len()-1)
		})
		if err != nil {
			return &FoldError{plan.Scheme, 0, k, err}
		}
		out[k] = line
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// fitPart fits one training part and gives the equation of the step chosen.
func fitPart(f model.Fitter, sub *design.Matrix, step func(model.Path) int) (model.Linear, error) {
	names := sub.Features()
	out := model.Linear{Coefficients: make([]float64, len(names))}
	path, err := f.Fit(sub)
	var flat *model.NoVarianceError
	if errors.As(err, &flat) && len(flat.Features) > 0 && len(flat.Features) < len(names) {
		vary := slices.DeleteFunc(slices.Clone(names), func(name string) bool { return slices.Contains(flat.Features, name) })
		fewer, err2 := sub.WithFeatures(vary)
		if err2 != nil {
			return out, err2
		}
		sub = fewer
		path, err = f.Fit(sub)
	}
	var none *model.NoCovarianceError
	if errors.As(err, &flat) || errors.As(err, &none) {
		out.Intercept, err = model.MeanOf(sub.Response(), sub.Y())
		return out, err
	}
	if err != nil {
		return out, err
	}
	line := path.At(step(path)).Linear()
	out.Intercept = line.Intercept
	for j, name := range sub.Features() {
		out.Coefficients[slices.Index(names, name)] = line.Coefficients[j]
	}
	return out, nil
}
