// Package jobs runs long work beside the pages, so that reading never waits for it.
//
//  1. Start takes a function and gives the job a name to be asked for. At most so many
//     jobs run at once; the others wait in the order of their start.
//  2. A job tells its progress, may be cancelled, and keeps its outcome until Keep
//     later jobs have ended: a page that is loaded again finds it.
//  3. Close cancels all and waits for them.
//
// A job that panics fails; the server goes on. It knows no work and no page.
package jobs

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"
)

// State is where a job stands.
type State string

// States of a job.
const (
	Waiting   State = "waiting"
	Running   State = "running"
	Done      State = "done"
	Failed    State = "failed"
	Cancelled State = "cancelled"
)

// Ended reports that nothing more will come of the job.
func (s State) Ended() bool { return s == Done || s == Failed || s == Cancelled }

// Status is what may be told of a job. Stretch is what it is at, Step of Steps how
// far; Steps is 0 where that is not known.
type Status struct {
	ID      string    `json:"id"`
	Name    string    `json:"name"`
	State   State     `json:"state"`
	Stretch string    `json:"stretch"`
	Step    int       `json:"step"`
	Steps   int       `json:"steps"`
	Error   string    `json:"error,omitempty"`
	Started time.Time `json:"started"`
}

// Keep is how many ended jobs are remembered.
const Keep = 60

// Board has the jobs of a server. Make one with New.
type Board struct {
	clock func() time.Time
	slots chan struct{}
	all   sync.WaitGroup
	stop  context.CancelFunc
	ctx   context.Context

	mu   sync.Mutex
	jobs []*job // in the order of their start
}

type job struct {
	cancel context.CancelFunc
	mu     sync.Mutex
	status Status
	result any
	err    error
}

// New makes a board on which so many jobs run at once.
func New(atOnce int, clock func() time.Time) *Board {
	ctx, stop := context.WithCancel(context.Background())
	return &Board{clock: clock, slots: make(chan struct{}, atOnce), ctx: ctx, stop: stop}
}

// Start puts a job on the board and returns its ID. f has to end soon when its
// context is done; what it reports to p is shown.
func (b *Board) Start(name string, f func(ctx context.Context, p *Progress) (any, error)) string {
	ctx, cancel := context.WithCancel(b.ctx)
	j := &job{cancel: cancel, status: Status{ID: rand.Text()[:12], Name: name, State: Waiting, Started: b.clock()}}
	b.mu.Lock()
	b.forget()
	b.jobs = append(b.jobs, j)
	b.mu.Unlock()
	b.all.Go(func() {
		defer cancel()
		select {
		case b.slots <- struct{}{}:
			defer func() { <-b.slots }()
		case <-ctx.Done():
			j.end(nil, ctx.Err())
			return
		}
		j.set(func(s *Status) { s.State = Running })
		j.end(guarded(ctx, &Progress{j}, f))
	})
	return j.status.ID
}

// guarded runs f and turns a panic into an error.
func guarded(ctx context.Context, p *Progress, f func(context.Context, *Progress) (any, error)) (result any, err error) {
	defer func() {
		if r := recover(); r != nil {
			result, err = nil, fmt.Errorf("the work stopped at a fault of the program: %v", r)
		}
	}()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return f(ctx, p)
}

// forget drops the oldest ended jobs beyond Keep. The caller holds b.mu.
func (b *Board) forget() {
	ended := 0
	for _, j := range b.jobs {
		if j.read().State.Ended() {
			ended++
		}
	}
	b.jobs = slices.DeleteFunc(b.jobs, func(j *job) bool {
		if ended <= Keep || !j.read().State.Ended() {
			return false
		}
		ended--
		return true
	})
}

func (j *job) set(f func(*Status)) {
	j.mu.Lock()
	defer j.mu.Unlock()
	f(&j.status)
}

func (j *job) read() Status {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.status
}

func (j *job) end(result any, err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.result, j.err = result, err
	switch {
	case err == nil:
		j.status.State = Done
	case errors.Is(err, context.Canceled):
		j.status.State = Cancelled
	default:
		j.status.State, j.status.Error = Failed, err.Error()
	}
}

func (b *Board) find(id string) *job {
	b.mu.Lock()
	defer b.mu.Unlock()
	i := slices.IndexFunc(b.jobs, func(j *job) bool { return j.status.ID == id }) // an ID never changes
	if i < 0 {
		return nil
	}
	return b.jobs[i]
}

// Get is the job with an ID: where it stands and, once it ended, its result or error.
// ok is false for one that is not known, or forgotten.
func (b *Board) Get(id string) (s Status, result any, err error, ok bool) {
	j := b.find(id)
	if j == nil {
		return Status{}, nil, nil, false
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.status, j.result, j.err, true
}

// Cancel asks a job to end. It reports whether there is one.
func (b *Board) Cancel(id string) bool {
	j := b.find(id)
	if j == nil {
		return false
	}
	j.cancel()
	return true
}

// List is the jobs, the latest first.
func (b *Board) List() []Status {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := make([]Status, 0, len(b.jobs))
	for _, j := range slices.Backward(b.jobs) {
		out = append(out, j.read())
	}
	return out
}

// Close cancels all jobs and waits for them.
func (b *Board) Close() {
	b.stop()
	b.all.Wait()
}

// Progress is where a job tells how far it has come; it is a work.Progress.
type Progress struct{ job *job }

// Start begins a stretch of total steps under a label.
func (p *Progress) Start(label string, total int) {
	p.job.set(func(s *Status) { s.Stretch, s.Step, s.Steps = label, 0, total })
}

// Step tells that n more steps are done.
func (p *Progress) Step(n int) { p.job.set(func(s *Status) { s.Step += n }) }

// Done ends the stretch.
func (p *Progress) Done() {}
