package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strconv"
	"time"

	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// release is the version in CHANGELOG.md; a build stamps another with
// -ldflags "-X main.release=1.2.3".
var release = "0.1.0-dev"

// app is what every command needs: where to write, and the study environment.
type app struct {
	stdout, stderr io.Writer
	started        bool // a command's own work began, so an error is no usage error
	asJSON         bool
	strict         bool
	seed           uint64
	cores          int
}

func newApp(stdout, stderr io.Writer) *app { return &app{stdout: stdout, stderr: stderr} }

func (a *app) rootCommand() *cobra.Command {
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
			a.started = true
		},
	}
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.PersistentFlags().BoolVar(&a.asJSON, "json", false, "print the result as JSON")
	root.PersistentFlags().IntVar(&a.cores, "cores", 0, "processor cores to use (0: all); the result does not depend on it")
	root.AddCommand(a.demoCommand(), a.featuresCommand(), a.curvesCommand(), a.joinCommand(), a.repeatabilityCommand(), a.controlCommand(), a.relateCommand(), a.compareCommand(), a.planCommand(), a.fitCommand(), a.verdictCommand(),
		a.forecastCommand(), a.reportCommand(), a.varianceCommand(), a.trialCommand(), a.textureCommand(), a.cakeCommand(), a.weighCommand(), a.versionCommand())
	root.AddCommand(a.validateCommand(), a.pairsCommand())
	return root
}

// seedFlag and strictFlag give the two flags that several commands share.
func (a *app) seedFlag(c *cobra.Command) {
	c.Flags().Uint64Var(&a.seed, "seed", 1, "seed of every random step; the same seed gives the same result")
}

func (a *app) strictFlag(c *cobra.Command, what string) {
	c.Flags().BoolVar(&a.strict, "strict", false, "exit with code 4 when "+what)
}

// env is the environment of this run: the clock (SOURCE_DATE_EPOCH when set, so
// that a run can be repeated to the byte), version, seed, progress on stderr.
func (a *app) env() study.Env {
	clock := time.Now
	if epoch, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64); err == nil {
		clock = func() time.Time { return time.Unix(epoch, 0).UTC() }
	}
	return study.Env{Clock: clock, Version: version(), Seed: a.seed, Cores: a.cores, Progress: newProgress(a.stderr)}
}

// version is the release and, when the build knows it, the revision.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return release
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return release + "+" + s.Value[:12]
		}
	}
	return release
}

// show writes a result: the typed struct as JSON, or its document as text.
func (a *app) show(result any, document func() report.Document) error {
	if a.asJSON {
		return a.writeJSON(result)
	}
	return report.Text(a.stdout, document())
}

func (a *app) writeJSON(result any) error {
	data, err := json.MarshalIndent(result, "", "  ")
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	_, err = a.stdout.Write(append(data, '\n'))
	return err
}
