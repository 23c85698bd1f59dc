package trade

import (
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/forecast"
	"flourcast/forecast/conformance"
	"flourcast/report"
	reportsuit "flourcast/report/suitability"
	"flourcast/study/enduse"

	"github.com/spf13/cobra"
)

// Uses is the command.
func Uses(a *shell.App) *cobra.Command {
	var (
		q               enduse.Request
		files           shell.Inputs
		book            shell.Book
		models, windows []string
		method, only    string
		out             string
		alpha, beta     float64
	)
	c := &cobra.Command{
		Use:   "uses FILE...|--book DIR --lot LOT,… --model MODEL.json:LIMITS [--model …] [--window PRODUCT:LIMITS …]",
		Short: "Set each lot against several products at once: which does it suit, how probably, and why",
		Long: `uses forecasts each lot by several models, each with the limits of its product, and
holds it against windows of products without a model. The products are ranked for
each lot, with probabilities and reasons:

  flourcast uses curves.csv --lots lots.csv --model 'soft.json:hardness_N=..3.9'
            --model 'cake.json:volume_mL=900..' --window 'sponge-cake:peak_mPas=1800..2400'`,
		Args: book.Args(cobra.MinimumNArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			rule, err := conformance.NewRule(alpha, beta)
			if err != nil {
				return &shell.UsageError{What: "--alpha, --beta: " + err.Error()}
			}
			q.Rule, q.Paths, q.Only = &rule, args, shell.List(only)
			for _, text := range models {
				path, limits, err := parted("--model", text)
				if err != nil {
					return err
				}
				if len(limits) != 1 {
					return &shell.UsageError{What: "--model: " + text + ": expected the limits of one response"}
				}
				q.Targets = append(q.Targets, enduse.Target{Model: path, Spec: limits[0]})
			}
			for _, text := range windows {
				product, limits, err := parted("--window", text)
				if err != nil {
					return err
				}
				q.Windows = append(q.Windows, enduse.Window{Product: product, Method: method, Limits: limits})
			}
			q.Book = book.Dir
			res, err := enduse.Rank(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.ShowBoth(out, res, func() report.Document { return reportsuit.Uses(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Refused > 0, "a row was refused")
		},
	}
	files.Add(c)
	book.Add(c)
	f := c.Flags()
	f.StringArrayVar(&models, "model", nil, "model and limits: 'soft.json:hardness_N=..3.9'; may be repeated")
	f.StringArrayVar(&windows, "window", nil, "product and limits of the flour's own figures: 'sponge-cake:peak_mPas=1800..2400,protein_pct=..9'; may be repeated")
	f.StringVar(&method, "method", "", "pasting method of the windows")
	f.StringVar(&q.Lots, "lots", "", "lots file, for models that use flour analysis such as protein")
	f.StringVar(&only, "lot", "", "only these lots: A,B (needed with --book)")
	f.Float64Var(&q.Level, "level", 0.90, "level of the intervals")
	f.Float64Var(&alpha, "alpha", 0.05, "largest risk of accepting a lot that fails the spec")
	f.Float64Var(&beta, "beta", 0.05, "largest risk of rejecting a lot that meets the spec")
	f.StringVarP(&out, "output", "o", "", "page to write (HTML)")
	a.StrictFlag(c, "a row is refused")
	return c
}

// parted cuts "NAME:LIMITS" at the last colon before the limits.
func parted(flag, text string) (name string, limits []forecast.Spec, err error) {
	k := strings.LastIndex(text, ":")
	if k < 1 {
		return "", nil, &shell.UsageError{What: flag + ": found '" + text + "', expected NAME:COLUMN=LOW..HIGH"}
	}
	limits, err = specs(flag, text[k+1:])
	if err == nil && len(limits) == 0 {
		err = &shell.UsageError{What: flag + ": '" + text + "' has no limits"}
	}
	return text[:k], limits, err
}
