package newlots

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportbridging "flourcast/report/bridging"
	"flourcast/study"
	"flourcast/study/bridging"

	"github.com/spf13/cobra"
)

// Bridge is the command `bridge`.
func Bridge(a *shell.App) *cobra.Command {
	var (
		q     bridging.Request
		files shell.Inputs
		page  string
		book  shell.Book
	)
	c := &cobra.Command{
		Use:   "bridge FILE|--book DIR --from A --to B [--model MODEL.json] [-o BRIDGE.json]",
		Short: "Compare two instruments or sites on lots that both have run, and bridge one to the other",
		Long: `bridge pairs the pasting figures of lots that two instruments (or sites: --by site)
have run: Deming and Passing-Bablok lines and limits of agreement, feature by
feature. The bridge file brings figures of A to the scale of B in forecast --bridge;
it holds only inside the paired range and carries its own error into the intervals.
With --model it is refused where it would widen the model's interval too much.`,
		Args: book.Args(cobra.ExactArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, _, err = files.Load(); err != nil {
				return err
			}
			if book.Given() {
				if q.Joined, err = study.BookJoined(c.Context(), a.Env(), book.Dir); err != nil {
					return err
				}
				q.File = "lab book " + book.Shown()
			} else {
				q.File = args[0]
			}
			res, err := bridging.Make(a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.ShowBoth(page, res, func() report.Document { return reportbridging.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Short() || res.Rows.Refused > 0, "the bridge does not serve the model, or a row was refused")
		},
	}
	book.Add(c)
	f := c.Flags()
	f.StringVar(&files.Map, "map", "", "import map (TOML) that says how to read the file")
	f.StringVar(&q.From, "from", "", "instrument or site whose figures are to be converted")
	f.StringVar(&q.To, "to", "", "instrument or site on whose scale the model stands")
	f.StringVar(&q.By, "by", "instrument", "column that names the instrument or site")
	f.StringVar(&q.Method, "method", "", "use only runs by this pasting method (default: the model's)")
	f.StringSliceVar(&q.Features, "features", nil, "pasting features to bridge (default: the model's, or all that pair)")
	f.StringVar(&q.Model, "model", "", "model that the bridge is to serve")
	f.StringVarP(&q.Out, "output", "o", "", "bridge file to write")
	f.StringVar(&page, "page", "", "HTML file to write besides")
	a.StrictFlag(c, "the bridge does not serve the model, or a row is refused")
	return c
}
