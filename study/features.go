package study

import (
	"context"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// FeaturesRequest names curve files and how to read them. Method and Lot are
// declared for files that do not say themselves; Map may be nil.
type FeaturesRequest struct {
	Paths   []string
	Map     *sheet.Map
	Method  string
	Lot     string
	Methods []method.Method // a laboratory's own, beside the built-ins
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

	// Curve is the run itself and Places where features were found on it, for
	// pictures.
	Curve  *pasting.Curve   `json:"-"`
	Places map[string]Place `json:"-"`
}

// Place is a point of a curve.
type Place struct{ TimeS, ViscosityMPas float64 }

// Features reads curve files and extracts the features of every run. It returns
// *NothingUsableError when no run has features.
func Features(ctx context.Context, env Env, q FeaturesRequest) (*FeaturesResult, error) {
	runs, counts, findings, err := dataset.ReadCurves(ctx, q.Paths, dataset.CurveOptions{
		Map: q.Map, Method: q.Method, Lot: q.Lot, Methods: q.Methods, Keep: true, Cores: env.Cores, Progress: env.Report(),
	})
	if err != nil {
		return nil, err
	}
	res := &FeaturesResult{Schema: "flourcast.features/1", Runs: []RunFeatures{}, Counts: counts}
	usable := 0
	ofRuns := map[finding.Finding]bool{}
	for _, r := range runs {
		out := runFeatures(r)
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
		return nil, &NothingUsableError{What: "no curve with features in the input", Findings: findings}
	}
	return res, nil
}

func runFeatures(r dataset.Run) RunFeatures {
	out := RunFeatures{File: r.At.File, Lot: r.Lot, Method: r.Method, Replicate: r.Replicate,
		Features: map[string]float64{}, Findings: r.Findings, Curve: r.Curve, Places: map[string]Place{}}
	for _, v := range r.Features.Values() {
		out.Features[v.ID] = v.Value
		if t, ok := r.Features.TimeOf(v.ID); ok && r.Curve != nil {
			out.Places[v.ID] = Place{t, smooth.Interpolate(r.Curve.TimeS, r.Curve.ViscosityMPas, t)}
		}
	}
	return out
}
