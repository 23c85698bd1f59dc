package measurement

import (
	"context"
	"testing"

	"flourcast/dataset"
	"flourcast/study/job"
)

// TestOfLot: r = 91.8 mPa·s (TestRepeatabilityOfRuns). Lot A's duplicates differ by 50;
// a third run 150 away has to keep within 3.3·s_r = 108.2. What is set aside is named.
func TestOfLot(t *testing.T) {
	files := dataset.Files{Runs: []string{write(t, "runs.csv", runsFile)}, Pasting: []string{write(t, "values.csv", values)}}
	read, err := dataset.ReadRuns(context.Background(), files, dataset.JoinOptions{})
	if err != nil {
		t.Fatal(err)
	}
	rep, err := Repeatability(context.Background(), job.Env{}, RepeatabilityRequest{Read: read})
	if err != nil {
		t.Fatal(err)
	}
	sessions, aside := OfLot(read, rep, "A")
	if len(sessions) != 1 || len(sessions[0].Runs) != 2 || len(sessions[0].Features) != 1 || len(aside) != 1 || aside[0] != (AsideOfLot{"9", "m", "2025-01-01", "retest"}) {
		t.Fatalf("found %+v, aside %+v", sessions, aside)
	}
	f := sessions[0].Features[0]
	near(t, "mean", &f.Mean, 2125, 1e-9)
	near(t, "spread", f.Spread, 50, 1e-9)
	near(t, "limit", f.Limit, 91.8041, 1e-3)
	if f.Agrees == nil || !*f.Agrees {
		t.Error("50 within 91.8: expected them to agree")
	}
	if one, _ := OfLot(read, rep, "E"); one[0].Features[0].Spread != nil || one[0].Features[0].Agrees != nil || one[0].Features[0].RepeatSD != nil {
		t.Errorf("one run on an instrument without duplicates: found %+v, expected neither spread nor limit", one[0].Features[0])
	}
	waiting := Waiting("m", []string{"1", "2"}, []map[string]float64{{"peak_mPas": 2100, "trough_mPas": 1500}, {"peak_mPas": 2150}})
	if len(waiting.Features) != 2 || waiting.Features[0].Mean != 2125 || *waiting.Features[0].Spread != 50 || waiting.Features[1].N != 1 || waiting.Features[1].Values[1] != nil || waiting.Features[0].Limit != nil {
		t.Errorf("waiting runs: found %+v", waiting)
	}
	if none, aside := OfLot(read, rep, "nobody"); none != nil || aside != nil {
		t.Errorf("a lot that is not there: found %+v, %+v", none, aside)
	}
	if without, _ := OfLot(read, nil, "A"); without[0].Features[0].Limit != nil || without[0].Features[0].Spread == nil {
		t.Errorf("without repeatability: found %+v, expected the spread alone", without[0].Features[0])
	}
	read.Runs[2].Lot, read.Runs[2].TestedAt = "A", "2025-01-01" // 2200, 100 from the least
	sessions, _ = OfLot(read, rep, "A")
	f = sessions[0].Features[0]
	near(t, "limit of three", f.Limit, 3.3*91.8041/2.8, 1e-3)
	if f.Agrees == nil || !*f.Agrees || f.N != 3 {
		t.Errorf("three runs: found %+v, expected 100 within 108.2", f)
	}
	tight := *rep.Groups[0].Features[0].RepeatSD / 2
	rep.Groups[0].Features[0].RepeatSD = &tight
	if sessions, _ = OfLot(read, rep, "A"); *sessions[0].Features[0].Agrees {
		t.Error("100 against 54.1: found them to agree")
	}
}
