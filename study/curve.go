package study

import (
	"context"

	"flourcast/study/book"
	"flourcast/study/curve"
)

// What the jobs on pasting curves take and give.
type (
	FeaturesRequest = curve.FeaturesRequest
	FeaturesResult  = curve.FeaturesResult
	RunFeatures     = curve.RunFeatures
	LayRequest      = curve.LayRequest
	LayResult       = curve.LayResult
)

// Features reads the features of curves. See curve.Features.
func Features(ctx context.Context, env Env, q FeaturesRequest) (*FeaturesResult, error) {
	return curve.Features(ctx, env, q)
}

// EachFeatures reads the features of curves and hands on each run. See curve.EachFeatures.
func EachFeatures(ctx context.Context, env Env, q FeaturesRequest, take func(RunFeatures) error) (*FeaturesResult, error) {
	return curve.EachFeatures(ctx, env, q, take)
}

// Lay lays curves on a grid. See curve.Lay.
func Lay(ctx context.Context, env Env, q LayRequest) (*LayResult, error) {
	return curve.Lay(ctx, env, q)
}

// BookCurves lays the whole curves of a lab book, but for the fast stir, beside its joined
// table, which q.Table is; its methods are known beside q.Methods. See curve.Lay.
func BookCurves(ctx context.Context, env Env, dir string, q LayRequest) (*LayResult, error) {
	files, err := BookFiles(ctx, dir)
	if err != nil {
		return nil, err
	}
	q.Paths, q.Lots, q.Runs, q.Map, q.Methods = files.Curves, files.Lots, files.Runs, files.Map, book.WithMethods(q.Methods, files.Methods)
	q.Steady = true
	return curve.Lay(ctx, env, q)
}
