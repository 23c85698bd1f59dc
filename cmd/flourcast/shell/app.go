// Package shell is what all commands share: where results go, the flags that
// several have, the study environment, and exit codes.
//
//  1. main makes an App and puts the commands together.
//  2. A command parses its flags, calls package study, and shows the result with
//     Show: text or JSON of one result.
//  3. ExitCode turns an error into a message and a code that scripts can test.
//
// It knows no command and computes nothing.
package shell

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"os"
	"runtime/debug"
	"strconv"
	"time"

	"flourcast/report"
	"flourcast/study"
	"flourcast/study/job"

	"github.com/spf13/cobra"
)

// Release is the version in CHANGELOG.md; a build stamps another with
// -ldflags "-X flourcast/cmd/flourcast/shell.Release=1.2.3".
var Release = "0.1.0-dev"

// App is what every command needs: where to write, and the study environment.
type App struct {
	Stdout, Stderr io.Writer
	Started        bool // a command's own work began, so an error is no usage error
	AsJSON         bool
	Strict         bool
	Seed           uint64
	Cores          int
}

// New makes an App that writes results to stdout and everything else to stderr.
func New(stdout, stderr io.Writer) *App { return &App{Stdout: stdout, Stderr: stderr} }

// SeedFlag and strictFlag give the two flags that several commands share.
func (a *App) SeedFlag(c *cobra.Command) {
	c.Flags().Uint64Var(&a.Seed, "seed", 1, "seed of every random step; the same seed gives the same result")
}

// StrictFlag is --strict, for a command that may fall short of what was asked.
func (a *App) StrictFlag(c *cobra.Command, what string) {
	c.Flags().BoolVar(&a.Strict, "strict", false, "exit with code 4 when "+what)
}

// Env is the environment of this run: the clock (SOURCE_DATE_EPOCH when set, so
// that a run can be repeated to the byte), version, seed, progress on stderr.
func (a *App) Env() study.Env {
	clock := time.Now
	if epoch, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64); err == nil {
		clock = func() time.Time { return time.Unix(epoch, 0).UTC() }
	}
	return study.Env{Clock: clock, Version: Version(), Seed: a.Seed, Cores: a.Cores, Progress: newProgress(a.Stderr)}
}

// Version is the release and, when the build knows it, the revision.
func Version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return Release
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return Release + "+" + s.Value[:12]
		}
	}
	return Release
}

// Show writes a result: the typed struct as JSON, or its document as text.
func (a *App) Show(result any, document func() report.Document) error {
	if a.AsJSON {
		return a.WriteJSON(result)
	}
	return report.Text(a.Stdout, document())
}

// WriteJSON writes a result as indented JSON to standard output.
func (a *App) WriteJSON(result any) error {
	data, err := json.MarshalIndent(result, "", "  ")
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	_, err = a.Stdout.Write(append(data, '\n'))
	return err
}

// ShowPages writes documents one behind the other, an empty line between them.
func (a *App) ShowPages(pages iter.Seq[report.Document]) error {
	first := true
	for d := range pages {
		if !first {
			if _, err := fmt.Fprintln(a.Stdout); err != nil {
				return err
			}
		}
		if err := report.Text(a.Stdout, d); err != nil {
			return err
		}
		first = false
	}
	return nil
}

// ShowBoth writes the page, if one is wanted, and shows the result.
func (a *App) ShowBoth(out string, result any, document func() report.Document) error {
	if out != "" {
		if err := WriteHTML(out, document()); err != nil {
			return err
		}
	}
	return a.Show(result, document)
}

// WriteHTML renders the document whole, then puts it in place.
func WriteHTML(path string, d report.Document) error {
	var b bytes.Buffer
	if err := report.HTML(&b, d); err != nil {
		return err
	}
	return job.WriteWhole(path, b.Bytes())
}
