package main

import (
	"context"
	"errors"
	"fmt"

	"flourcast/study"
)

// Exit codes. They are promises: scripts test them.
const (
	exitDone        = 0   // done; refused rows, if any, are listed in the result
	exitFailed      = 1   // failed: a file cannot be read or written, a model cannot be fitted
	exitUsage       = 2   // the command line is wrong
	exitNothing     = 3   // nothing usable in the input; nothing was written
	exitStrict      = 4   // with --strict: a row refused, a model not fit for use, a lot held or rejected
	exitInterrupted = 130 // stopped by Ctrl-C; nothing half-written
)

// strictError is what --strict turns a shortfall into.
type strictError struct{ why string }

func (e *strictError) Error() string { return "--strict: " + e.why }

// usageError is a fault of the command line found by a command itself.
type usageError struct{ what string }

func (e *usageError) Error() string { return e.what }

// exitCode prints err to stderr and chooses the code for it.
func (a *app) exitCode(err error) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(a.stderr, "flourcast: interrupted; nothing was half-written")
		return exitInterrupted
	}
	fmt.Fprintln(a.stderr, "flourcast:", err)
	var (
		strict  *strictError
		usage   *usageError
		nothing *study.NothingUsableError
		request *study.RequestError
	)
	switch {
	case errors.As(err, &strict):
		return exitStrict
	case errors.As(err, &nothing):
		return exitNothing
	case errors.As(err, &usage), errors.As(err, &request), !a.started:
		fmt.Fprintln(a.stderr, "see 'flourcast --help'")
		return exitUsage
	}
	return exitFailed
}
