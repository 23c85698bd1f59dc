package session

import (
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/run"
)

func test(lot, kind, day, instrument string) run.Run {
	return run.Run{Lot: lot, Method: "m", Kind: kind, TestedAt: day, Instrument: instrument, Status: "ok", Fate: run.Accepted}
}

func TestOnlyDuplicatesOfOneSession(t *testing.T) {
	void := test("A", "first", "2025-01-01 08:00:00", "V1")
	void.Status = "void"
	refused := test("A", "first", "2025-01-01", "V1")
	refused.Fate = run.Refused
	runs := []run.Run{
		test("A", "first", "2025-01-01 09:00:00", "V1"), test("A", "duplicate", "2025-01-01 15:00:00", "V1"), // one session
		test("A", "duplicate", "2025-01-02", "V1"),             // another day
		test("A", "duplicate", "2025-01-01", "V2"),             // another instrument
		test("A", "retest", "2025-01-01", "V1"), void, refused, // none
		test("A", "re-sample", "2025-01-01", "V1"),                                     // none
		test("C", "control", "2025-01-01", "V1"),                                       // none
		test("B", "first", "2025-01-01", "V1"), test("B", "first", "2025-01-01", "V1"), // two first runs of one day
	}
	p := Pick(runs)
	sizes := map[[3]string]int{}
	for _, s := range p.Sessions {
		sizes[[3]string{s.Lot, s.Instrument, s.Day}] = len(s.Runs)
	}
	for key, n := range map[[3]string]int{{"A", "V1", "2025-01-01"}: 2, {"A", "V1", "2025-01-02"}: 1, {"A", "V2", "2025-01-01"}: 1, {"B", "V1", "2025-01-01"}: 2} {
		if sizes[key] != n {
			t.Errorf("%v: %d runs, want %d", key, sizes[key], n)
		}
	}
	aside := map[string]int{}
	for _, a := range p.Aside {
		aside[a.Reason] = a.Runs
	}
	for reason, n := range map[string]int{"retest": 1, "re-sample": 1, "void": 1, "refused": 1, "control flour": 1} {
		if aside[reason] != n {
			t.Errorf("%d set aside as %s, want %d", aside[reason], reason, n)
		}
	}
	if !p.Findings.Has("duplicate-alone") || p.Findings.Has("session-undated") {
		t.Errorf("findings %v", p.Findings)
	}
	if undated := Pick([]run.Run{test("A", "", "", ""), test("A", "", "", "")}); len(undated.Sessions) != 1 || len(undated.Sessions[0].Runs) != 2 || !undated.Findings.Has("session-undated") {
		t.Errorf("runs without a day: %+v", undated)
	}
}

// Every run is in a session or set aside.
func TestNoRunWithoutAWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var runs []run.Run
		for range rapid.IntRange(0, 40).Draw(t, "n") {
			r := test(rapid.SampledFrom([]string{"A", "B"}).Draw(t, "lot"), rapid.SampledFrom([]string{"", "first", "duplicate", "retest", "re-sample", "control"}).Draw(t, "kind"),
				rapid.SampledFrom([]string{"", "2025-01-01", "2025-01-01 10:00:00", "May"}).Draw(t, "day"), rapid.SampledFrom([]string{"", "V1"}).Draw(t, "instrument"))
			r.Fate = rapid.SampledFrom([]run.Fate{run.Accepted, run.Waiting, run.Refused}).Draw(t, "fate")
			r.Status = rapid.SampledFrom([]string{"", "ok", "void"}).Draw(t, "status")
			runs = append(runs, r)
		}
		p := Pick(runs)
		total := 0
		for _, s := range p.Sessions {
			total += len(s.Runs)
			for _, r := range s.Runs {
				if r.Kind == "retest" || r.Status == "void" || r.Lot != s.Lot {
					t.Fatalf("%+v in %+v", r, s)
				}
			}
		}
		for _, a := range p.Aside {
			total += a.Runs
		}
		if total != len(runs) {
			t.Fatalf("%d runs, %d accounted for", len(runs), total)
		}
	})
}
