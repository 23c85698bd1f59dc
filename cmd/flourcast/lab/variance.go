package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	measured "flourcast/report/measurement"
	"flourcast/study"
	"flourcast/study/spread"

	"github.com/spf13/cobra"
)

// Variance is the command `variance`.
func Variance(a *shell.App) *cobra.Command {
	var q spread.Request
	var out string
	var book shell.Book
	c := &cobra.Command{
		Use:   "variance FILE|--book DIR --response COL --by lot,day,batch [--want-se X] [-o report.html]",
		Short: "Split a measurement's variance by lot, day, batch and piece; say how many a lot needs",
		Long: `variance takes a file with a row for every single measurement (a strand, a cake)
and columns that say which lot, day and batch it came from, the widest first. It
gives the variance component of each, and the standard error that a lot's mean
would have with so many days, batches and pieces. With --book the rows are the single
texture and bake readings of a lab book, and the columns to split by are lot,
product, protocol, batch, treatment, day and replicate.

Labels that only count (1, 2, 3) and recur are taken as counted anew within the
factors before; dates, names and temperatures mean the same everywhere and
cross. --crossed and --nested overrule that.`,
		Args: book.Args(cobra.ExactArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--response", q.Response); err != nil {
				return err
			}
			if len(q.By) == 0 {
				return &shell.UsageError{What: "the flag --by is missing"}
			}
			if c.Flags().Changed("want-se") && !(q.WantSE > 0) {
				return &shell.UsageError{What: "--want-se: expected a number above 0, in the unit of the response"}
			}
			if book.Given() {
				var err error
				if q.Rows, q.Findings, err = study.BookReadings(c.Context(), a.Env(), book.Dir); err != nil {
					return err
				}
				q.File = "lab book " + book.Shown()
			} else {
				q.File = args[0]
			}
			res, err := spread.Variance(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := shell.WriteHTML(out, measured.Variance(res)); err != nil {
					return err
				}
			}
			return a.Show(res, func() report.Document { return measured.Variance(res) })
		},
	}
	book.Add(c)
	fl := c.Flags()
	fl.StringVar(&q.Response, "response", "", "column whose variance is split")
	fl.StringSliceVar(&q.By, "by", nil, "columns to split it by, the widest first: lot,day,batch")
	fl.StringSliceVar(&q.Crossed, "crossed", nil, "columns whose labels mean the same wherever they stand")
	fl.StringSliceVar(&q.Nested, "nested", nil, "columns whose labels are counted anew within the columns before")
	fl.Float64Var(&q.WantSE, "want-se", 0, "standard error wanted of a lot's mean, in the unit of the response")
	fl.StringVarP(&out, "output", "o", "", "HTML file to write besides")
	return c
}
