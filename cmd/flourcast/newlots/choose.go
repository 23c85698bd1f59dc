package newlots

import (
	"strconv"

	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportsurvey "flourcast/report/survey"
	"flourcast/study"
	"flourcast/study/choosing"
	"flourcast/study/following"

	"github.com/spf13/cobra"
)

// Choose is the command `choose`.
func Choose(a *shell.App) *cobra.Command {
	var (
		q    choosing.Request
		book shell.Book
		out  string
	)
	c := &cobra.Command{
		Use:   "choose N TABLE.csv|--book DIR --model MODEL.json [--random K --forecasts FILE...]",
		Short: "Say which screened lots to make noodles or cakes from next, and why each",
		Long: `choose takes N lots that were screened and not measured, each the farthest from
those measured or chosen before (Kennard and Stone), and with --random K more by lot:
of the held ones where saved forecasts say which, so that follow-up is not blind.
A pasting run is cheap and a noodle test is not.`,
		Args: book.Args(cobra.ExactArgs(2), cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.N, err = strconv.Atoi(args[0]); err != nil {
				return &shell.UsageError{What: "N: found " + strconv.Quote(args[0]) + ", expected a number of lots"}
			}
			if q.Model != "" {
				if q.Card, err = study.OpenModel(c.Context(), book.Dir, q.Model); err != nil {
					return err
				}
			}
			if book.Given() {
				if len(q.Forecasts) > 0 {
					return &shell.UsageError{What: "--forecasts and --book: the book has its own forecasts"}
				}
				q.Table = "lab book " + book.Shown()
				if q.Joined, err = study.BookTable(c.Context(), a.Env(), book.Dir); err != nil {
					return err
				}
				if q.Records, err = following.BookForecasts(c.Context(), book.Dir, "", ""); err != nil {
					return err
				}
			} else {
				q.Table = args[1]
			}
			res, err := choosing.Choose(a.Env(), q)
			if err != nil {
				return err
			}
			return a.ShowBoth(out, res, func() report.Document { return reportsurvey.Next(res) })
		},
	}
	book.Add(c)
	f := c.Flags()
	f.StringVar(&q.Model, "model", "", "model whose features, response, product and method count")
	f.StringVar(&q.Response, "response", "", "without a model: the response that measured lots have")
	f.StringSliceVar(&q.Features, "features", nil, "without a model: the features to spread over")
	f.StringVar(&q.Product, "product", "", "without a model: only rows of this product")
	f.StringVar(&q.Method, "method", "", "without a model: the pasting method of the features")
	f.IntVar(&q.Random, "random", 0, "lots to draw at random besides, of the held ones")
	f.StringArrayVar(&q.Forecasts, "forecasts", nil, "saved forecasts that say which lots were held; several may follow")
	f.StringVarP(&out, "output", "o", "", "HTML file to write besides")
	a.SeedFlag(c)
	return c
}
