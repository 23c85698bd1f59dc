// Package trial puts the checks themselves on trial: mills are simulated whose truth
// is known, each is fitted and judged as a user's table would be, and what comes out
// is counted against what must.
//
//  1. A row is a kind of mill: worthless, truly related, reversed, related through
//     protein alone, with a lot that makes the model …
//  2. Every mill's table goes through fitting.Fit with the built-in rules and
//     thresholds; only repeats and permutations are fewer than the defaults.
//  3. The counts of standings, and of what the row looks for, are compared with
//     what is expected.
//
// Everything is invented, and simpler than flour: normal figures, straight
// relations. A check that fails here is broken; one that holds here may still fail
// on a real mill.
package trial

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flourcast/eval/verdict"
	"flourcast/model"
	"flourcast/study/fitting"
	"flourcast/study/job"
	"flourcast/work"

	"gonum.org/v1/gonum/stat/distuv"
)

// Request of Run. Zero Repeats and Permutations mean 2 and 199.
type Request struct {
	Mills        int      // of each row
	Rows         []string // nil: all
	Repeats      int
	Permutations int
}

// Result is what `trial` prints.
type Result struct {
	Schema       string    `json:"schema"`
	Mills        int       `json:"mills"`
	Seed         uint64    `json:"seed"`
	Kind         string    `json:"kind"`
	Repeats      int       `json:"repeats"`
	Permutations int       `json:"permutations"`
	Rows         []Outcome `json:"rows"`
	Holds        bool      `json:"holds"`
}

// Outcome is one row's counts. Seen is in how many mills what the row looks for was
// there; absent for a row that looks for nothing.
type Outcome struct {
	Name        string `json:"name"`
	Truth       string `json:"truth"`
	Lots        int    `json:"lots"`
	FitForUse   int    `json:"fit_for_use"`
	Provisional int    `json:"provisional"`
	NotFit      int    `json:"not_fit"`
	LooksFor    string `json:"looks_for,omitempty"`
	Seen        *int   `json:"seen"`
	Expected    string `json:"expected"`
	Holds       bool   `json:"holds"`
}

const (
	kind                = "pls"
	defaultRepeats      = 2
	defaultPermutations = 199
	// fewMills: below so many, chance is allowed for in judging a share.
	fewMills = 100
	// doubtful is the probability below which few mills contradict a share.
	doubtful = 0.001
)

// Run simulates q.Mills mills of each row. Mill k of a row comes from the stream of
// seed, row and k, whatever else is run; mills are spread over env.Cores. Errors:
// *job.RequestError for an unknown row or no mills, those of fitting.Fit.
func Run(ctx context.Context, env job.Env, q Request) (*Result, error) {
	if q.Mills < 1 {
		return nil, &job.RequestError{Found: fmt.Sprint(q.Mills, " mills"), Want: "1 or more of each row"}
	}
	if q.Repeats == 0 {
		q.Repeats = defaultRepeats
	}
	if q.Permutations == 0 {
		q.Permutations = defaultPermutations
	}
	for _, name := range q.Rows {
		if !slices.Contains(names(), name) {
			return nil, &job.RequestError{Found: "row " + strconv.Quote(name), Want: "one of " + strings.Join(names(), ", ")}
		}
	}
	res := &Result{Schema: "flourcast.trial/1", Mills: q.Mills, Seed: env.Seed, Kind: kind, Repeats: q.Repeats, Permutations: q.Permutations, Rows: []Outcome{}, Holds: true}
	progress := env.Report()
	for _, r := range rows() {
		if q.Rows != nil && !slices.Contains(q.Rows, r.name) {
			continue
		}
		progress.Start(r.name, q.Mills)
		out, err := r.run(ctx, env, q, progress)
		progress.Done()
		if err != nil {
			return nil, fmt.Errorf("trial, row %s: %w", r.name, err)
		}
		res.Rows = append(res.Rows, out)
		res.Holds = res.Holds && out.Holds
	}
	return res, nil
}

// run simulates, fits and counts.
func (r row) run(ctx context.Context, env job.Env, q Request, progress work.Progress) (Outcome, error) {
	standing, seen := make([]string, q.Mills), make([]bool, q.Mills)
	err := work.Each(ctx, q.Mills, env.Cores, func(k int) error {
		defer progress.Step(1)
		seed := work.Seed(env.Seed, "mill", r.name, strconv.Itoa(k))
		t, err := r.draw(work.Rand(seed, "lots"), r.lots).table()
		if err != nil {
			return err
		}
		one := job.Env{Clock: env.Clock, Version: env.Version, Seed: seed, Cores: 1}
		fitted, err := fitting.Fit(ctx, one, fitting.Request{Table: t, File: "simulated", Response: "hardness_N", Kind: kind, Scaling: model.ScaleUnit, Folds: "lot",
			Repeats: q.Repeats, Permutations: q.Permutations})
		if err != nil {
			return err
		}
		standing[k] = fitted.Verdict.Standing
		seen[k] = r.seen != nil && r.seen(fitted)
		return nil
	})
	if err != nil {
		return Outcome{}, err
	}
	out := Outcome{Name: r.name, Truth: r.truth, Lots: r.lots, LooksFor: r.looksFor, Expected: r.expected()}
	for _, s := range standing {
		switch s {
		case verdict.FitForUse:
			out.FitForUse++
		case verdict.Provisional:
			out.Provisional++
		default:
			out.NotFit++
		}
	}
	out.Holds = atMost(out.FitForUse, q.Mills, r.fitMost) && atLeast(out.FitForUse, q.Mills, r.fitLeast)
	if r.seen != nil {
		n := 0
		for _, s := range seen {
			if s {
				n++
			}
		}
		out.Seen = &n
		out.Holds = out.Holds && atLeast(n, q.Mills, r.seenLeast)
	}
	return out, nil
}

// atMost reports that k of n do not contradict a share of at most p: plainly from
// 100 mills on; with fewer, unless so many would come about by chance with
// probability below 0.001 at p.
func atMost(k, n int, p float64) bool {
	if n >= fewMills || p <= 0 || p >= 1 {
		return float64(k) <= p*float64(n)+1e-9
	}
	return 1-distuv.Binomial{N: float64(n), P: p}.CDF(float64(k-1)) >= doubtful
}

// atLeast is atMost of those that are not.
func atLeast(k, n int, p float64) bool { return atMost(n-k, n, 1-p) }
