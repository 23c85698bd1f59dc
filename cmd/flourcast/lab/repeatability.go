package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	measured "flourcast/report/measurement"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Repeatability is the command `repeatability`.
func Repeatability(a *shell.App) *cobra.Command {
	var q study.RepeatabilityRequest
	var files shell.Inputs
	var out string
	var book shell.Book
	c := &cobra.Command{
		Use:   "repeatability [TABLE.csv] [--book DIR | --runs F --curves F... --pasting F... --lots F...] [-o report.html]",
		Short: "Say how well duplicates agree, by method, instrument and feature, and which features tell the lots apart",
		Long: `repeatability takes duplicates of one session (same lot, method, instrument and
day) and gives each feature its repeatability SD s_r, the limit r = 2.8 s_r, the
CV, suspects by the tests of Cochran and Grubbs, and the SD between lots. A feature
whose SD between lots is under three times s_r does not tell these lots apart.
Retests, re-samples, void runs and controls tell no repeatability and are counted
aside. From a joined table it takes n and SD as they were pooled.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if err = book.Fill(c.Context(), &q.Files, files); err != nil {
				return err
			}
			if len(args) == 1 {
				q.Table = args[0]
			}
			res, err := study.Repeatability(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := shell.WriteHTML(out, measured.Repeatability(res)); err != nil {
					return err
				}
			}
			if err := a.Show(res, func() report.Document { return measured.Repeatability(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Counts.Refused > 0, "rows were refused")
		},
	}
	files.Add(c)
	book.Add(c)
	addRunFiles(c, &q.Files)
	c.Flags().StringVarP(&out, "output", "o", "", "HTML file to write besides")
	a.StrictFlag(c, "a row is refused")
	return c
}
