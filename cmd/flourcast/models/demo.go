package models

import (
	"fmt"
	"path/filepath"
	"time"

	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset"
	"flourcast/dataset/treatment"
	"flourcast/demo"
	"flourcast/forecast"
	"flourcast/report"
	"flourcast/study"
	"flourcast/study/campaign"

	"github.com/spf13/cobra"
)

// demoDay is the demo's own date: an invented mill is not made anew each day, so
// that the same seed gives the same bytes.
var demoDay = time.Date(2026, time.January, 15, 9, 0, 0, 0, time.UTC)

// demoResult is what `demo --json` prints. Paths are relative to Dir.
type demoResult struct {
	Schema string      `json:"schema"`
	Dir    string      `json:"dir"`
	Notice string      `json:"notice"`
	Table  string      `json:"table"`
	Report string      `json:"report"`
	Models []demoModel `json:"models"`
}

type demoModel struct {
	File     string `json:"file"`
	Product  string `json:"product"`
	Response string `json:"response"`
	Standing string `json:"standing"`
}

// Demo is the command `demo`.
func Demo(a *shell.App) *cobra.Command {
	c := &cobra.Command{
		Use:   "demo DIR",
		Short: "Write an invented mill's files and take them through the whole job",
		Long: `demo writes the raw files of an invented mill into DIR/raw, as a laboratory
would have them, with faults and all, and takes them in by the front door:
DIR/table.csv, DIR/models, DIR/report.html. The same seed gives the same bytes.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			dir := args[0]
			mill, err := demo.Write(dir, a.Seed)
			if err != nil {
				return err
			}
			request, err := millRequest(dir, mill)
			if err != nil {
				return err
			}
			env := a.Env()
			env.Clock = func() time.Time { return demoDay }
			run, err := campaign.Run(c.Context(), env, request)
			if err != nil {
				return err
			}
			res := demoResult{Schema: "flourcast.demo/1", Dir: dir, Notice: demo.Notice, Table: run.Table, Report: "report.html", Models: []demoModel{}}
			if err := shell.WriteHTML(filepath.Join(dir, res.Report), report.Run(run)); err != nil {
				return err
			}
			for _, m := range run.Models {
				res.Models = append(res.Models, demoModel{m.Want.File, m.Fit.Product, m.Fit.Response, m.Fit.Verdict.Standing})
			}
			return a.Show(res, func() report.Document {
				d := report.Overview(run)
				d.Meta = append(d.Meta, report.Pair{Name: "report", Value: filepath.Join(dir, res.Report)})
				return d
			})
		},
	}
	a.SeedFlag(c)
	return c
}

// millRequest turns what the mill has and wants into a study's request.
func millRequest(dir string, mill demo.Mill) (campaign.Request, error) {
	in := func(files []string) []string {
		out := make([]string, len(files))
		for i, f := range files {
			out[i] = filepath.Join(dir, filepath.FromSlash(f))
		}
		return out
	}
	q := campaign.Request{
		Dir: dir, Title: demo.Name, Notice: demo.Notice,
		Files: dataset.Files{Lots: in(mill.Lots), Runs: in(mill.Runs), Curves: in(mill.Curves), Pasting: in(mill.Pasting), Texture: in(mill.Texture), Bakes: in(mill.Bakes)},
		Fit:   study.FitRequest{Repeats: 10, Permutations: 199},
	}
	spec, err := forecast.ParseSpec(mill.New.Spec)
	if err != nil {
		return q, fmt.Errorf("the mill's specification: %w", err)
	}
	fresh := in([]string{mill.New.Curves})
	for _, w := range mill.Wanted {
		m := campaign.Model{File: w.File, Product: w.Product, Response: w.Response, Kind: w.Kind, Method: w.Method, Features: w.Features, Note: w.Note}
		if w.TreatmentAsFactor {
			m.Treatment = treatment.AsFactor
		}
		if w.Product == mill.Truth.MainProduct && w.Response == spec.Response {
			m.New = &study.ForecastRequest{Paths: fresh, Lots: in([]string{mill.New.Lots})[0]}
			m.Spec = &spec
		}
		q.Models = append(q.Models, m)
	}
	q.Curves = []campaign.Curves{{Heading: "Curves of the new lots", Paths: fresh}}
	return q, nil
}
