package models

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

func Verdict(a *shell.App) *cobra.Command {
	var book shell.Book
	c := &cobra.Command{
		Use:   "verdict MODEL.json",
		Short: "Say whether a model may be trusted, with every check and its cure",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			card, err := study.OpenModel(c.Context(), book.Dir, args[0])
			if err != nil {
				return err
			}
			res := study.VerdictOf(args[0], card)
			if err := a.Show(res, func() report.Document { return report.Verdict(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.FitForUse(), "the model is "+res.Standing)
		},
	}
	book.Add(c)
	a.StrictFlag(c, "the model is not fit for use")
	return c
}
