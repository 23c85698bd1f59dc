package session

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// hand is a clock that a test turns.
type hand struct {
	mu  sync.Mutex
	now time.Time
}

func (h *hand) clock() time.Time { h.mu.Lock(); defer h.mu.Unlock(); return h.now }

func (h *hand) on(d time.Duration) { h.mu.Lock(); defer h.mu.Unlock(); h.now = h.now.Add(d) }

func start() *hand { return &hand{now: time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)} }

func TestSessionEnds(t *testing.T) {
	h := start()
	table := NewTable(h.clock)
	table.Start("one", "anna", "m")
	if s, ok := table.Use("one"); !ok || s.Name != "anna" || s.Mark != "m" {
		t.Fatalf("found %v, %v", s, ok)
	}
	for _, id := range []string{"", "two", "one ", "ONE"} {
		if _, ok := table.Use(id); ok {
			t.Errorf("%q is a session", id)
		}
	}
	h.on(Idle - time.Second)
	if _, ok := table.Use("one"); !ok {
		t.Error("ended before it was idle for long")
	}
	h.on(Idle)
	if _, ok := table.Use("one"); ok {
		t.Error("idle, and still there")
	}
	h.on(-Idle)
	if _, ok := table.Use("one"); ok {
		t.Error("an ended session came back with the clock")
	}

	table.Start("two", "anna", "m")
	for began := h.clock(); h.clock().Sub(began) < Longest; h.on(Idle / 4) {
		if _, ok := table.Use("two"); !ok {
			t.Fatalf("in use, and ended after %v", h.clock().Sub(began))
		}
	}
	if _, ok := table.Use("two"); ok {
		t.Errorf("still there after %v in use", Longest)
	}

	table.Start("three", "anna", "m")
	table.End("three")
	if _, ok := table.Use("three"); ok {
		t.Error("ended, and still there")
	}
}

// TestSessionsAreBounded: one user's oldest session makes room for the newest, nobody
// else's does, and sessions that are over go.
func TestSessionsAreBounded(t *testing.T) {
	h := start()
	table := NewTable(h.clock)
	table.Start("ben", "ben", "")
	for i := range 3 * Most {
		h.on(time.Second)
		table.Start(fmt.Sprint(i), "anna", "")
	}
	if n := table.Len(); n != Most+1 {
		t.Errorf("found %d sessions, expected %d and one", n, Most)
	}
	for i, want := range map[int]bool{0: false, 2*Most - 1: false, 2 * Most: true, 3*Most - 1: true} {
		if _, ok := table.Use(fmt.Sprint(i)); ok != want {
			t.Errorf("session %d: found %v, expected %v", i, ok, want)
		}
	}
	if _, ok := table.Use("ben"); !ok {
		t.Error("somebody else's session went")
	}
	h.on(Idle)
	table.Start("new", "anna", "")
	if n := table.Len(); n != 1 {
		t.Errorf("after all were idle: found %d sessions, expected the new one", n)
	}
}

// TestIDsAreNotKept: the table's memory has no id.
func TestIDsAreNotKept(t *testing.T) {
	table := NewTable(start().clock)
	table.Start("secret-id", "anna", "m")
	if text := fmt.Sprintf("%+v %q", table.all, table.all); strings.Contains(text, "secret-id") {
		t.Errorf("found %s", text)
	}
}

func TestThrottle(t *testing.T) {
	h := start()
	th := NewThrottle(h.clock, 3, time.Minute)
	for i := range 3 {
		if wait := th.Try("anna"); wait != 0 {
			t.Fatalf("try %d: wait %v", i+1, wait)
		}
	}
	if wait := th.Try("anna"); wait != time.Minute {
		t.Errorf("one too many: found %v, expected a minute", wait)
	}
	if wait := th.Try("ben"); wait != 0 {
		t.Errorf("somebody else waits %v", wait)
	}
	h.on(20 * time.Second)
	if wait := th.Try("anna"); wait != 40*time.Second {
		t.Errorf("later: found %v, expected 40 s; a refused try is not counted", wait)
	}
	h.on(40 * time.Second)
	if wait := th.Try("anna"); wait != 0 {
		t.Errorf("after the wait: found %v", wait)
	}
	th.Return("anna")
	if wait := th.Try("anna"); wait != 0 {
		t.Errorf("after one was taken back: found %v", wait)
	}
	if wait := th.Try("anna"); wait == 0 {
		t.Error("taking back gave two")
	}
	h.on(time.Hour)
	for range 5 {
		th.Return("anna")
	}
	for i := range 4 {
		if wait := th.Try("anna"); (wait == 0) != (i < 3) {
			t.Errorf("taking back without end, try %d: wait %v", i+1, wait)
		}
	}
}

// TestThrottleRate: whatever the rhythm, no more get through than burst and one for
// each interval.
func TestThrottleRate(t *testing.T) {
	h := start()
	th := NewThrottle(h.clock, 4, 10*time.Second) // one for all draws, each under a key of its own
	rapid.Check(t, func(t *rapid.T) {
		key, began, through := rapid.StringN(8, 12, -1).Draw(t, "key"), h.clock(), 0
		for _, gap := range rapid.SliceOfN(rapid.IntRange(0, 30), 1, 60).Draw(t, "gaps, s") {
			h.on(time.Duration(gap) * time.Second)
			if th.Try(key) == 0 {
				through++
			}
		}
		if most := 4 + int(h.clock().Sub(began)/(10*time.Second)); through > most {
			t.Errorf("%d got through, expected at most %d", through, most)
		}
	})
}
