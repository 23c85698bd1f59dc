package models

import (
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/report"
	reportsurvey "flourcast/report/survey"
	"flourcast/study"
	"flourcast/study/survey"

	"github.com/spf13/cobra"
)

// tableFlags are what relate, compare and plan ask of a table: which column,
// which rows, by what rules.
type tableFlags struct {
	q           survey.Request
	files       shell.Inputs
	where       []string
	flours      string
	scale       string
	rules, out  string
	thresholds  string
	components  string
	book        shell.Book
	lambda      string
	whole       wholeCurves
	hasKind     bool
	description string
}

func (f *tableFlags) add(a *shell.App, c *cobra.Command) {
	c.Args = f.book.Args(cobra.ExactArgs(1), cobra.NoArgs)
	f.book.Add(c)
	fl := c.Flags()
	fl.StringVar(&f.q.Response, "response", "", "column to look at")
	fl.StringSliceVar(&f.q.Features, "features", nil, "columns to look at it with (default: "+f.description+")")
	fl.StringVar(&f.q.Product, "product", "", "use only rows of this product")
	fl.StringVar(&f.q.Method, "method", "", "use only this pasting method")
	whereFlag(c, &f.where)
	treatmentFlag(c, &f.flours)
	fl.StringVar(&f.q.Group, "group", "", "column that names the lot (default: the first)")
	fl.StringVarP(&f.out, "output", "o", "", "HTML file to write besides")
	fl.StringArrayVar(&f.files.Methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	a.SeedFlag(c)
}

// read fills the request from flags and the table file or the lab book.
func (f *tableFlags) read(c *cobra.Command, a *shell.App, args []string) error {
	if err := shell.Required("--response", f.q.Response); err != nil {
		return err
	}
	var err error
	if _, f.q.Methods, err = f.files.Load(); err != nil {
		return err
	}
	if f.q.Where, err = parseWhere(f.where); err != nil {
		return err
	}
	if f.q.Treatment, err = parseTreatment(f.flours); err != nil {
		return err
	}
	if f.q.Rules, f.q.RuleFindings, err = readRules(f.rules); err != nil {
		return err
	}
	if f.q.Thresholds, err = readThresholds(f.thresholds); err != nil {
		return err
	}
	if f.hasKind {
		if f.q.Components, err = parseComponents(f.components); err != nil {
			return err
		}
		if f.q.Lambda, err = parseLambda(f.lambda); err != nil {
			return err
		}
		f.q.Scaling = model.Scaling(f.scale)
	}
	if f.q.Table, f.q.File, f.q.TableFindings, err = f.book.Table(c.Context(), a.Env(), args, f.q.Group); err != nil {
		return err
	}
	return f.whole.lay(c, a, f.book, &f.q)
}

// wholeCurves are the flags by which the whole curves of a lab book are laid on a grid.
type wholeCurves struct{ grid, on string }

func (w *wholeCurves) add(c *cobra.Command) {
	c.Flags().StringVar(&w.grid, "grid", "", "with --book: lay its whole curves on this grid, such as 4s (files: see 'flourcast curves')")
	c.Flags().StringVar(&w.on, "on", "time", "with --grid: what to lay on, time or temperature")
}

// lay puts the whole curves of the book, but for the fast stir, beside the rows of the
// request's table.
func (w *wholeCurves) lay(c *cobra.Command, a *shell.App, book shell.Book, q *survey.Request) error {
	if w.grid == "" {
		return nil
	}
	if !book.Given() {
		return &shell.UsageError{What: "--grid goes with --book; with files, 'flourcast curves --table' lays them"}
	}
	laid, err := study.BookCurves(c.Context(), a.Env(), book.Dir, study.LayRequest{Table: q.Table, Step: w.grid, On: w.on, Only: q.Method, Methods: q.Methods})
	if err != nil {
		return err
	}
	q.Table = laid.Table
	return nil
}

// Relate is the command `relate`.
func Relate(a *shell.App) *cobra.Command {
	f := tableFlags{description: "every numeric trait of the table"}
	c := &cobra.Command{
		Use:   "relate TABLE.csv|--book DIR --response COL [-o relations.html]",
		Short: "Say what goes with a response: correlations as they stand, given protein, within crop years",
		Long: `relate correlates every pasting figure and every figure of the flour with a
response, lot by lot, each on the lots that have both: r with its 95 % interval,
p adjusted for the number of figures looked at, r with protein held constant and
r within crop years. With -o it draws them. Rows of several flour treatments are
correlated within treatments by --treatment factor.`,
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.read(c, a, args); err != nil {
				return err
			}
			res, err := survey.Relate(c.Context(), a.Env(), f.q)
			if err != nil {
				return err
			}
			return a.ShowBoth(f.out, res, func() report.Document { return reportsurvey.Relate(res) })
		},
	}
	f.add(a, c)
	return c
}

