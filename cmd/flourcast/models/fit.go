// Package models has the commands of whoever makes models and judges them:
// relations, candidates, fit, verdict, report, the demo and the trial of the checks.
// A file a command, or a few that share their flags; each parses, calls and shows.
package models

import (
	"fmt"
	"os"
	"strconv"
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/treatment"
	"flourcast/eval/direction"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Fit is the command `fit`.
func Fit(a *shell.App) *cobra.Command {
	var (
		q                             study.FitRequest
		files                         shell.Inputs
		components, lambda, scale     string
		rulesFile, thresholdFile, out string
		where                         []string
		flours                        string
		book                          shell.Book
		operator                      string
		whole                         wholeCurves
	)
	c := &cobra.Command{
		Use:   "fit TABLE.csv --response COL --kind KIND, or --book DIR instead of a table",
		Short: "Fit a model, cross-validate it by lot, check it, and give the verdict",
		Long: `fit takes the table that join wrote, or any CSV whose first column (or the one
named by --group) names the lot. Lots are never split over folds. Scaling and
the choice of components or penalty happen inside each training part. With --book the
lab book is joined, and the model is written down in it; --grid makes it of whole curves.`,
		Args: book.Args(cobra.ExactArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--response", q.Response, "--kind", q.Kind); err != nil {
				return err
			}
			var err error
			if q.Components, err = parseComponents(components); err != nil {
				return err
			}
			if q.Lambda, err = parseLambda(lambda); err != nil {
				return err
			}
			q.Scaling = model.Scaling(scale)
			if q.Where, err = parseWhere(where); err != nil {
				return err
			}
			if q.Treatment, err = parseTreatment(flours); err != nil {
				return err
			}
			if q.Weights != "" && q.Weights != assembly.BySE {
				return &shell.UsageError{What: fmt.Sprintf("--weights: found %q, expected %s", q.Weights, assembly.BySE)}
			}
			if _, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Rules, q.RuleFindings, err = readRules(rulesFile); err != nil {
				return err
			}
			if q.Thresholds, err = readThresholds(thresholdFile); err != nil {
				return err
			}
			q.Out = out
			if q.Table, q.File, q.TableFindings, err = book.Table(c.Context(), a.Env(), args, q.Group); err != nil {
				return err
			}
			if err := whole.lay(c, a, book, &q); err != nil {
				return err
			}
			if whole.grid != "" && len(q.Features) == 0 {
				q.Features = []string{"v_*"}
			}
			res, err := study.Fit(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if book.Given() {
				if _, err := study.KeepModel(c.Context(), a.Env(), book.Dir, res.Card, operator); err != nil {
					return err
				}
			}
			if err := a.Show(res, func() report.Document { return report.Fit(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.FitForUse(), "the model is "+res.Verdict.Standing)
		},
	}
	book.Add(c)
	fl := c.Flags()
	fl.StringVar(&operator, "operator", "", "who fits, as it shall stand in the book")
	fl.StringVar(&q.Response, "response", "", "column to predict")
	fl.StringSliceVar(&q.Features, "features", nil, "columns to predict from (default: pasting features and composition, with --grid the whole curve, else all numeric columns)")
	whole.add(c)
	fl.StringVar(&q.Kind, "kind", "", "kind of model: "+strings.Join(catalog.Kinds(), ", "))
	fl.StringVar(&components, "components", "auto", "number of PLS components, or auto")
	fl.StringVar(&lambda, "lambda", "auto", "ridge penalty, or auto")
	fl.StringVar(&scale, "scale", string(model.ScaleUnit), "unit: features to SD 1; none: centred only")
	fl.BoolVar(&q.Origin, "origin", false, "least squares through the origin: no intercept (R² is then about zero)")
	fl.StringVar(&q.Transform, "transform", "", "log: fit the logarithm of the response; forecasts are of its mean")
	fl.StringVar(&q.Derivative, "derivative", "0", "of whole curves: 0, 1, 2, or choose, inside each training part")
	fl.IntVar(&q.Window, "window", 0, "columns of the derivative's window, odd (0: 7)")
	fl.IntVar(&q.Degree, "degree", 0, "degree of the derivative's polynomial (0: 2)")
	fl.StringVar(&q.Product, "product", "", "use only rows of this product")
	fl.StringVar(&q.Method, "method", "", "use only this pasting method")
	whereFlag(c, &where)
	treatmentFlag(c, &flours)
	fl.StringVar(&q.Weights, "weights", "", "se: weight each row by 1/(standard error of its response)², for least squares (default: each row counts alike)")
	fl.StringVar(&q.Folds, "folds", "lot", "lot, k=N, loo, year, supplier, column=NAME")
	fl.StringVar(&q.Group, "group", "", "column that names the lot (default: the first)")
	fl.IntVar(&q.Repeats, "repeats", 10, "repeats of the cross-validation with other folds")
	fl.IntVar(&q.Permutations, "permutations", 999, "permutations of the test against chance; 0 leaves it out")
	fl.IntVar(&q.Bootstrap, "bootstrap", 0, "resamples of lots for bootstrap intervals of the coefficients, such as 1999 (0: none)")
	fl.StringVar(&rulesFile, "rules", "", "the laboratory's own direction rules (CSV), beside the built-in ones")
	fl.StringVar(&thresholdFile, "thresholds", "", "the laboratory's own thresholds of the verdict (JSON)")
	fl.StringVar(&q.Override, "override", "", "reason for using a model although an established direction is contradicted; printed with every forecast")
	fl.StringVarP(&out, "output", "o", "", "model file to write (JSON)")
	fl.StringArrayVar(&files.Methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	a.SeedFlag(c)
	a.StrictFlag(c, "the model is not fit for use")
	return c
}

// parseComponents reads a number of components; auto is 0.
func parseComponents(text string) (int, error) {
	if text == "auto" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		return 0, &shell.UsageError{What: fmt.Sprintf("--components: found %q, expected a number from 1, or auto", text)}
	}
	return n, nil
}

// whereFlag adds the conditions on columns that choose the rows.
func whereFlag(c *cobra.Command, where *[]string) {
	c.Flags().StringArrayVar(where, "where", nil, "use only rows with this text in a column, such as treatment=none; may be repeated")
}

func treatmentFlag(c *cobra.Command, flours *string) {
	c.Flags().StringVar(flours, "treatment", "", "rows of several flour treatments: within refuses them, factor takes treatment as a factor (an indicator column for each but the reference), pooled mixes them, with a doubt (default: they are refused)")
}

func parseTreatment(flours string) (treatment.Use, error) {
	switch use := treatment.Use(flours); use {
	case "", treatment.Within, treatment.AsFactor, treatment.Pooled:
		return use, nil
	}
	return "", &shell.UsageError{What: fmt.Sprintf("--treatment: found %q, expected within, factor or pooled", flours)}
}

// parseWhere reads conditions on columns.
func parseWhere(texts []string) ([]column.Condition, error) {
	var out []column.Condition
	for _, text := range texts {
		c, err := column.ParseCondition(text)
		if err != nil {
			return nil, &shell.UsageError{What: "--where: " + err.Error()}
		}
		out = append(out, c)
	}
	return out, nil
}

// parseLambda reads a ridge penalty; auto is nil.
func parseLambda(text string) (*float64, error) {
	if text == "auto" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= 0) || v > 1e300 {
		return nil, &shell.UsageError{What: fmt.Sprintf("--lambda: found %q, expected a number from 0, or auto", text)}
	}
	return &v, nil
}

func readRules(path string) ([]direction.Rule, finding.List, error) {
	if path == "" {
		return nil, nil, nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	return direction.ReadRules(path, data)
}

func readThresholds(path string) (*verdict.Thresholds, error) {
	if path == "" {
		return nil, nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	t, err := verdict.ReadThresholds(path, data)
	return &t, err
}
