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
	runs, counts, findings, err := dataset.ReadCurves(ctx, q.Paths, dataset.CurveOptions{
		Map: q.Map, Method: q.Method, Lot: q.Lot, Methods: q.Methods, Keep: q.Pictures, Policy: q.Policy, Cores: env.Cores, Progress: env.Report(),
	})
	if err != nil {
		return nil, err
	}
	res := &FeaturesResult{Schema: "flourcast.features/1", Runs: []RunFeatures{}, Counts: counts}
	usable := 0
	ofRuns := map[finding.Finding]bool{}
	for _, r := range runs {
		out := runFeatures(r, run.Method(q.Methods, r.Method))
		if len(out.Features) > 0 {
			usable++
		}
		for _, f := range r.Findings {
			ofRuns[f] = true
		}
		res.Runs = append(res.Runs, out)
	}
	for _, f := range findings { // those of a run stand with the run
		if !ofRuns[f] {
			res.Findings.Add(f)
		}
	}
	if usable == 0 {
		return nil, &job.NothingUsableError{What: "no curve with features in the input", Findings: findings}
	}
	return res, nil
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