// Compare is the command `compare`.
func Compare(a *shell.App) *cobra.Command {
	f := tableFlags{description: "pasting features and composition, else all numeric columns"}
	c := &cobra.Command{
		Use:   "compare TABLE.csv|--book DIR --response COL [-o candidates.html]",
		Short: "Set kinds of model against each other on the same folds; say what pasting adds beyond protein",
		Long: `compare validates the mean, the best single feature, protein alone, pasting with
protein, least squares, ridge, PLS and, where the table has whole curves, PLS on
them, all on the same lots and folds. The best row is picked after the fact; what
may be expected of it is the choice made anew inside every training part.`,
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.read(c, a, args); err != nil {
				return err
			}
			res, err := survey.Compare(c.Context(), a.Env(), f.q)
			if err != nil {
				return err
			}
			return a.ShowBoth(f.out, res, func() report.Document { return reportsurvey.Compare(res) })
		},
	}
	f.add(a, c)
	f.whole.add(c)
	c.Flags().StringVar(&f.q.Folds, "folds", "lot", "lot, k=N, loo, year, supplier, column=NAME")
	c.Flags().IntVar(&f.q.Repeats, "repeats", 10, "repeats of the cross-validation with other folds")
	return c
}

// Plan is the command `plan`.
func Plan(a *shell.App) *cobra.Command {
	f := tableFlags{description: "pasting features and composition, else all numeric columns", hasKind: true}
	var spec string
	c := &cobra.Command{
		Use:   "plan TABLE.csv|--book DIR --response COL [--spec 'hardness_N=3.2..4.0'] [-o plan.html]",
		Short: "Say how many more lots a forecast would take",
		Long: `plan counts what the checks of a verdict ask for (lots, crop years, lots for each
published direction), draws a learning curve from the lots at hand, carries it on,
and says from how many lots on a forecast interval would be narrower than a
specification.`,
		RunE: func(c *cobra.Command, args []string) error {
			limits, err := shell.Spec(spec)
			if err != nil {
				return err
			}
			if err := f.read(c, a, args); err != nil {
				return err
			}
			res, err := survey.Plan(c.Context(), a.Env(), f.q, limits)
			if err != nil {
				return err
			}
			return a.ShowBoth(f.out, res, func() report.Document { return reportsurvey.Plan(res) })
		},
	}
	f.add(a, c)
	fl := c.Flags()
	fl.StringVar(&spec, "spec", "", "limits of the response: 'hardness_N=3.2..4.0'")
	fl.StringVar(&f.q.Kind, "kind", "pls", "kind of model: "+strings.Join(catalog.Kinds(), ", "))
	fl.StringVar(&f.components, "components", "auto", "number of PLS components, or auto")
	fl.StringVar(&f.lambda, "lambda", "auto", "ridge penalty, or auto")
	fl.StringVar(&f.scale, "scale", string(model.ScaleUnit), "unit: features to SD 1; none: centred only")
	fl.StringVar(&f.rules, "rules", "", "the laboratory's own direction rules (CSV), beside the built-in ones")
	fl.StringVar(&f.thresholds, "thresholds", "", "the laboratory's own thresholds of the verdict (JSON)")
	return c
}
