package main

import (
	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

func (a *app) featuresCommand() *cobra.Command {
	var q study.FeaturesRequest
	var files inputFlags
	c := &cobra.Command{
		Use:   "features CURVES...",
		Short: "Read pasting curves and print peak, trough, breakdown and the rest",
		Args:  cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.load(); err != nil {
				return err
			}
			q.Paths = args
			res, err := study.Features(c.Context(), a.env(), q)
			if err != nil {
				return err
			}
			if err := a.show(res, func() report.Document { return report.Features(res) }); err != nil {
				return err
			}
			return a.strictly(res.Counts.Refused > 0, "rows were refused")
		},
	}
	files.add(c)
	c.Flags().StringVar(&q.Method, "method", "", "method of curves whose file does not name it")
	c.Flags().StringVar(&q.Lot, "lot", "", "lot of a curve whose file does not name it")
	a.strictFlag(c, "a row is refused")
	return c
}
