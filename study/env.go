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
	"fmt"
	"time"

	"flourcast/finding"
	"flourcast/study/card"
	"flourcast/work"
)

// Env is everything that a job takes from outside its request.
type Env struct {
	Clock    func() time.Time
	Version  string // of the program
	Seed     uint64
	Cores    int // 0: all
	Progress work.Progress
}

// now is the time of the job, in UTC and whole seconds.
func (e Env) now() time.Time { return e.Clock().UTC().Truncate(time.Second) }

// progress is Env's, or a quiet one.
func (e Env) progress() work.Progress {
	if e.Progress == nil {
		return work.Quiet
	}
	return e.Progress
}

// RequestError says that a request cannot be answered as it stands: an unknown
// kind of model, a response that the table lacks.
type RequestError struct{ Found, Want, Do string }

func (e *RequestError) Error() string {
	text := "found " + e.Found + ", expected " + e.Want
	if e.Do != "" {
		text += "; " + e.Do
	}
	return text
}

// NothingUsableError says that no row of the input can be used, and why.
type NothingUsableError struct {
	What     string
	Findings finding.List
}

func (e *NothingUsableError) Error() string {
	text := e.What
	const shown = 5
	for i, f := range e.Findings.With(finding.Refused) {
		if i == shown {
			text += fmt.Sprintf("\n  … and %d more", e.Findings.Count(finding.Refused)-shown)
			break
		}
		text += "\n  " + f.String()
	}
	return text
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
