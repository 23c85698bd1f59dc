package bookkeeping

import (
	"slices"
	"time"

	"flourcast/dataset/labbook"
	"flourcast/forecast"
	"flourcast/study/book"
)

// Arrival is rows of one kind that one person added within a minute: how many, and of
// which lots, in the order of writing.
type Arrival struct {
	Made     time.Time // of the first
	Kind     string
	Operator string
	Rows     int
	Lots     []string
}

// Arrivals puts lines of the trail together, the latest first; the originals that rows
// came from are left out. lines are in the order of writing, as Log has them.
func Arrivals(lines []LogLine) []Arrival {
	var out []Arrival
	for _, l := range lines {
		if l.Kind == string(labbook.Original) {
			continue
		}
		k := len(out) - 1
		if k < 0 || out[k].Kind != l.Kind || out[k].Operator != l.Operator || l.Made.Sub(out[k].Made) >= time.Minute {
			out = append(out, Arrival{Made: l.Made, Kind: l.Kind, Operator: l.Operator})
			k++
		}
		out[k].Rows++
		if l.Lot != "" && !slices.Contains(out[k].Lots, l.Lot) {
			out[k].Lots = append(out[k].Lots, l.Lot)
		}
	}
	slices.Reverse(out)
	return out
}

// Undecided are the forecasts that wait for a person: the last of each lot and response,
// where it held or rejected the lot, of lots that have neither a disposition nor an
// outcome of the forecast yet. made are all forecasts in the order in which they were
// made; answered are the rows of outcomes by that of their forecast.
func Undecided(lots []LotLine, made []book.Forecast, answered map[int64]int64) []book.Forecast {
	disposed := map[string]bool{}
	for _, l := range lots {
		if l.Dispositions > 0 {
			disposed[l.Lot] = true
		}
	}
	last := map[[2]string]int{}
	for i, f := range made {
		last[[2]string{f.Of.Lot, f.Of.Response}] = i
	}
	var out []book.Forecast
	for i, f := range made {
		if last[[2]string{f.Of.Lot, f.Of.Response}] != i || disposed[f.Of.Lot] || answered[f.ID] != 0 {
			continue
		}
		if f.Of.Decision == forecast.Hold || f.Of.Decision == forecast.Reject {
			out = append(out, f)
		}
	}
	return out
}
