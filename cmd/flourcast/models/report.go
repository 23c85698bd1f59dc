package models

import (
	"fmt"

	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/study"

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
		book  shell.Book
		lots  []string
	)
	c := &cobra.Command{
		Use:   "report MODEL.json [--curves F... | --book DIR --lot LOT,…] [-o report.html]",
		Short: "Write one self-contained HTML page: curves, relations, validation, verdict, forecasts",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
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
			res, err := study.Report(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := shell.WriteHTML(out, report.Model(res)); err != nil {
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
	c.Flags().StringSliceVar(&lots, "lot", nil, "lots of the book to draw and forecast")
	c.Flags().StringArrayVar(&q.Curves, "curves", nil, "curve files to draw and forecast")
	c.Flags().StringVarP(&out, "output", "o", "report.html", "HTML file to write")
	return c
}
