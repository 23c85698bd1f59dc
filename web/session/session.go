// Package session remembers who signed in, and slows down who guesses.
//
//  1. A Table has the sessions of a server, in memory: a restart ends them all. It keeps
//     the SHA-256 of a session's id, so that a copy of its memory opens no session.
//  2. A session ends when it was not used for Idle, Longest after it began, when it is
//     ended, and when its user has begun Most later ones.
//  3. A Throttle lets so many tries through at once and then one at a time. It needs the
//     same memory whatever is tried.
//
// It knows no password, cookie or page. The time comes from the caller's clock.
package session

import (
	"crypto/sha256"
	"sync"
	"time"
)

// How long a session lasts, and how many one user may have: a shift with breaks, at a
// few screens. Common practice, no source.
const (
	Idle    = time.Hour
	Longest = 12 * time.Hour
	Most    = 10
)

// Session is somebody who signed in. Mark is what the server found true of them then,
// such as a fingerprint of their password's hash.
type Session struct {
	Name, Mark  string
	Began, Used time.Time
}

type key [sha256.Size]byte

// Table has the sessions of a server. Make one with NewTable.
type Table struct {
	clock func() time.Time
	mu    sync.Mutex
	all   map[key]Session
}

// NewTable makes a table without sessions.
func NewTable(clock func() time.Time) *Table {
	return &Table{clock: clock, all: map[key]Session{}}
}

// Start begins a session under an id, which is at least 256 random bits that no earlier
// session had.
func (t *Table) Start(id, name, mark string) {
	now := t.clock()
	t.mu.Lock()
	defer t.mu.Unlock()
	own, oldest := 0, key{}
	for k, s := range t.all {
		if s.over(now) {
			delete(t.all, k)
			continue
		}
		if s.Name != name {
			continue
		}
		if first, ok := t.all[oldest]; own == 0 || !ok || s.Began.Before(first.Began) {
			oldest = k
		}
		own++
	}
	if own >= Most {
		delete(t.all, oldest)
	}
	t.all[sha256.Sum256([]byte(id))] = Session{Name: name, Mark: mark, Began: now, Used: now}
}

func (s Session) over(now time.Time) bool {
	return now.Sub(s.Used) >= Idle || now.Sub(s.Began) >= Longest
}

// Use is the session of an id, used now. ok is false where there is none, or it is over.
func (t *Table) Use(id string) (s Session, ok bool) {
	now, k := t.clock(), key(sha256.Sum256([]byte(id)))
	t.mu.Lock()
	defer t.mu.Unlock()
	s, ok = t.all[k]
	if !ok {
		return Session{}, false
	}
	if s.over(now) {
		delete(t.all, k)
		return Session{}, false
	}
	s.Used = now
	t.all[k] = s
	return s, true
}

// End ends the session of an id, if there is one.
func (t *Table) End(id string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.all, sha256.Sum256([]byte(id)))
}

// Len is how many sessions the table holds, those that are over and were not asked for
// since among them.
func (t *Table) Len() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.all)
}
