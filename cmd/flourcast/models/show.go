package models

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/report/contents"
	"flourcast/study/card"

	"github.com/spf13/cobra"
)

// Show is the command `show`.
func Show(a *shell.App) *cobra.Command {
	return &cobra.Command{
		Use:   "show MODEL.json",
		Short: "Say what a saved model holds: method, coefficients with units, lots, verdict, thresholds",
		Long: `show reads a model file that fit wrote, checks its schema, its SHA-256 and that its
parts fit together, and prints what is in it. A file of another schema, or changed
after it was written, is refused.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			res, err := card.Show(args[0])
			if err != nil {
				return err
			}
			return a.Show(res, func() report.Document { return contents.Document(res) })
		},
	}
}
