package newlots

import (
	"fmt"
	"reflect"
	"testing"

	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/study"
)

// Pages together hold every lot once and in order; each leads with the particulars of
// all, and findings end the last. So many lots as fit on one page are one Document.
func TestPages(t *testing.T) {
	n := 5
	res := &study.ForecastResult{Response: "hardness_N", Product: "soft-bite-noodle", Recorded: &n, Findings: finding.List{{Code: "x", Severity: finding.Note, Found: "something"}}}
	for i := range n {
		res.Forecasts = append(res.Forecasts, forecast.Forecast{Lot: fmt.Sprint("L", i), Response: "hardness_N", Level: 0.9})
	}
	for _, c := range []struct {
		lots int
		want [][]string
	}{{5, [][]string{{"L0", "L1", "L2", "L3", "L4"}}}, {2, [][]string{{"L0", "L1"}, {"L2", "L3"}, {"L4"}}}} {
		var got [][]string
		var last document.Document
		for d := range Pages(res, c.lots) {
			var lots []string
			for _, b := range d.Sections[0].Blocks {
				if table, ok := b.(*document.Table); ok && table.ID == "forecasts" {
					for _, row := range table.Rows {
						lots = append(lots, row[0].Text)
					}
				}
			}
			got, last = append(got, lots), d
			if book := d.Meta[len(d.Meta)-1]; book.Value != "5 forecasts written down" {
				t.Errorf("pages of %d: %v", c.lots, book)
			}
			if hasFindings, ends := len(d.Sections) == 2, len(got) == len(c.want); hasFindings != ends {
				t.Errorf("pages of %d: page %d has %d sections", c.lots, len(got), len(d.Sections))
			}
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("pages of %d: %v", c.lots, got)
		}
		if whole := Document(res); len(c.want) == 1 && !reflect.DeepEqual(last, whole) {
			t.Errorf("one page: %v, want %v", last, whole)
		}
	}
	if len(res.Forecasts) != n || len(res.Findings) != 1 {
		t.Errorf("the result was changed: %+v", res)
	}
}
