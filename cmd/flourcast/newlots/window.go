package newlots

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/forecast"
	"flourcast/report"
	reporting "flourcast/report/operating"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/operating"

	"github.com/spf13/cobra"
)

// windowFlags are what window takes.
type windowFlags struct {
	spec, out         string
	customer          string
	by, features      []string
	ranWell, what     string
	product, override string
	confidence, share float64
	acceptable        float64
	book              shell.Book
}

// Window is the command `window`.
func Window(a *shell.App) *cobra.Command {
	var f windowFlags
	c := &cobra.Command{
		Use:   "window MODEL --spec RESPONSE=LOW..HIGH [--book DIR] | window TABLE.csv|--book DIR --ran-well COLUMN",
		Short: "Find the range of peak viscosity, or any feature, within which lots meet a spec or run well",
		Long: `window gives the range of a feature within which a lot meets the spec with the
wanted confidence, the other features moving as in the calibration lots: three
zones as a line for one feature, as a map for two (--by). It then says how past
lots would have fared, each by a window made without it.

With --ran-well it needs no model: tolerance limits of the lots that ran well in
production, set against those that had trouble. With --book, MODEL may be the row of
a model in the lab book, and --ran-well ran takes the book's production notes.`,
		Args: func(c *cobra.Command, args []string) error {
			if f.ranWell != "" && f.book.Given() {
				return cobra.NoArgs(c, args)
			}
			return cobra.ExactArgs(1)(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			if f.ranWell != "" {
				return f.fromProduction(a, c, args)
			}
			return f.fromModel(a, c, args[0])
		},
	}
	f.book.Add(c)
	fl := c.Flags()
	fl.StringVar(&f.spec, "spec", "", "limits of the response: 'hardness_N=3.2..4.0', '3.2..' or '..4.0'")
	fl.StringVar(&f.customer, "customer", "", "with --book: whose specification, as the book has it for today")
	fl.StringArrayVar(&f.features, "feature", nil, "feature of the window (peak_mPas); with --ran-well it may be repeated")
	fl.StringSliceVar(&f.by, "by", nil, "two features for a map: peak_mPas,breakdown_mPas")
	fl.Float64Var(&f.confidence, "confidence", 0.95, "probability from which a lot is on target; with --ran-well the confidence of the limits")
	fl.Float64Var(&f.acceptable, "acceptable", 0.50, "probability from which a lot is acceptable")
	fl.StringVar(&f.override, "override", "", "reason for a window of a model that is not fit for use; printed")
	fl.StringVar(&f.ranWell, "ran-well", "", "column that says which lots ran well (well or trouble, yes or no)")
	fl.StringVar(&f.what, "trouble", "trouble", "column that says what the trouble was")
	fl.StringVar(&f.product, "product", "", "only rows of this product (with --ran-well)")
	fl.Float64Var(&f.share, "share", 0.95, "share of lots that run well which the limits are to hold (with --ran-well)")
	fl.StringVarP(&f.out, "output", "o", "", "page to write (HTML)")
	a.SeedFlag(c)
	a.StrictFlag(c, "no lot reaches the target zone, or a note is refused")
	return c
}

func (f *windowFlags) fromModel(a *shell.App, c *cobra.Command, path string) error {
	by := f.by
	switch {
	case len(f.by) > 0 && len(f.features) > 0, len(f.features) > 1:
		return &shell.UsageError{What: "one --feature for a line, or --by with two for a map"}
	case len(f.features) == 1:
		by = f.features
	}
	m, err := study.OpenModel(c.Context(), f.book.Dir, path)
	if err != nil {
		return err
	}
	spec, err := f.limits(a, c, m)
	if err != nil {
		return err
	}
	res, err := operating.FromModel(c.Context(), a.Env(), operating.Request{Model: path, Card: m, Spec: spec, By: by, Confidence: f.confidence, Acceptable: f.acceptable, Override: f.override})
	if err != nil {
		return err
	}
	if err := a.ShowBoth(f.out, res, func() report.Document { return reporting.Document(res) }); err != nil {
		return err
	}
	return a.Strictly(!res.HasTarget(), "no lot reaches the target zone")
}

// limits are those of the command line, or a customer's in the book.
func (f *windowFlags) limits(a *shell.App, c *cobra.Command, m *card.Card) (forecast.Spec, error) {
	if f.customer != "" {
		if !f.book.Given() || f.spec != "" {
			return forecast.Spec{}, &shell.UsageError{What: "--customer takes the limits from --book, instead of --spec"}
		}
		return study.SpecToday(c.Context(), a.Env(), f.book.Dir, f.customer, m)
	}
	if err := shell.Required("--spec (or --customer, or --ran-well)", f.spec); err != nil {
		return forecast.Spec{}, err
	}
	spec, err := forecast.ParseSpec(f.spec)
	if err != nil {
		return spec, &shell.UsageError{What: "--spec: " + err.Error()}
	}
	return spec, nil
}

func (f *windowFlags) fromProduction(a *shell.App, c *cobra.Command, args []string) error {
	if f.spec != "" {
		return &shell.UsageError{What: "--spec belongs to a model, --ran-well to a table: give one"}
	}
	t, path, found, err := f.book.Table(c.Context(), a.Env(), args, "")
	if err != nil {
		return err
	}
	res, err := operating.FromProduction(operating.ProductionRequest{Table: t, File: path, TableFindings: found, RanWell: f.ranWell, What: f.what, Product: f.product,
		Features: append(f.features, f.by...), Share: f.share, Confidence: f.confidence})
	if err != nil {
		return err
	}
	if err := a.ShowBoth(f.out, res, func() report.Document { return reporting.Production(res) }); err != nil {
		return err
	}
	return a.Strictly(res.Refused > 0, "a note is refused")
}
