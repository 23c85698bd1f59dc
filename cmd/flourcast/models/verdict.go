package models

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Verdict is the command `verdict`.
func Verdict(a *shell.App) *cobra.Command {
	var (
		book shell.Book
		out  string
	)
	c := &cobra.Command{
		Use:   "verdict MODEL.json [-o verdict.html]",
		Short: "Say whether a model may be trusted, with every check and its cure",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			card, err := study.OpenModel(c.Context(), book.Dir, args[0])
			if err != nil {
				return err
			}
			res := study.VerdictOf(args[0], card)
			if out != "" {
				if err := shell.WriteHTML(out, report.VerdictPage(res)); err != nil {
					return err
				}
			}
			if err := a.Show(res, func() report.Document { return report.Verdict(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.FitForUse(), "the model is "+res.Standing)
		},
	}
	book.Add(c)
	c.Flags().StringVarP(&out, "output", "o", "", "HTML page to write besides: the checks, the validation and the model card")
	a.StrictFlag(c, "the model is not fit for use")
	return c
}
