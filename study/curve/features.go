// Package curve has the jobs on pasting curves: features with the conformity of
// each run, and whole curves laid on a grid.
//
//  1. Features reads curve files, judges how each run kept to its method and
//     takes its features.
//  2. Lay puts the curves of one method on a common grid, a row a run or a lot,
//     alone or beside the columns of a table.
//
// It computes nothing itself and fits nothing. Runs of different methods are
// never laid on one grid.
package curve

import (
	"context"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/run"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/stat/smooth"
	"flourcast/study/job"
)

// FeaturesRequest names curve files and how to read them. Method and Lot are
// declared for files that do not say themselves; Map may be nil.
type FeaturesRequest struct {
	Paths   []string
	Map     *sheet.Map
	Method  string
	Lot     string
	Methods []method.Method   // a laboratory's own, beside the built-ins
	Policy  conformity.Policy // what deviations from the method do to a run
	// Pictures keeps the curves of all runs, to be drawn: without, no more of
	// them are in memory than there are cores.
	Pictures bool
}

// FeaturesResult is what `features` prints.
type FeaturesResult struct {
	Schema   string         `json:"schema"`
	Runs     []RunFeatures  `json:"runs"`
	Counts   dataset.Counts `json:"counts"`
	Findings finding.List   `json:"findings"` // of files, not of one run
}

// RunFeatures is one run: its features by name in the units of the names, and
// what was found wrong or doubtful with it. A refused run has no features.
type RunFeatures struct {
	File      string             `json:"file"`
	Lot       string             `json:"lot"`
	Method    string             `json:"method"`
	Replicate string             `json:"replicate"`
	Features  map[string]float64 `json:"features"`
	Findings  finding.List       `json:"findings"`
	// Conformity is how the run kept to its method; nil for a run that was
	// refused before its curve was read.
	Conformity *conformity.Report `json:"conformity,omitempty"`

	// Curve is the run itself, Places where features were found on it, Stages
	// what its temperature shows (nil for a refused run) and Programme its
	// method's: for pictures, and the first two only when they were asked for.
	Curve     *pasting.Curve   `json:"-"`
	Places    map[string]Place `json:"-"`
	Stages    *pasting.Stages  `json:"-"`
	Programme []method.Point   `json:"-"`
}

// Place is a point of a curve.
type Place struct{ TimeS, ViscosityMPas float64 }

// Features reads curve files and extracts the features of every run. It returns
// *job.NothingUsableError when no run has features.
func Features(ctx context.Context, env job.Env, q FeaturesRequest) (*FeaturesResult, error) {
	runs := []RunFeatures{}
	res, err := EachFeatures(ctx, env, q, func(r RunFeatures) error {
		runs = append(runs, r)
		return nil
	})
	if err != nil {
		return nil, err
	}
	res.Runs = runs
	return res, nil
}

// EachFeatures does as Features, and hands each run to take instead of keeping it:
// in the order of the files, one at a time. The result has all but the runs. What
// take was given counts for nothing when an error comes back, of take or another.
func EachFeatures(ctx context.Context, env job.Env, q FeaturesRequest, take func(RunFeatures) error) (*FeaturesResult, error) {
	usable := false
	var why finding.List // of runs, until one has features
	counts, findings, err := dataset.EachCurve(ctx, q.Paths, dataset.CurveOptions{
		Map: q.Map, Method: q.Method, Lot: q.Lot, Methods: q.Methods, Keep: q.Pictures, Policy: q.Policy, Cores: env.Cores, Progress: env.Report(),
	}, func(r dataset.Run) error {
		out := runFeatures(r, run.Method(q.Methods, r.Method))
		if len(out.Features) > 0 {
			usable, why = true, nil
		}
		if !usable {
			why = append(why, r.Findings...)
		}
		return take(out)
	})
	if err != nil {
		return nil, err
	}
	if !usable {
		return nil, &job.NothingUsableError{What: "no curve with features in the input", Findings: append(findings, why...)}
	}
	return &FeaturesResult{Schema: "flourcast.features/1", Runs: []RunFeatures{}, Counts: counts, Findings: findings}, nil
}

func runFeatures(r dataset.Run, m method.Method) RunFeatures {
	out := RunFeatures{File: r.At.File, Lot: r.Lot, Method: r.Method, Replicate: r.Replicate,
		Features: map[string]float64{}, Findings: r.Findings,
		Conformity: r.Conformity, Curve: r.Curve, Places: map[string]Place{}, Programme: m.Programme}
	if s, ok := r.Features.Stages(); ok {
		out.Stages = &s
	}
	for _, v := range r.Features.Values() {
		out.Features[v.ID] = v.Value
		if t, ok := r.Features.TimeOf(v.ID); ok && r.Curve != nil {
			out.Places[v.ID] = Place{t, smooth.Interpolate(r.Curve.TimeS, r.Curve.ViscosityMPas, t)}
		}
	}
	return out
}
