package main

import (
	"flourcast/cmd/flourcast/bench"
	"flourcast/cmd/flourcast/lab"
	"flourcast/cmd/flourcast/models"
	"flourcast/cmd/flourcast/newlots"
	"flourcast/cmd/flourcast/serving"
	"flourcast/cmd/flourcast/shell"
	"flourcast/cmd/flourcast/trade"

	"github.com/spf13/cobra"
)

// rootCommand puts the commands together: the laboratory's, the models', version.
func rootCommand(a *shell.App) *cobra.Command {
	root := &cobra.Command{
		Use:   "flourcast",
		Short: "Forecast how a flour will eat or bake from its pasting curve, and say whether to trust the number",
		Long: `flourcast joins pasting curves with noodle texture and cake results lot by lot,
fits models with cross-validation that never splits a lot, checks them before
anyone trusts them, and forecasts new lots with an interval and a decision.

Exit codes: 0 done; 1 failed; 2 wrong command line; 3 nothing usable in the
input; 4 with --strict: a row refused, a model not fit for use, a lot held or
rejected; 130 interrupted.`,
		SilenceErrors: true,
		SilenceUsage:  true,
		PersistentPreRun: func(*cobra.Command, []string) {
			a.Started = true
		},
	}
	root.SetOut(a.Stdout)
	root.SetErr(a.Stderr)
	root.PersistentFlags().BoolVar(&a.AsJSON, "json", false, "print the result as JSON")
	root.PersistentFlags().IntVar(&a.Cores, "cores", 0, "processor cores to use (0: all); the result does not depend on it")
	root.AddCommand(models.Demo(a),
		lab.Weigh(a), lab.Features(a), lab.Curves(a), lab.Texture(a), lab.Cake(a), lab.Join(a), lab.Repeatability(a), lab.Control(a), lab.Variance(a), lab.Pairs(a), newlots.Bands(a),
		models.Relate(a), models.Compare(a), models.Plan(a), models.Fit(a), models.Verdict(a), models.Show(a), newlots.Validate(a), newlots.Forecast(a), newlots.Window(a), newlots.Follow(a), newlots.Choose(a), newlots.Bridge(a), models.Report(a), models.Trial(a),
		bench.Init(a), bench.Add(a), bench.Correct(a), bench.Lots(a), bench.Log(a), bench.Verify(a), bench.Backup(a), bench.Restore(a), bench.Spec(a), bench.Disposition(a), bench.Purpose(a),
		trade.Blend(a), trade.Price(a), trade.Uses(a), trade.Export(a), trade.Suit(a),
		serving.Serve(a), serving.User(a), versionCommand(a))
	root.AddCommand(manCommand(a, root))
	return root
}
