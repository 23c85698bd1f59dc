package jobs

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"
)

func clock() time.Time { return time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC) }

// until waits for a job to be in a state.
func until(t *testing.T, b *Board, id string, want State) Status {
	t.Helper()
	for range 2000 {
		s, _, _, ok := b.Get(id)
		if !ok {
			t.Fatalf("job %s: not known", id)
		}
		if s.State == want {
			return s
		}
		if s.State.Ended() {
			t.Fatalf("job: found %s (%s), expected %s", s.State, s.Error, want)
		}
		time.Sleep(2 * time.Millisecond)
	}
	t.Fatalf("job: not %s after a long wait", want)
	return Status{}
}

func TestOutcomes(t *testing.T) {
	b := New(2, clock)
	defer b.Close()
	cases := []struct {
		name string
		f    func(context.Context, *Progress) (any, error)
		want State
		said string
	}{
		{"done", func(context.Context, *Progress) (any, error) { return 7, nil }, Done, ""},
		{"failed", func(context.Context, *Progress) (any, error) { return nil, errors.New("no lot") }, Failed, "no lot"},
		{"a fault of the program", func(context.Context, *Progress) (any, error) { panic("row 3") }, Failed, "the work stopped at a fault of the program: row 3"},
	}
	for _, c := range cases {
		id := b.Start(c.name, c.f)
		s := until(t, b, id, c.want)
		if s.Error != c.said || s.Name != c.name || !s.Started.Equal(clock()) {
			t.Errorf("%s: found %+v", c.name, s)
		}
	}
	if _, result, err, _ := b.Get(b.List()[2].ID); result != 7 || err != nil {
		t.Errorf("outcome of the first job: found %v, %v; expected 7", result, err)
	}
	if _, _, _, ok := b.Get("none"); ok || b.Cancel("none") {
		t.Error("a job that never was is known")
	}
}

func TestProgressAndCancel(t *testing.T) {
	b := New(1, clock)
	defer b.Close()
	seen := make(chan struct{})
	id := b.Start("long", func(ctx context.Context, p *Progress) (any, error) {
		p.Start("folds", 10)
		p.Step(3)
		close(seen)
		<-ctx.Done()
		return nil, fmt.Errorf("folds: %w", ctx.Err())
	})
	<-seen
	waiting := b.Start("next", func(context.Context, *Progress) (any, error) { return nil, nil })
	if s := until(t, b, id, Running); s.Stretch != "folds" || s.Step != 3 || s.Steps != 10 {
		t.Errorf("progress: found %+v, expected 3 of 10 folds", s)
	}
	if s, _, _, _ := b.Get(waiting); s.State != Waiting {
		t.Errorf("second job on a board for one: found %s, expected waiting", s.State)
	}
	if !b.Cancel(id) {
		t.Error("a running job cannot be cancelled")
	}
	until(t, b, id, Cancelled)
	until(t, b, waiting, Done)
}

func TestCloseCancels(t *testing.T) {
	b := New(1, clock)
	var ids []string
	for range 3 {
		ids = append(ids, b.Start("long", func(ctx context.Context, _ *Progress) (any, error) { <-ctx.Done(); return nil, ctx.Err() }))
	}
	b.Close()
	for _, id := range ids {
		if s, _, _, _ := b.Get(id); s.State != Cancelled {
			t.Errorf("after Close: found %s, expected cancelled", s.State)
		}
	}
}

func TestForgetsOldest(t *testing.T) {
	b := New(2, clock)
	defer b.Close()
	first := b.Start("0", func(context.Context, *Progress) (any, error) { return nil, nil })
	until(t, b, first, Done)
	for i := range Keep + 1 {
		until(t, b, b.Start(fmt.Sprint(i+1), func(context.Context, *Progress) (any, error) { return nil, nil }), Done)
	}
	b.Start("last", func(context.Context, *Progress) (any, error) { return nil, nil })
	if _, _, _, ok := b.Get(first); ok {
		t.Errorf("the first of %d ended jobs is still known", Keep+2)
	}
	if n := len(b.List()); n != Keep+1 {
		t.Errorf("jobs known: found %d, expected %d", n, Keep+1)
	}
}
