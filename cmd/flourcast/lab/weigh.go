// Package lab has the commands of the laboratory: what to weigh in, curves and
// forces to figures, the join, repeatability, control flour, variance, pairs. A
// file a command, or two that share their flags; each parses, calls and shows.
package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/method"
	"flourcast/dataset/slurry"
	"flourcast/report"
	"flourcast/report/weighing"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Weigh is the command `weigh`.
func Weigh(a *shell.App) *cobra.Command {
	var q study.WeighRequest
	var methodFiles []string
	var moisture, solids, flour, solvent, altitude, pressure float64
	c := &cobra.Command{
		Use:   "weigh --method M --moisture PCT",
		Short: "Work out what to weigh in for a pasting test, and whether it would boil",
		Long: `weigh prints the flour and solvent of a method for a flour's moisture, by the
convention that the method keeps (constant total fill or constant solvent) and
by the other one for comparison; the solvent's density; where the slurry boils;
and the cautions of what is touched. With --weighed-flour it says whether a run
already made still stands when the moisture came later. docs/methods.md has it
all, docs/safety.md the cautions.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			for _, path := range methodFiles {
				own, err := method.Open(path)
				if err != nil {
					return err
				}
				q.Methods = append(q.Methods, own)
			}
			for flag, v := range map[string]struct {
				from *float64
				to   **float64
			}{"moisture": {&moisture, &q.MoisturePct}, "solids": {&solids, &q.SolidsG}, "weighed-flour": {&flour, &q.FlourG}, "weighed-solvent": {&solvent, &q.SolventG},
				"altitude": {&altitude, &q.AltitudeM}, "pressure": {&pressure, &q.PressureHPa}} {
				if c.Flags().Changed(flag) {
					*v.to = v.from
				}
			}
			res, err := study.Weigh(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return weighing.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(res.AsWeighed != nil && res.AsWeighed.Verdict != slurry.Within, "the solids as weighed are out of tolerance")
		},
	}
	f := c.Flags()
	f.StringVar(&q.Method, "method", "", "the method to weigh in for")
	f.StringArrayVar(&methodFiles, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	f.Float64Var(&moisture, "moisture", 0, "the flour's moisture, %")
	f.StringVar(&q.MoistureBasis, "moisture-basis", "wet", "what the moisture is a share of: wet (the flour as it is) or dry (the dry matter)")
	f.Float64Var(&solids, "solids", 0, "solids instead of the method's, g on its basis")
	f.Float64Var(&flour, "weighed-flour", 0, "flour that was weighed in, g, to check by a moisture that came later")
	f.Float64Var(&solvent, "weighed-solvent", 0, "solvent that was weighed in, g")
	f.Float64Var(&altitude, "altitude", 0, "altitude of the laboratory, m")
	f.Float64Var(&pressure, "pressure", 0, "pressure at the bench, hPa, not reduced to sea level")
	f.BoolVar(&q.Cap, "cap", false, "hold a programme that would boil below the boiling point instead of refusing it")
	a.StrictFlag(c, "the solids as weighed are out of tolerance")
	return c
}
