package main

import (
	"flourcast/report"
	"flourcast/report/curve"
	"flourcast/study"

	"github.com/spf13/cobra"
)

func (a *app) featuresCommand() *cobra.Command {
	var q study.FeaturesRequest
	var files inputFlags
	var policy []string
	var page string
	c := &cobra.Command{
		Use:   "features CURVES... [-o runs.html]",
		Short: "Read pasting curves: peak, trough, breakdown and the rest, and how each run kept to its method",
		Long: `features reads the features of every run and says how the run kept to its
method: temperature against the programme stage by stage, speed, sampling, gaps,
spikes and the like, each with its size and its likely effect. One run is shown
in full; -o writes a page with the picture of every run. docs/features.md
defines the features, docs/conformity.md the deviations.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.load(); err != nil {
				return err
			}
			if q.Policy, err = policyOf(policy); err != nil {
				return err
			}
			q.Paths, q.Pictures = args, page != ""
			res, err := study.Features(c.Context(), a.env(), q)
			if err != nil {
				return err
			}
			if page != "" {
				if err := writeHTML(page, curve.Page(res)); err != nil {
					return err
				}
			}
			if err := a.show(res, func() report.Document { return curve.Document(res) }); err != nil {
				return err
			}
			return a.strictly(res.Counts.Refused > 0, "rows were refused")
		},
	}
	files.add(c)
	c.Flags().StringVar(&q.Method, "method", "", "method of curves whose file does not name it")
	c.Flags().StringVar(&q.Lot, "lot", "", "lot of a curve whose file does not name it")
	c.Flags().StringVarP(&page, "output", "o", "", "page (HTML) with the picture of every run")
	addPolicy(c, &policy)
	a.strictFlag(c, "a row is refused")
	return c
}
