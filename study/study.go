// Package study has one typed function for each job of the program: features of
// curves, join, fit, verdict, forecast, report, and Run, which only composes
// them. It is what every face calls, and no face computes.
//
//  1. A request struct says what is wanted; Env gives the clock, version, seed
//     and progress.
//  2. The function calls the packages below in the one way through.
//  3. A result struct with a schema name comes back. It is what --json prints
//     and what report turns into documents. Fields are only ever added.
//
// It refuses a request that contradicts itself with a *RequestError, and an
// input of which nothing can be used with a *NothingUsableError; then nothing
// is written.
package study

import (
	"context"

	"flourcast/study/card"
	"flourcast/study/fitting"
	"flourcast/study/job"
)

// What jobs take and may answer, under one name for the faces.
type (
	Env                = job.Env
	RequestError       = job.RequestError
	NothingUsableError = job.NothingUsableError
	FitRequest         = fitting.Request
	FitResult          = fitting.Result
)

// Fit fits a model and judges it. See fitting.Fit.
func Fit(ctx context.Context, env Env, q FitRequest) (*FitResult, error) {
	return fitting.Fit(ctx, env, q)
}

// VersionResult is what `version` prints.
type VersionResult struct {
	Schema      string `json:"schema"`
	Version     string `json:"version"`
	ModelSchema string `json:"model_schema"`
	Go          string `json:"go"`
}

// Version names the program's version and that of the model files it writes.
func Version(program, goVersion string) VersionResult {
	return VersionResult{"flourcast.version/1", program, card.Schema, goVersion}
}
