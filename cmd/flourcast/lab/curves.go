package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset"
	"flourcast/dataset/pasting/conformity"
	"flourcast/report"
	"flourcast/report/curve"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Curves is the command `curves`.
func Curves(a *shell.App) *cobra.Command {
	var q study.LayRequest
	var files shell.Inputs
	var policy []string
	var table string
	var book shell.Book
	c := &cobra.Command{
		Use:   "curves CURVES...|--book DIR --grid 4s [--on time|temperature] -o F",
		Short: "Lay whole curves on a common grid, as columns for models of the whole curve",
		Long: `curves writes the viscosities of every run at the same times of the programme
(columns v_0000s, v_0004s …), or at the same temperatures of heating and cooling
(v_heat_52C …). Runs of one method only. With --table the columns are added to a
joined table, lot by lot; a model takes them with --features 'v_*'.`,
		Args: book.Args(cobra.MinimumNArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--grid", q.Step, "-o", q.Out); err != nil {
				return err
			}
			var err error
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Policy, err = policyOf(policy); err != nil {
				return err
			}
			if table != "" {
				if q.Table, _, err = dataset.ReadTable(table); err != nil {
					return err
				}
			}
			q.Paths = args
			if book.Given() {
				if len(q.Lots)+len(q.Runs) > 0 {
					return &shell.UsageError{What: "--lots, --runs and --book: a book is read instead of files; add the file to it first"}
				}
				own, err := book.Files(c.Context(), files, shell.List(q.Lot)...)
				if err != nil {
					return err
				}
				q.Paths, q.Lots, q.Runs, q.Map, q.Lot = own.Curves, own.Lots, own.Runs, own.Map, ""
			}
			res, err := study.Lay(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return curve.Laid(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Counts.Refused > 0, "rows were refused")
		},
	}
	files.Add(c)
	book.Add(c)
	f := c.Flags()
	f.StringArrayVar(&q.Lots, "lots", nil, "lots file, so that lots are known; may be repeated")
	f.StringArrayVar(&q.Runs, "runs", nil, "runs file, so that void runs, controls and retests are left out")
	f.StringVar(&q.Step, "grid", "", "step of the grid: 4s or 0.5min on time, 1C on temperature")
	f.StringVar(&q.On, "on", "time", "what to lay on: time or temperature")
	f.StringVar(&q.By, "by", "run", "a row is a run, or a lot (the mean of its runs)")
	f.StringVar(&q.Only, "only", "", "only the runs of this method")
	f.StringVar(&table, "table", "", "joined table to which the curves are added, lot by lot")
	f.StringVar(&q.Method, "method", "", "method of curves whose file does not name it")
	f.StringVar(&q.Lot, "lot", "", "lot of a curve whose file does not name it; with --book, the lots wanted: A,B")
	f.StringVarP(&q.Out, "output", "o", "", "table to write (CSV)")
	addPolicy(c, &policy)
	a.StrictFlag(c, "a row is refused")
	return c
}

func addPolicy(c *cobra.Command, words *[]string) {
	c.Flags().StringSliceVar(words, "policy", nil, "what deviations from the method do to a run: warn or refuse, or CODE=warn, CODE=refuse; the last word counts")
}

// policyOf reads the words of --policy.
func policyOf(words []string) (conformity.Policy, error) {
	p, err := conformity.ParsePolicy(words)
	if err != nil {
		return p, &shell.UsageError{What: err.Error()}
	}
	return p, nil
}
