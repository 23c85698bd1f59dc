package bookkeeping

import (
	"cmp"
	"reflect"
	"slices"
	"testing"

	"flourcast/dataset/labbook"

	"pgregory.net/rapid"
)

// One tally of each sort: a lot meant for two products and with a claim, a lot without
// a product, one that waits, and one that was only forecast.
func TestLines(t *testing.T) {
	res := lines("book", []labbook.Tally{
		{Kind: labbook.Lot, Lot: "A", Rows: 1}, {Kind: labbook.Lot, Lot: "A", Product: "cake", Rows: 1}, {Kind: labbook.Lot, Lot: "A", Product: "noodle", Rows: 2}, {Kind: labbook.Lot, Lot: "B", Rows: 1},
		{Kind: labbook.Run, Lot: "A", Rows: 2}, {Kind: labbook.Run, Lot: "W", Product: "cake", Rows: 3},
		{Kind: labbook.Reading, Lot: "A", Product: "cake", Rows: 4}, {Kind: labbook.Reading, Lot: "A", Product: "noodle", Rows: 1},
		{Kind: labbook.Forecast, Lot: "A", Product: "noodle", Rows: 1}, {Kind: labbook.Forecast, Lot: "X", Rows: 1},
		{Kind: labbook.Disposition, Lot: "B", Rows: 1},
	})
	lots := []LotLine{{"A", "cake", 2, 5, 1, 0}, {"A", "noodle", 2, 5, 1, 0}, {"B", "", 0, 0, 0, 1}}
	waiting := []LotLine{{"W", "", 3, 0, 0, 0}}
	if !reflect.DeepEqual(res.Lots, lots) || !reflect.DeepEqual(res.Waiting, waiting) {
		t.Errorf("%+v, waiting %+v", res.Lots, res.Waiting)
	}
	if none := lines("book", nil); none.Lots == nil || none.Waiting == nil || len(none.Lots)+len(none.Waiting) > 0 {
		t.Errorf("an empty book: %+v", none)
	}
}

// Every row is in a line, once, whatever the book has: lines of one lot share its
// counts.
func TestLinesCount(t *testing.T) {
	kinds := []labbook.Kind{labbook.Lot, labbook.Run, labbook.Reading, labbook.Forecast, labbook.Disposition}
	rapid.Check(t, func(rt *rapid.T) {
		var tallies []labbook.Tally
		runs, readings := 0, 0
		for _, kind := range kinds {
			of := map[[2]string]int{}
			for range rapid.IntRange(0, 12).Draw(rt, "rows") {
				of[[2]string{rapid.SampledFrom([]string{"A", "B", "C", "D", "E"}).Draw(rt, "lot"), rapid.SampledFrom([]string{"", "cake", "noodle"}).Draw(rt, "product")}]++
			}
			var part []labbook.Tally
			for k, n := range of {
				part = append(part, labbook.Tally{Kind: kind, Lot: k[0], Product: k[1], Rows: n})
				switch kind {
				case labbook.Run:
					runs += n
				case labbook.Reading:
					readings += n
				}
			}
			slices.SortFunc(part, func(a, b labbook.Tally) int {
				return cmp.Or(cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Product, b.Product))
			})
			tallies = append(tallies, part...)
		}
		res := lines("book", tallies)
		last := ""
		for _, l := range slices.Concat(res.Lots, res.Waiting) {
			if l.Lot != last || last == "" {
				runs, readings = runs-l.Runs, readings-l.Readings
			}
			last = l.Lot
		}
		if runs != 0 || readings != 0 {
			rt.Fatalf("%d runs and %d readings are in no line, or twice: %+v of %+v", runs, readings, res, tallies)
		}
	})
}
