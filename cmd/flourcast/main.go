// Command flourcast joins pasting curves with texture and bake results, fits and
// checks models of them, and forecasts new lots. It parses flags, calls package
// study, and shows package report's documents; it computes nothing.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"

	"flourcast/cmd/flourcast/shell"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program: it returns the exit code (see package shell) and writes
// results to stdout, everything else to stderr.
func run(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	a := shell.New(stdout, stderr)
	root := rootCommand(a)
	root.SetArgs(shell.ExpandLists(args))
	err := root.ExecuteContext(ctx)
	return a.ExitCode(err)
}
