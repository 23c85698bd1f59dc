package main

import (
	"bytes"
	"fmt"

	"flourcast/report"
	"flourcast/study"
	"flourcast/study/job"

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

func (a *app) reportCommand() *cobra.Command {
	var (
		q     study.ReportRequest
		files inputFlags
		out   string
	)
	c := &cobra.Command{
		Use:   "report MODEL.json [--curves F...] [-o report.html]",
		Short: "Write one self-contained HTML page: curves, relations, validation, verdict, forecasts",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.load(); err != nil {
				return err
			}
			q.Model = args[0]
			res, err := study.Report(c.Context(), a.env(), q)
			if err != nil {
				return err
			}
			if err := writeHTML(out, report.Model(res)); err != nil {
				return err
			}
			if a.asJSON {
				return a.writeJSON(reportSummary{"flourcast.report/1", out, res.Card.Response, string(res.Card.Verdict.Standing), len(res.Runs)})
			}
			_, err = fmt.Fprintln(a.stdout, "report:", out)
			return err
		},
	}
	files.add(c)
	c.Flags().StringArrayVar(&q.Curves, "curves", nil, "curve files to draw and forecast")
	c.Flags().StringVarP(&out, "output", "o", "report.html", "HTML file to write")
	return c
}

// writeHTML renders the document whole, then puts it in place.
func writeHTML(path string, d report.Document) error {
	var b bytes.Buffer
	if err := report.HTML(&b, d); err != nil {
		return err
	}
	return job.WriteWhole(path, b.Bytes())
}
