package models

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportvalidation "flourcast/report/validation"
	"flourcast/study"

	"github.com/spf13/cobra"
)

func Validate(a *shell.App) *cobra.Command {
	var (
		q     study.ValidateRequest
		files shell.Inputs
		out   string
	)
	c := &cobra.Command{
		Use:   "validate MODEL.json TABLE.csv [-o validation.html]",
		Short: "Set a model's forecasts against measured lots that it never saw",
		Long: `validate forecasts the measured lots of a joined table that the model was not made
from, and sets the forecasts against the measurements: bias, SEP and slope with
their limits, RMSEP, RPD and RER, and how many lots lie inside their interval. Lots
of the training set, and of families that it has lots of, are named and left out.
With -o it draws them.`,
		Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			q.Model, q.Table = args[0], args[1]
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
	c.Flags().BoolVar(&q.Relatives, "relatives", false, "count lots that share a parent, or cultivar and delivery, with lots of the model")
	c.Flags().Float64Var(&q.Level, "level", 0.90, "level of the interval")
	c.Flags().StringVarP(&out, "output", "o", "", "HTML file to write besides")
	a.StrictFlag(c, "the lots speak against the model")
	return c
}
