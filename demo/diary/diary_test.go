package diary

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/following"
)

// fixed is an environment at a fixed time.
func fixed() study.Env {
	return study.Env{Clock: func() time.Time { return time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC) }, Version: "test", Seed: 1}
}

// TestWholeWrite: what the demo's pages are to show is in the book, and the book verifies.
func TestWholeWrite(t *testing.T) {
	ctx := context.Background()
	mill := t.TempDir()
	dir, err := Write(ctx, fixed(), mill, "all invented")
	if err != nil {
		t.Fatal(err)
	}
	flours, blends := Stock(mill)
	for _, path := range []string{flours, blends} {
		if _, err := os.Stat(path); err != nil {
			t.Error(err)
		}
	}
	b, err := book.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	models, err := b.Models(ctx)
	if err != nil {
		t.Fatal(err)
	}
	standings := map[string]int{}
	for _, m := range models {
		standings[string(m.Card.Verdict.Standing)]++
		if m.Card.Notice != "all invented" {
			t.Errorf("model of %s: found notice %q, expected the one given", m.Card.Response, m.Card.Notice)
		}
	}
	if len(standings) != 3 {
		t.Errorf("verdicts: found %v, expected all three", standings)
	}
	made, err := b.Forecasts(ctx, book.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	decisions := map[string]int{}
	for _, f := range made {
		decisions[f.Of.Decision]++
	}
	if len(made) < 30 || decisions["accept"] == 0 || decisions["hold"] == 0 {
		t.Errorf("forecasts: found %d, %v; expected 30 or more, accepted ones and held ones", len(made), decisions)
	}
	res, err := following.Follow(ctx, fixed(), following.Request{Model: made[0].Model, Book: dir})
	if err != nil {
		t.Fatal(err)
	}
	if res.Counts.Followed < 20 {
		t.Errorf("forecasts followed: found %d, expected 20 or more", res.Counts.Followed)
	}
	// A lot's own forecasts are scored as the follow-up scores them.
	for _, l := range []following.Lot{res.Lots[0], res.Lots[len(res.Lots)/2], res.Lots[len(res.Lots)-1]} {
		own, err := following.OfLot(ctx, fixed(), dir, l.Lot.Lot, nil)
		if err != nil {
			t.Fatal(err)
		}
		l.Standardised, l.EWMA, l.EWMALow, l.EWMAHigh, l.CUSUMUp, l.CUSUMDown, l.Uncharted = nil, nil, nil, nil, nil, nil, "" // what the chart adds
		if len(own) != 1 || own[0].Outcome == nil || !reflect.DeepEqual(*own[0].Outcome, l) {
			t.Errorf("lot %s: found %+v, expected what the follow-up says, %+v", l.Lot.Lot, own, l)
		}
	}
	for lot, want := range map[string]int{res.Waiting[0]: 1, "N23-001": 0} {
		own, err := following.OfLot(ctx, fixed(), dir, lot, nil)
		if err != nil || len(own) != want || want > 0 && (own[0].Outcome != nil || own[0].Why != following.NotMeasured) {
			t.Errorf("lot %s: found %+v and %v, expected %d forecasts without an outcome", lot, own, err, want)
		}
	}
	v, err := bookkeeping.Verify(ctx, fixed(), dir, "")
	if err != nil {
		t.Fatal(err)
	}
	if !v.OK {
		t.Errorf("verify: found %d differences, expected none: %v", len(v.Differences), v.Differences)
	}
}

func TestWriteRefusesAFolderInUse(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "raw", "mine"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(context.Background(), fixed(), dir, ""); err == nil {
		t.Error("a folder with somebody's files: found no error")
	}
	if _, err := os.Stat(filepath.Join(dir, "book")); err == nil {
		t.Error("a book was made in a folder with somebody's files")
	}
}

// BenchmarkWrite is what a reader waits for before the demo's first page.
func BenchmarkWrite(b *testing.B) {
	for b.Loop() {
		if _, err := Write(context.Background(), fixed(), b.TempDir(), "invented"); err != nil {
			b.Fatal(err)
		}
	}
}
