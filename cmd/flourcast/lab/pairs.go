package lab

import (
	"strconv"
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	reportpairing "flourcast/report/pairing"
	"flourcast/study/pairing"

	"github.com/spf13/cobra"
)

// Pairs is the command `pairs`.
func Pairs(a *shell.App) *cobra.Command {
	var q pairing.Request
	var files shell.Inputs
	var book shell.Book
	var repeatability, pairs []string
	var threshold, target float64
	var out string
	c := &cobra.Command{
		Use:   "pairs TABLE|--book DIR --kind amylase|dose|treatment",
		Short: "Compare tests that differ in the inhibitor, in added amylase, or in the flour's treatment",
		Long: `pairs reads a joined table and compares tests that differ in one thing:

  amylase    the same lots in water and with the inhibitor: the share of the peak
             that amylase takes away, and whether it governs the water run
  dose       one lot with more and more added amylase: the dose that meets a
             target; rows without a dose are lots that the series screens
  treatment  treated lots beside their untreated twins: how far apart, in
             repeatability standard deviations, and whether as the trade expects

docs/pairs.md has all three. Silver nitrate, enzyme dust and chlorinated flour
are dangerous or banned in places: the cautions stand at the end of the answer.`,
		Args: book.Args(cobra.ExactArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--kind", q.Kind); err != nil {
				return err
			}
			var err error
			if _, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if c.Flags().Changed("threshold") {
				q.Threshold = &threshold
			}
			if c.Flags().Changed("target") {
				q.Target = &target
			}
			if q.Repeatability, err = deviationsOf(repeatability); err != nil {
				return err
			}
			for _, text := range pairs {
				untreated, treated, ok := strings.Cut(text, "=")
				if !ok {
					return &shell.UsageError{What: "--pair: expected UNTREATED=TREATED, found " + strconv.Quote(text)}
				}
				q.Pairs = append(q.Pairs, [2]string{untreated, treated})
			}
			if q.Joined, q.File, err = book.Either(c.Context(), a.Env(), args, &q.Methods); err != nil {
				return err
			}
			res, err := pairing.Pairs(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := shell.WriteHTML(out, reportpairing.Document(res)); err != nil {
					return err
				}
			}
			return a.Show(res, func() report.Document { return reportpairing.Document(res) })
		},
	}
	book.Add(c)
	f := c.Flags()
	f.StringVar(&q.Kind, "kind", "", "amylase, dose or treatment")
	f.Float64Var(&q.Level, "level", 0.95, "confidence of the intervals")
	f.StringArrayVar(&repeatability, "repeatability", nil, "COLUMN=SD: the standard deviation of one result, in the column's unit; may be repeated")
	f.StringVar(&q.Water, "water", "", "amylase: method of the runs in water")
	f.StringVar(&q.Inhibited, "inhibited", "", "amylase: method of the runs with the inhibitor")
	f.Float64Var(&threshold, "threshold", 0.25, "amylase: index from which amylase is said to govern the water run")
	f.StringVar(&q.Feature, "feature", "", "dose: column that the dose moves")
	f.StringVar(&q.DoseColumn, "dose-column", "", "dose: column of the doses (one called dose or dose_… is found)")
	f.StringVar(&q.Lot, "lot", "", "dose: lot of the series, where several have doses")
	f.Float64Var(&target, "target", 0, "dose: figure that the dose shall meet")
	f.BoolVar(&q.Log, "log", false, "dose: fit the logarithm of the figure")
	f.StringArrayVar(&pairs, "pair", nil, "treatment: UNTREATED=TREATED, instead of what the columns treatment and family tell; may be repeated")
	f.StringArrayVar(&files.Methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	f.StringVarP(&out, "output", "o", "", "HTML page to write besides")
	return c
}

// deviationsOf reads COLUMN=FIGURE.
func deviationsOf(texts []string) (map[string]float64, error) {
	out := map[string]float64{}
	for _, text := range texts {
		column, figure, _ := strings.Cut(text, "=")
		v, err := strconv.ParseFloat(figure, 64)
		if err != nil || column == "" {
			return nil, &shell.UsageError{What: "--repeatability: expected COLUMN=SD, found " + strconv.Quote(text)}
		}
		out[column] = v
	}
	return out, nil
}
