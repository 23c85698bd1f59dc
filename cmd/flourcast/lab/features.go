package lab

import (
	"context"

	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/report/curve"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Features is the command `features`.
func Features(a *shell.App) *cobra.Command {
	var q study.FeaturesRequest
	var files shell.Inputs
	var policy []string
	var page string
	var book shell.Book
	c := &cobra.Command{
		Use:   "features CURVES...|--book DIR [-o runs.html]",
		Short: "Read pasting curves: peak, trough, breakdown and the rest, and how each run kept to its method",
		Long: `features reads the features of every run and says how the run kept to its
method: temperature against the programme stage by stage, speed, sampling, gaps,
spikes and the like, each with its size and its likely effect. One run is shown
in full; -o writes a page with the picture of every run. docs/features.md
defines the features, docs/conformity.md the deviations.`,
		Args: book.Args(cobra.MinimumNArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Policy, err = policyOf(policy); err != nil {
				return err
			}
			q.Paths, q.Pictures = args, page != ""
			if book.Given() {
				own, err := book.Files(c.Context(), files, shell.List(q.Lot)...)
				if err != nil {
					return err
				}
				q.Paths, q.Map, q.Methods, q.Lot = own.Curves, own.Map, own.Methods, ""
			}
			if a.AsJSON && page == "" {
				return featuresJSON(c.Context(), a, q)
			}
			res, err := study.Features(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if page != "" {
				if err := shell.WriteHTML(page, curve.Page(res)); err != nil {
					return err
				}
			}
			if err := a.Show(res, func() report.Document { return curve.Document(res) }); err != nil {
				return err
			}
			return strictly(a, res)
		},
	}
	files.Add(c)
	book.Add(c)
	c.Flags().StringVar(&q.Method, "method", "", "method of curves whose file does not name it")
	c.Flags().StringVar(&q.Lot, "lot", "", "lot of a curve whose file does not name it; with --book, the lots wanted: A,B")
	c.Flags().StringVarP(&page, "output", "o", "", "page (HTML) with the picture of every run")
	addPolicy(c, &policy)
	a.StrictFlag(c, "a row is refused")
	return c
}

// featuresJSON writes the result as JSON and keeps no run in memory.
func featuresJSON(ctx context.Context, a *shell.App, q study.FeaturesRequest) error {
	out := shell.NewLongJSON("runs")
	defer out.Close()
	res, err := study.EachFeatures(ctx, a.Env(), q, func(r study.RunFeatures) error { return out.Add(r) })
	if err != nil {
		return err
	}
	if err := out.Write(a.Stdout, res); err != nil {
		return err
	}
	return strictly(a, res)
}

func strictly(a *shell.App, res *study.FeaturesResult) error {
	return a.Strictly(res.Counts.Refused > 0, "rows were refused")
}
