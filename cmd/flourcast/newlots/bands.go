package newlots

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportbanding "flourcast/report/banding"
	"flourcast/study/banding"

	"github.com/spf13/cobra"
)

// Bands is the command `bands`.
func Bands(a *shell.App) *cobra.Command {
	var q banding.Request
	var files shell.Inputs
	var book shell.Book
	var least, loss float64
	var out string
	c := &cobra.Command{
		Use:   "bands TABLE|--book DIR --figure COL --dose pH|dose|COL",
		Short: "Part the doses of a flour's chlorination into optimum, acceptable and out of bounds",
		Long: `bands reads a table of lots with a dose each (or the pH that it left), a cake
figure such as volume_mL and, if there are any, pasting figures in sucrose. The
figure is fitted as a parabola of the dose; flours of one family share a level.
It refuses fewer than four doses, a bend that is not shown, and a maximum
outside the tested doses. Chlorinated flour is banned in some countries: the
cautions come first, and local rules before any band. docs/bands.md has more.`,
		Args: book.Args(cobra.ExactArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--figure", q.Figure, "--dose", q.By); err != nil {
				return err
			}
			if c.Flags().Changed("least") && c.Flags().Changed("loss") {
				return &shell.UsageError{What: "--least and --loss: found both, expected one of them: a limit, or a loss from the maximum"}
			}
			if c.Flags().Changed("least") {
				q.Least = &least
			}
			if c.Flags().Changed("loss") {
				q.LossPct = &loss
			}
			var err error
			if _, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Joined, q.File, err = book.Either(c.Context(), a.Env(), args, &q.Methods); err != nil {
				return err
			}
			res, err := banding.Bands(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := shell.WriteHTML(out, reportbanding.Document(res)); err != nil {
					return err
				}
			}
			return a.Show(res, func() report.Document { return reportbanding.Document(res) })
		},
	}
	book.Add(c)
	f := c.Flags()
	f.StringVar(&q.Figure, "figure", "", "column that the dose moves, such as volume_mL")
	f.StringVar(&q.By, "dose", "", "column of doses; pH or dose: what the column treatment states (\"chlorinated pH 4.7\", \"chlorinated 600 mg/kg\")")
	f.Float64Var(&least, "least", 0, "least acceptable figure, in its unit")
	f.Float64Var(&loss, "loss", 3, "acceptable loss from the fitted maximum, per cent of it")
	f.StringSliceVar(&q.Pasting, "pasting", nil, "columns to read at the edges (default: peak and final viscosity in sucrose)")
	f.StringVar(&q.Product, "product", "", "use only rows of this product")
	f.Float64Var(&q.Level, "level", 0.95, "confidence of the intervals")
	f.StringArrayVar(&files.Methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	f.StringVarP(&out, "output", "o", "", "HTML page to write besides")
	return c
}
