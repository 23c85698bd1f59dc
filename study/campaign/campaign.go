// Package campaign is a whole laboratory's job: files joined into a table, models made
// of it and written down, new lots forecast, curves drawn.
//
//  1. Run joins the files into Dir/table.csv.
//  2. Every model wanted is fitted, and forecasts the new lots that go with it.
//  3. The result holds them in order; what it names is relative to Dir, so that it does
//     not depend on where the campaign was run.
//
// It composes jobs of package study and computes nothing. The first job that refuses
// ends it.
package campaign

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study"
)

// Request is a whole laboratory's job: files, the models wanted of them, and
// the new lots to forecast. Paths of what is written are below Dir.
type Request struct {
	Dir    string
	Files  dataset.Files
	Models []Model
	Curves []Curves
	Title  string
	Fit    study.FitRequest // what all models share: folds, repeats, permutations
	Notice string
}

// Curves asks for the curves of some files, or of some lots of them, to be
// drawn together.
type Curves struct {
	Heading string
	Paths   []string
	Lots    []string // empty: all
}

// Model is one model of a Run: a fit, the file for it below Dir (slashes), and
// forecasts to make with it.
type Model struct {
	File     string
	Product  string
	Response string
	Kind     string
	Method   string
	Features []string
	Note     string
	// Treatment is how treatments of flour are taken; empty as in Fit.
	Treatment treatment.Use
	New       *study.ForecastRequest // files of new lots, nil for none
	Spec      *forecast.Spec
}

// Result is what came of a Run. Paths are relative to its Dir.
type Result struct {
	Title  string
	Notice string
	Dir    string
	Table  string
	Join   *study.JoinResult
	Models []Outcome
	Curves []CurveSet
}

// CurveSet is curves to be drawn together, under a heading.
type CurveSet struct {
	Heading string
	Runs    []study.RunFeatures
}

// Outcome is one model with what was forecast by it.
type Outcome struct {
	Want      Model
	Fit       *study.FitResult
	Forecasts *study.ForecastResult
}

// Run joins the files into Dir/table.csv, fits every model into its file, and
// forecasts. It only composes Join, Fit and Forecast.
func Run(ctx context.Context, env study.Env, q Request) (*Result, error) {
	res := &Result{Title: q.Title, Notice: q.Notice, Dir: q.Dir, Table: "table.csv"}
	if err := os.MkdirAll(q.Dir, 0o755); err != nil {
		return nil, err
	}
	var err error
	tablePath := filepath.Join(q.Dir, res.Table)
	if res.Join, err = study.Join(ctx, env, study.JoinRequest{Files: q.Files, Out: tablePath}); err != nil {
		return nil, err
	}
	res.Join.Findings = below(q.Dir, res.Join.Findings)
	for _, want := range q.Models {
		fit := q.Fit
		fit.Table, fit.File, fit.Notice, fit.Methods = res.Join.Joined.Table, res.Table, q.Notice, q.Files.Methods
		fit.Product, fit.Response, fit.Kind, fit.Method, fit.Features = want.Product, want.Response, want.Kind, want.Method, want.Features
		fit.Treatment = want.Treatment
		fit.Out = filepath.Join(q.Dir, filepath.FromSlash(want.File))
		if err := os.MkdirAll(filepath.Dir(fit.Out), 0o755); err != nil {
			return nil, err
		}
		out := Outcome{Want: want}
		if out.Fit, err = study.Fit(ctx, env, fit); err != nil {
			return nil, fmt.Errorf("%s of %s: %w", want.Response, want.Product, err)
		}
		if want.New != nil {
			f := *want.New
			f.Card, f.Model, f.Spec = out.Fit.Card, want.File, want.Spec
			if out.Forecasts, err = study.Forecast(ctx, env, f); err != nil {
				return nil, fmt.Errorf("forecasts of %s of %s: %w", want.Response, want.Product, err)
			}
			out.Forecasts.Findings = below(q.Dir, out.Forecasts.Findings)
			for i, lot := range out.Forecasts.Forecasts {
				for k, reason := range lot.Reasons {
					out.Forecasts.Forecasts[i].Reasons[k] = withoutDir(q.Dir, reason)
				}
			}
		}
		res.Models = append(res.Models, out)
	}
	for _, want := range q.Curves {
		f, err := study.Features(ctx, env, study.FeaturesRequest{Pictures: true, Paths: want.Paths, Map: q.Files.Map, Methods: q.Files.Methods, Method: q.Files.Method})
		if err != nil {
			return nil, fmt.Errorf("curves %q: %w", want.Heading, err)
		}
		set := CurveSet{Heading: want.Heading}
		for _, r := range f.Runs {
			if len(want.Lots) == 0 || slices.Contains(want.Lots, r.Lot) {
				set.Runs = append(set.Runs, r)
			}
		}
		res.Curves = append(res.Curves, set)
	}
	return res, nil
}

// below names the files of findings relative to dir, so that what a Run writes
// does not depend on where it was written.
func below(dir string, l finding.List) finding.List {
	out := make(finding.List, len(l))
	for i, f := range l {
		f.At.File, f.Found, f.Want, f.Do = withoutDir(dir, f.At.File), withoutDir(dir, f.Found), withoutDir(dir, f.Want), withoutDir(dir, f.Do)
		out[i] = f
	}
	return out
}

func withoutDir(dir, text string) string {
	return strings.ReplaceAll(text, filepath.Clean(dir)+string(filepath.Separator), "")
}
