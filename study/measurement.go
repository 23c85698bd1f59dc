package study

import (
	"context"

	"flourcast/study/measurement"
)

// What the jobs on the laboratory's own measuring take and give.
type (
	RepeatabilityRequest = measurement.RepeatabilityRequest
	RepeatabilityResult  = measurement.RepeatabilityResult
	ControlRequest       = measurement.ControlRequest
	ControlResult        = measurement.ControlResult
)

// Repeatability tells how well duplicates agree. See measurement.Repeatability.
func Repeatability(ctx context.Context, env Env, q RepeatabilityRequest) (*RepeatabilityResult, error) {
	return measurement.Repeatability(ctx, env, q)
}

// Control charts the control flour. See measurement.Control.
func Control(ctx context.Context, env Env, q ControlRequest) (*ControlResult, error) {
	return measurement.Control(ctx, env, q)
}
