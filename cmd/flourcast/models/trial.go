package models

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportsurvey "flourcast/report/survey"
	"flourcast/study/trial"

	"github.com/spf13/cobra"
)

// Trial is the command `trial`.
func Trial(a *shell.App) *cobra.Command {
	var q trial.Request
	c := &cobra.Command{
		Use:   "trial [--mills N] [--row NAME]",
		Short: "Put the checks themselves on trial: simulated mills of known truth, and what became of them",
		Long: `trial simulates mills whose truth is known (worthless, truly related, reversed,
related through protein alone, one lot far out …), fits and judges each as anybody's
table would be, and counts the verdicts against what must come out. Everything is
simulated. docs/verdict.md has the table of 200 mills a row.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			res, err := trial.Run(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return reportsurvey.Trial(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.Holds, "a row did not come out as expected")
		},
	}
	fl := c.Flags()
	fl.IntVar(&q.Mills, "mills", 10, "mills of each row")
	fl.StringArrayVar(&q.Rows, "row", nil, "only this kind of mill; may be repeated")
	fl.IntVar(&q.Repeats, "repeats", 0, "repeats of the folds (0: 2)")
	fl.IntVar(&q.Permutations, "permutations", 0, "permutations of the test against chance (0: 199)")
	a.SeedFlag(c)
	a.StrictFlag(c, "a row does not come out as expected")
	return c
}
