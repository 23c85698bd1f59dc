package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset"
	"flourcast/report"
	measured "flourcast/report/measurement"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// addRunFiles adds the flags of jobs that read runs and no results.
func addRunFiles(c *cobra.Command, f *dataset.Files) {
	fl := c.Flags()
	fl.StringArrayVar(&f.Lots, "lots", nil, "lots file; may be repeated")
	fl.StringArrayVar(&f.Runs, "runs", nil, "runs file: kind, day and instrument of each run")
	fl.StringArrayVar(&f.Curves, "curves", nil, "curve files")
	fl.StringArrayVar(&f.Pasting, "pasting", nil, "feature values without curves")
	fl.StringVar(&f.Method, "method", "", "method of curves whose file does not name it")
}

// addControlFiles adds the files that tell of control flours and instruments.
func addControlFiles(c *cobra.Command, f *dataset.Files) {
	c.Flags().StringArrayVar(&f.Controls, "controls", nil, "control batches: assigned figures and expiry")
	c.Flags().StringArrayVar(&f.Events, "events", nil, "events of instruments: service, calibration, paddle, canister")
}

// Control is the command `control`.
func Control(a *shell.App) *cobra.Command {
	var q study.ControlRequest
	var files shell.Inputs
	var out string
	var book shell.Book
	c := &cobra.Command{
		Use:   "control --book DIR | --runs F --curves F... [--pasting F] [--controls F] [--events F] [-o report.html]",
		Short: "Chart the control flour by instrument and feature; find the days that are out of control",
		Long: `control takes the runs of kind control and charts them, run by run: each run
against limits from the moving ranges, and their exponentially weighted moving
average. A day that is out of control marks its runs: nothing from it is accepted
until the control is repeated. join marks the same runs.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var err error
			if err = book.Fill(c.Context(), &q.Files, files); err != nil {
				return err
			}
			if len(q.Files.Runs) == 0 {
				return &shell.UsageError{What: "control needs --runs: it tells which runs are controls, and their day and instrument"}
			}
			if len(q.Files.Curves)+len(q.Files.Pasting) == 0 {
				return &shell.UsageError{What: "control needs --curves or --pasting"}
			}
			res, err := study.Control(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := shell.WriteHTML(out, measured.Control(res)); err != nil {
					return err
				}
			}
			if err := a.Show(res, func() report.Document { return measured.Control(res) }); err != nil {
				return err
			}
			return a.Strictly(res.DaysOut > 0, "days are out of control")
		},
	}
	files.Add(c)
	book.Add(c)
	addRunFiles(c, &q.Files)
	addControlFiles(c, &q.Files)
	c.Flags().StringSliceVar(&q.Features, "features", nil, "features that decide a day (default peak_mPas,trough_mPas,final_mPas)")
	c.Flags().IntVar(&q.Base, "base", 0, "take the limits from the first so many control runs of a batch (0: all)")
	c.Flags().StringVarP(&out, "output", "o", "", "HTML file to write besides")
	a.StrictFlag(c, "a day is out of control")
	return c
}
