package models

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

func Verdict(a *shell.App) *cobra.Command {
	c := &cobra.Command{
		Use:   "verdict MODEL.json",
		Short: "Say whether a model may be trusted, with every check and its cure",
		Args:  cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			res, err := study.ReadVerdict(args[0])
			if err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return report.Verdict(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.FitForUse(), "the model is "+res.Standing)
		},
	}
	a.StrictFlag(c, "the model is not fit for use")
	return c
}
