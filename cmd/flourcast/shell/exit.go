package shell

import (
	"context"
	"errors"
	"fmt"

	"flourcast/study"
)

// Exit codes. They are promises: scripts test them.
const (
	ExitDone        = 0   // done; refused rows, if any, are listed in the result
	ExitFailed      = 1   // failed: a file cannot be read or written, a model cannot be fitted
	ExitUsage       = 2   // the command line is wrong
	ExitNothing     = 3   // nothing usable in the input; nothing was written
	ExitShort       = 4   // with --strict: a row refused, a model not fit for use, a lot held or rejected
	ExitInterrupted = 130 // stopped by Ctrl-C; nothing half-written
)

// StrictError is what --strict turns a shortfall into.
type StrictError struct{ Why string }

func (e *StrictError) Error() string { return "--strict: " + e.Why }

// UsageError is a fault of the command line found by a command itself.
type UsageError struct{ What string }

func (e *UsageError) Error() string { return e.What }

// ExitCode prints err to stderr and chooses the code for it.
func (a *App) ExitCode(err error) int {
	if err == nil {
		return ExitDone
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(a.Stderr, "flourcast: interrupted; nothing was half-written")
		return ExitInterrupted
	}
	var (
		strict  *StrictError
		usage   *UsageError
		nothing *study.NothingUsableError
		request *study.RequestError
	)
	flag := "" // that is to be mended
	if errors.As(err, &request) && request.Field != "" {
		flag = "--" + request.Field + ": "
	}
	fmt.Fprintf(a.Stderr, "flourcast: %s%v\n", flag, err)
	switch {
	case errors.As(err, &strict):
		return ExitShort
	case errors.As(err, &nothing):
		return ExitNothing
	case errors.As(err, &usage), errors.As(err, &request), !a.Started:
		fmt.Fprintln(a.Stderr, "see 'flourcast --help'")
		return ExitUsage
	}
	return ExitFailed
}
