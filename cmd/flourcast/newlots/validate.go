package newlots

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportvalidation "flourcast/report/validation"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Validate is the command `validate`.
func Validate(a *shell.App) *cobra.Command {
	var (
		q     study.ValidateRequest
		files shell.Inputs
		out   string
		book  shell.Book
	)
	c := &cobra.Command{
		Use:   "validate MODEL.json TABLE.csv|--book DIR [-o validation.html]",
		Short: "Set a model's forecasts against measured lots that it never saw",
		Long: `validate forecasts the measured lots of a joined table that the model was not made
from, and sets the forecasts against the measurements: bias, SEP and slope with
their limits, RMSEP, RPD and RER, and how many lots lie inside their interval. Lots
of the training set, and of families that it has lots of, are named and left out.
With -o it draws them.`,
		Args: book.Args(cobra.ExactArgs(2), cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			q.Model = args[0]
			if q.Card, err = study.OpenModel(c.Context(), book.Dir, q.Model); err != nil {
				return err
			}
			if q.Table = book.Shown(); !book.Given() {
				q.Table = args[1]
			} else if q.Joined, err = study.BookTable(c.Context(), a.Env(), book.Dir); err != nil {
				return err
			}
			res, err := study.Validate(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.ShowBoth(out, res, func() report.Document { return reportvalidation.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Short(), "the lots speak against the model")
		},
	}
	files.Add(c)
	book.Add(c)
	c.Flags().BoolVar(&q.Relatives, "relatives", false, "count lots that share a parent, or cultivar and delivery, with lots of the model")
	c.Flags().Float64Var(&q.Level, "level", 0.90, "level of the interval")
	c.Flags().StringVarP(&out, "output", "o", "", "HTML file to write besides")
	a.StrictFlag(c, "the lots speak against the model")
	return c
}
