package session

import (
	"hash/maphash"
	"sync"
	"time"
)

// places is how many counts a throttle has. Keys that fall on the same one share it.
const places = 1 << 16

// Throttle counts tries by key, such as a user's name or an address: burst of them at
// once, then one every so often. Make one with NewThrottle.
//
// For each place it keeps the time until which tries were spent (the generic cell rate
// algorithm of ITU-T I.371): a try moves it on by every, and is refused where that would
// be more than burst tries ahead of now. Keys are spread over the places by a hash under
// a random key, so that nobody can aim at the place of another.
type Throttle struct {
	clock func() time.Time
	burst int
	every time.Duration
	seed  maphash.Seed

	mu    sync.Mutex
	spent [places]time.Time
}

// NewThrottle makes a throttle that has seen no try.
func NewThrottle(clock func() time.Time, burst int, every time.Duration) *Throttle {
	return &Throttle{clock: clock, burst: burst, every: every, seed: maphash.MakeSeed()}
}

func (t *Throttle) place(key string) *time.Time {
	return &t.spent[maphash.String(t.seed, key)%places]
}

// Try counts a try. Where it is one too many it is not counted, and wait is how long it
// takes until the next is let through; else wait is 0.
func (t *Throttle) Try(key string) (wait time.Duration) {
	now := t.clock()
	t.mu.Lock()
	defer t.mu.Unlock()
	p := t.place(key)
	from := *p
	if from.Before(now) {
		from = now
	}
	next := from.Add(t.every)
	if wait := next.Sub(now) - time.Duration(t.burst)*t.every; wait > 0 {
		return wait
	}
	*p = next
	return 0
}

// Return takes a try back: it was no guess.
func (t *Throttle) Return(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	p := t.place(key)
	*p = p.Add(-t.every)
}
