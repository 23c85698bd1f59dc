package study

import (
	"context"

	"flourcast/study/weighing"
)

// WeighRequest and WeighResult are those of `weigh`.
type (
	WeighRequest = weighing.Request
	WeighResult  = weighing.Result
)

// Weigh works out what to weigh in for a method. See weighing.Weigh.
func Weigh(ctx context.Context, env Env, q WeighRequest) (*WeighResult, error) {
	return weighing.Weigh(ctx, env, q)
}
