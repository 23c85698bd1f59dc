// Package work runs independent pieces of work on several cores and gives the
// same result for any number of them.
//
//  1. Each splits by index; the caller writes result i to slot i and reduces in
//     index order, so 1 core and 2 cores give the same bits.
//  2. Seed and Rand derive a random stream from a base seed and labels, so a
//     piece's stream does not depend on which core took it or when.
//  3. InOrder hands on pieces in index order while the work goes on, for whoever
//     cannot keep them all.
//  4. Progress is how long work reports; it never changes a result.
//
// These are the program's only goroutines outside the web server.
package work

import (
	"context"
	"hash/fnv"
	"math/rand/v2"
	"runtime"
	"sync"
	"sync/atomic"
)

// Cores is how many cores a request means: 0 (or less) is all of them.
func Cores(asked int) int {
	if asked <= 0 {
		return runtime.GOMAXPROCS(0)
	}
	return asked
}

// Each calls f(i) for every i in 0…n-1 on at most cores goroutines (0 means all
// cores). It stops handing out work when ctx is done or a call fails, waits for
// running calls, and returns the error of the smallest failed index, or ctx's.
func Each(ctx context.Context, n, cores int, f func(i int) error) error {
	cores = min(Cores(cores), n)
	if cores <= 1 {
		for i := range n {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := f(i); err != nil {
				return err
			}
		}
		return ctx.Err()
	}
	var (
		next   atomic.Int64
		failed atomic.Bool
		group  sync.WaitGroup
		mu     sync.Mutex
		first  error
		at     = n
	)
	for range cores {
		group.Go(func() {
			for !failed.Load() && ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				if err := f(i); err != nil {
					mu.Lock()
					if i < at {
						first, at = err, i
					}
					mu.Unlock()
					failed.Store(true)
				}
			}
		})
	}
	group.Wait()
	if first != nil {
		return first
	}
	return ctx.Err()
}

// Progress receives how far long work has come. Implementations must be safe
// for concurrent use.
type Progress interface {
	// Start begins a stretch of total steps under a label.
	Start(label string, total int)
	// Step tells that n more steps are done.
	Step(n int)
	// Done ends the stretch.
	Done()
}

// Quiet is a Progress that shows nothing.
var Quiet Progress = quiet{}

type quiet struct{}

func (quiet) Start(string, int) {}
func (quiet) Step(int)          {}
func (quiet) Done()             {}

// Seed derives a seed from a base seed and labels (FNV-1a, 64 bit). The same
// base and labels always give the same seed.
func Seed(base uint64, labels ...string) uint64 {
	h := fnv.New64a()
	var b [8]byte
	for i := range b {
		b[i] = byte(base >> (8 * i))
	}
	h.Write(b[:])
	for _, l := range labels {
		h.Write([]byte{0xff})
		h.Write([]byte(l))
	}
	return h.Sum64()
}

// Rand returns a generator (PCG) for a base seed and labels, independent of
// every other label's and of the order of use.
func Rand(base uint64, labels ...string) *rand.Rand {
	return rand.New(rand.NewPCG(Seed(base, labels...), Seed(base, append([]string{"stream"}, labels...)...)))
}
