package newlots

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportfollowing "flourcast/report/following"
	"flourcast/study/following"

	"github.com/spf13/cobra"
)

// Follow is the command `follow`.
func Follow(a *shell.App) *cobra.Command {
	var (
		q     following.Request
		files shell.Inputs
		book  shell.Book
		out   string
	)
	c := &cobra.Command{
		Use:   "follow MODEL.json --forecasts FILE... --texture FILE...|--book DIR [-o follow.html]",
		Short: "Say whether a model may still be trusted, from what was forecast and measured since",
		Long: `follow sets measured outcomes against what was forecast at the time, as it was
saved from forecast --json (or a sheet of lot, value, lower, upper, level, response,
time, model); nothing is forecast anew. One chart is judged, with limits that know
the model's own error: in control, watch, recalibrate, why, and which lots to add.
With --incoming it compares the flours that have come in with the calibrated ones,
before any outcome exists (with --book, --unmeasured takes them from it). With --book forecasts and outcomes are those of the lab
book, and MODEL is a file, or the row of a model in the book.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Files.Map, q.Files.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Model, q.Book = args[0], book.Dir; book.Given() && len(q.Forecasts)+len(q.Files.Texture)+len(q.Files.Bakes)+len(q.Files.Lots)+len(q.Tables) > 0 {
				return &shell.UsageError{What: "files of forecasts or outcomes and --book: a book is read instead of files; add the file to it first"}
			}
			if q.Unmeasured && (!book.Given() || len(q.Incoming) > 0) {
				return &shell.UsageError{What: "--unmeasured takes the incoming lots from --book, instead of --incoming"}
			}
			res, err := following.Follow(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.ShowBoth(out, res, func() report.Document { return reportfollowing.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Short(), "the chart or the incoming flours ask for attention")
		},
	}
	files.Add(c)
	book.Add(c)
	f := c.Flags()
	f.StringArrayVar(&q.Forecasts, "forecasts", nil, "saved forecasts: JSON of forecast, or a sheet; several may follow")
	f.StringArrayVar(&q.Files.Texture, "texture", nil, "texture results; several may follow")
	f.StringArrayVar(&q.Files.Bakes, "bakes", nil, "cake results; several may follow")
	f.StringArrayVar(&q.Files.Lots, "lots", nil, "lots files: supplier, crop year, claims; several may follow")
	f.StringArrayVar(&q.Tables, "table", nil, "joined tables with outcomes; several may follow")
	f.StringArrayVar(&q.Incoming, "incoming", nil, "curves, pasting values or a table of lots that have come in; several may follow")
	f.BoolVar(&q.Unmeasured, "unmeasured", false, "with --book: incoming are its lots that have runs and were not measured yet")
	f.StringVar(&q.IncomingLots, "incoming-lots", "", "lots file of the incoming lots, for models that use flour analysis")
	f.StringVarP(&out, "output", "o", "", "HTML file to write besides")
	a.SeedFlag(c)
	a.StrictFlag(c, "the chart says watch or recalibrate, or the incoming flours differ")
	return c
}
