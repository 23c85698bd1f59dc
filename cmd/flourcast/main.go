// Command flourcast joins pasting curves with texture and bake results, fits and
// checks models of them, and forecasts new lots. It parses flags, calls package
// study, and shows package report's documents; it computes nothing.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"

	"flourcast/cmd/flourcast/shell"
)

func main() {
	if os.Getenv("GOGC") == "" {
		// Files are read and let go one after another, so the heap is small and the
		// collector would run hundreds of times a second: half as often costs a few
		// tens of MB and saves an eighth of the time (docs/performance.md).
		debug.SetGCPercent(200)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	args := os.Args[1:]
	if runtime.GOOS == "windows" {
		args = shell.OpenWildcards(args)
	}
	code := run(ctx, args, os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program: it returns the exit code (see package shell) and writes
// results to stdout, everything else to stderr.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	a := shell.New(stdout, stderr)
	root := rootCommand(a)
	root.SetIn(stdin)
	root.SetArgs(shell.ExpandLists(args))
	err := root.ExecuteContext(ctx)
	return a.ExitCode(err)
}
