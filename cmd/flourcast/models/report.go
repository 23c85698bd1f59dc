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
	// Chapters are the titles of what was added to the model's own page.
	Chapters []string `json:"chapters"`
}

// Report is the command `report`.
func Report(a *shell.App) *cobra.Command {
	var (
		q     study.ReportRequest
		files shell.Inputs
		out   string
		spec  string
		book  shell.Book
		lots  []string
		parts reportParts

		forces shell.Forces
	)
	c := &cobra.Command{
		Use:   "report MODEL [--curves F... | --book DIR --lot LOT,… --follow --choose N] [-o report.html]",
		Short: "Write one self-contained HTML page: curves, relations, validation, verdict, forecasts",
		Long: `report writes one page of a model: its verdict first, then what stands behind it.
--curves (or --book and --lot) adds curves and forecasts of new lots, --spec the
operating windows. From a lab book --follow adds the follow-up, --production the
window from production notes, --choose the lots to measure next; --bridge adds the
comparison of two instruments. Each chapter is what the command of its name says.`,
		Args: cobra.ExactArgs(1),
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
			if err := parts.check(book.Given()); err != nil {
				return err
			}
			if q.Spec, err = shell.Spec(spec); err != nil {
				return err
			}
			res, err := study.Report(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			d := report.Model(res)
			chapters, err := parts.chapters(c, a, q, book)
			if err != nil {
				return err
			}
			summary := reportSummary{"flourcast.report/1", out, res.Card.Response, string(res.Card.Verdict.Standing), len(res.Runs), []string{}}
			for _, more := range chapters {
				d.Sections = append(d.Sections, more.Chapter("model", "verdict of the model", "verdict when it was made", "pasting method")...)
				summary.Chapters = append(summary.Chapters, more.Title)
			}
			if err := shell.WriteHTML(out, forces.In(d)); err != nil {
				return err
			}
			if a.AsJSON {
				return a.WriteJSON(summary)
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
	parts.add(c)
	c.Flags().StringVarP(&out, "output", "o", "report.html", "HTML file to write")
	return c
}
