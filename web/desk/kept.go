package desk

import (
	"context"
	"sync"

	"flourcast/dataset"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/following"
)

// What a figure may rest on: kinds of rows of the lab book.
var (
	Data   = []string{"lot", "test", "run", "reading", "note", "control", "event", "method", "protocol", "bake-method"}
	Asked  = append([]string{"spec"}, Data...) // specifications beside it
	Models = []string{"model"}
	Made   = append([]string{"forecast"}, Data...) // forecasts, and what they are set against
)

// kept is one thing worked out of the book when its last row of some kinds was head.
type kept struct {
	head  string
	asked uint64 // a count that says when it was asked for last
	once  sync.Once
	value any
	err   error
}

// most is how many things are kept; those go first that were asked for longest ago.
const most = 96

// Of gives what f works out of rows of some kinds, under a name: worked out once until
// the book has another such row, by whoever asks first, while the others wait.
func Of[T any](ctx context.Context, d *Desk, kinds []string, name string, f func(ctx context.Context) (T, error)) (T, error) {
	var zero T
	last, err := bookkeeping.Log(ctx, bookkeeping.LogRequest{Dir: d.Dir, Kinds: kinds, Limit: 1})
	if err != nil {
		return zero, err
	}
	head := ""
	for _, l := range last.Lines {
		head = l.SHA256
	}
	d.mu.Lock()
	k := d.keep(name, head)
	d.mu.Unlock()
	k.once.Do(func() { k.value, k.err = f(context.WithoutCancel(ctx)) })
	if k.err != nil {
		return zero, k.err
	}
	return k.value.(T), nil
}

// keep is what is kept under a name, a new one where there is none of this head. The
// caller holds the lock.
func (d *Desk) keep(name, head string) *kept {
	if d.kept == nil {
		d.kept = map[string]*kept{}
	}
	k := d.kept[name]
	if k == nil || k.head != head {
		k = &kept{head: head}
		d.kept[name] = k
	}
	d.asked++
	k.asked = d.asked
	if len(d.kept) > most {
		oldest := name
		for n, k := range d.kept {
			if k.asked < d.kept[oldest].asked {
				oldest = n
			}
		}
		delete(d.kept, oldest)
	}
	return k
}

// Joined is the lab book joined. Error: see study.BookJoined.
func (d *Desk) Joined(ctx context.Context) (*dataset.Joined, error) {
	return Of(ctx, d, Data, "joined", func(ctx context.Context) (*dataset.Joined, error) { return study.BookJoined(ctx, d.Env, d.Dir) })
}

// Table is the joined table of the lab book.
func (d *Desk) Table(ctx context.Context) (*dataset.Table, error) {
	joined, err := d.Joined(ctx)
	if err != nil {
		return nil, err
	}
	return joined.Table, nil
}

// Models are the models of the lab book.
func (d *Desk) Models(ctx context.Context) ([]book.Model, error) {
	return Of(ctx, d, Models, "models", func(ctx context.Context) (all []book.Model, err error) {
		err = d.Book(ctx, func(b *book.Book) error {
			all, err = b.Models(ctx)
			return err
		})
		return all, err
	})
}

// Follow is the follow-up of the model of a row.
func (d *Desk) Follow(ctx context.Context, row string) (*following.Result, error) {
	return Of(ctx, d, Made, "follow "+row, func(ctx context.Context) (*following.Result, error) {
		joined, err := d.Joined(ctx)
		if err != nil {
			return nil, err
		}
		return following.Follow(ctx, d.Env, following.Request{Model: row, Book: d.Dir, Joined: joined})
	})
}
