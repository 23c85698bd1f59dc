// Command peerbench times fixed workloads of cross-validation on fixed data and
// folds, so that other programs' times on the same files can be laid beside ours.
//
//		peerbench DATA_DIR W1:S,W2:M,… REPS
//
//	 1. It reads DATA_DIR/SET/ (X.csv, y.csv, folds.csv, perms.csv: see
//	    testdata/peers/data.py) for each set named.
//	 2. It runs each workload REPS times inside this process and takes the median;
//	    reading is not counted. GOMAXPROCS sets the cores.
//	 3. It prints one JSON object a workload and line, with the errors by number of
//	    components: they must agree with the peers'.
//
// A set with "-centred" behind it (W2:C-centred) is only centred, not scaled. It is
// a developers' program, no part of the product.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"flourcast/model"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "peerbench:", err)
		os.Exit(1)
	}
}

// line is what is printed of one workload.
type line struct {
	Tool       string    `json:"tool"`
	Variant    string    `json:"variant"`
	Threads    string    `json:"threads"`
	Workload   string    `json:"workload"`
	Dataset    string    `json:"dataset"`
	Seconds    float64   `json:"seconds"`
	AllSeconds []float64 `json:"all_seconds"`
	answer
}

// answer is what a workload finds; what it does not have is left out.
type answer struct {
	RMSECV  []float64 `json:"rmsecv_by_component"` // W1: RMSEC
	Picks   *int      `json:"picks_sum,omitempty"`
	P       *float64  `json:"p_value,omitempty"`
	MinMean *float64  `json:"perm_min_rmsecv_mean,omitempty"`
}

func run(ctx context.Context, args []string, out io.Writer) error {
	if len(args) != 3 {
		return fmt.Errorf("found %d arguments, expected DATA_DIR WORKLOADS REPS, such as: peerbench data W1:S,W2:M 5", len(args))
	}
	reps, err := strconv.Atoi(args[2])
	if err != nil || reps < 1 {
		return fmt.Errorf("found %q repetitions, expected a number of at least 1", args[2])
	}
	encoder := json.NewEncoder(out)
	sets := map[string]*set{}
	for _, job := range strings.Split(args[1], ",") {
		workload, name, _ := strings.Cut(job, ":")
		work, ok := workloads[workload]
		if !ok {
			return fmt.Errorf("found workload %q, expected W1:SET … W6:SET", job)
		}
		name, centred := strings.CutSuffix(name, "-centred")
		if sets[name] == nil {
			if sets[name], err = load(args[0], name); err != nil {
				return err
			}
		}
		l := line{Tool: "flourcast", Variant: "scaled", Threads: strconv.Itoa(runtime.GOMAXPROCS(0)), Workload: workload, Dataset: name}
		scaling := model.ScaleUnit
		if centred {
			l.Variant, scaling = "centred", model.ScaleNone
		}
		t := task{ctx, sets[name], components(workload, name), scaling}
		for range reps {
			begin := time.Now()
			inner, found, err := work(t)
			if err != nil {
				return fmt.Errorf("%s: %w", job, err)
			}
			l.AllSeconds = append(l.AllSeconds, time.Since(begin).Seconds()/float64(inner))
			l.answer = found
		}
		l.Seconds = median(l.AllSeconds)
		if err := encoder.Encode(l); err != nil {
			return err
		}
	}
	return nil
}

// components is the A that the peers take too.
func components(workload, set string) int {
	switch {
	case workload == "W6":
		return 20
	case set == "S":
		return 5
	}
	return 10
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}
