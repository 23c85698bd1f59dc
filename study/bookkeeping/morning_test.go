package bookkeeping

import (
	"reflect"
	"testing"
	"time"

	"flourcast/forecast"
	"flourcast/study/book"
)

func TestArrivals(t *testing.T) {
	nine := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	line := func(seconds int, kind, lot, who string) LogLine {
		return LogLine{Made: nine.Add(time.Duration(seconds) * time.Second), Kind: kind, Lot: lot, Operator: who}
	}
	got := Arrivals([]LogLine{line(0, "lot", "A", "x"), line(1, "lot", "B", "x"), line(2, "run", "A", "x"), line(3, "original", "", "z"), line(3, "run", "A", "x"), line(4, "run", "B", "y"), line(64, "run", "B", "y"), line(65, "method", "", "y")})
	want := []Arrival{
		{nine.Add(64 * time.Second), "run", "y", 1, []string{"B"}}, {nine.Add(4 * time.Second), "run", "y", 1, []string{"B"}},
		{nine.Add(2 * time.Second), "run", "x", 2, []string{"A"}}, {nine, "lot", "x", 2, []string{"A", "B"}},
	}
	if len(got) != 5 || got[0].Kind != "method" || got[0].Lots != nil || !reflect.DeepEqual(got[1:], want) {
		t.Errorf("found %+v\nexpected a method, then %+v", got, want)
	}
	if got := Arrivals(nil); len(got) != 0 {
		t.Errorf("nothing: found %+v", got)
	}
}

// TestUndecided: only what a person still has to decide on.
func TestUndecided(t *testing.T) {
	made := func(row int64, lot, response, decision string) book.Forecast {
		return book.Forecast{ID: row, Of: forecast.Forecast{Lot: lot, Response: response, Decision: decision}}
	}
	all := []book.Forecast{
		made(1, "held", "hardness_N", "hold"), made(2, "accepted", "hardness_N", "accept"), made(3, "rejected", "hardness_N", "reject"),
		made(4, "disposed", "hardness_N", "hold"), made(5, "measured", "hardness_N", "hold"), made(6, "again", "hardness_N", "hold"),
		made(7, "again", "hardness_N", "accept"), made(8, "held", "firmness_N", "hold"), made(9, "unasked", "hardness_N", ""),
	}
	var rows []int64
	for _, f := range Undecided([]LotLine{{Lot: "disposed", Dispositions: 1}, {Lot: "held"}}, all, map[int64]int64{5: 50}) {
		rows = append(rows, f.ID)
	}
	if !reflect.DeepEqual(rows, []int64{1, 3, 8}) {
		t.Errorf("found rows %v, expected 1, 3 and 8", rows)
	}
}
