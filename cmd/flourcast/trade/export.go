package trade

import (
	"fmt"

	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/report/pmml"
	"flourcast/report/scoresheet"
	reporttakeaway "flourcast/report/takeaway"
	"flourcast/study"
	"flourcast/study/job"
	"flourcast/study/takeaway"

	"github.com/spf13/cobra"
)

// Export is the command.
func Export(a *shell.App) *cobra.Command {
	var (
		q    takeaway.Request
		book shell.Book
		spec string
		path = map[string]*string{}
	)
	c := &cobra.Command{
		Use:   "export MODEL.json --pmml F.pmml | --xlsx F.xlsx | --csv F.csv",
		Short: "Take a model away by open standards: PMML, a workbook that scores a lot, tidy CSV",
		Long: `export writes a model for use without flourcast: as PMML 4.4, as a workbook whose
formulas score a lot, show interval and decision and hold a lot outside the calibrated
range, and as one tidy table. The flags may be combined. Every file has the verdict on
top; a model that is not fit for use is written too, and decides nothing. Whoever has
the files has the model: coefficients are in them, names of lots are not.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			some := false
			for _, w := range writers {
				some = some || *path[w.format] != ""
			}
			if !some {
				return &shell.UsageError{What: "export needs --pmml, --xlsx or --csv with a file to write"}
			}
			var err error
			if q.Spec, err = shell.Spec(spec); err != nil {
				return err
			}
			q.Model = args[0]
			if q.Card, err = study.OpenModel(c.Context(), book.Dir, q.Model); err != nil {
				return err
			}
			res, err := takeaway.Make(a.Env(), q)
			if err != nil {
				return err
			}
			if err := writeAll(res, path); err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return reporttakeaway.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.FitForUse(), "the model is "+res.Standing)
		},
	}
	for _, w := range writers {
		path[w.format] = c.Flags().String(w.format, "", w.help)
	}
	book.Add(c)
	c.Flags().StringVar(&spec, "spec", "", "limits of the response, filled into the workbook: 'hardness_N=3.2..4.0', '3.2..' or '..4.0'")
	c.Flags().Float64Var(&q.Level, "level", 0.90, "level of the interval")
	a.StrictFlag(c, "the model is not fit for use")
	return c
}

// writers are the formats, in the order in which they are written.
var writers = []struct {
	format, help string
	write        func(*takeaway.Result) ([]byte, error)
}{
	{"pmml", "PMML 4.4 file to write", pmml.Write},
	{"xlsx", "workbook to write", scoresheet.Write},
	{"csv", "tidy CSV to write", reporttakeaway.CSV},
}

// writeAll makes every file before the first is put in place.
func writeAll(res *takeaway.Result, path map[string]*string) error {
	made := map[string][]byte{}
	for _, w := range writers {
		if *path[w.format] == "" {
			continue
		}
		data, err := w.write(res)
		if err != nil {
			return fmt.Errorf("%s: %w", *path[w.format], err)
		}
		made[w.format] = data
	}
	for _, w := range writers {
		data, ok := made[w.format]
		if !ok {
			continue
		}
		if err := job.WriteWhole(*path[w.format], data); err != nil {
			return err
		}
		res.Wrote(w.format, *path[w.format], data)
	}
	return nil
}
