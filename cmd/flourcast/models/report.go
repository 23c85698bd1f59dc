package models

import (
	"fmt"

	"flourcast/cmd/flourcast/shell"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/report"
	reporting "flourcast/report/operating"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/operating"

	"github.com/spf13/cobra"
)

// reportSummary is what `report --json` prints.
type reportSummary struct {
	Schema   string `json:"schema"`
	Report   string `json:"report"`
	Response string `json:"response"`
	Standing string `json:"standing"`
	Curves   int    `json:"curves"`
}

func Report(a *shell.App) *cobra.Command {
	var (
		q     study.ReportRequest
		files shell.Inputs
		out   string
		spec  string
		book  shell.Book
		lots  []string

		forces shell.Forces
	)
	c := &cobra.Command{
		Use:   "report MODEL.json [--curves F... | --book DIR --lot LOT,…] [-o report.html]",
		Short: "Write one self-contained HTML page: curves, relations, validation, verdict, forecasts",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			err := forces.Check()
			if err != nil {
				return err
			}
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			q.Model = args[0]
			if q.Card, err = study.OpenModel(c.Context(), book.Dir, q.Model); err != nil {
				return err
			}
			switch {
			case book.Given() && len(q.Curves) > 0, !book.Given() && len(lots) > 0:
				return &shell.UsageError{What: "--curves goes without a book, --lot with one"}
			case book.Given() && files.Map != "":
				return &shell.UsageError{What: "--map does not go with --book: the rows of a book were read by their map when they were added"}
			}
			q.Book, q.Lots = book.Dir, lots
			if spec != "" {
				s, err := forecast.ParseSpec(spec)
				if err != nil {
					return &shell.UsageError{What: "--spec: " + err.Error()}
				}
				q.Spec = &s
			}
			res, err := study.Report(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			d := report.Model(res)
			if q.Spec != nil {
				more, err := windowSections(c, a, res.Card, *q.Spec)
				if err != nil {
					return err
				}
				d.Sections = append(d.Sections, more...)
			}
			if err := shell.WriteHTML(out, forces.In(d)); err != nil {
				return err
			}
			if a.AsJSON {
				return a.WriteJSON(reportSummary{"flourcast.report/1", out, res.Card.Response, string(res.Card.Verdict.Standing), len(res.Runs)})
			}
			_, err = fmt.Fprintln(a.Stdout, "report:", out)
			return err
		},
	}
	files.Add(c)
	book.Add(c)
	forces.Add(c)
	c.Flags().StringSliceVar(&lots, "lot", nil, "lots of the book to draw and forecast")
	c.Flags().StringArrayVar(&q.Curves, "curves", nil, "curve files to draw and forecast")
	c.Flags().StringVar(&spec, "spec", "", "limits of the response ('hardness_N=..3.9'): adds the operating windows, one feature and two")
	c.Flags().StringVarP(&out, "output", "o", "report.html", "HTML file to write")
	return c
}

// windowSections are the operating windows of a report: of peak viscosity, and with
// breakdown where the model has both. A model that is not fit for use has none.
func windowSections(c *cobra.Command, a *shell.App, m *card.Card, s forecast.Spec) ([]report.Section, error) {
	if m.Verdict.Standing == verdict.NotFitForUse {
		return []report.Section{{Heading: "Operating window", Blocks: []report.Block{report.Paragraph("None: the model is not fit for use.")}}}, nil
	}
	var out []report.Section
	for _, by := range operating.Views(m) {
		res, err := operating.FromModel(c.Context(), a.Env(), operating.Request{Card: m, Spec: s, By: by})
		if err != nil {
			return nil, err
		}
		out = append(out, reporting.Sections(res)...)
	}
	return out, nil
}
