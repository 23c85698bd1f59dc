package suitability

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"flourcast/forecast"
	"flourcast/study/enduse"
	"flourcast/study/entry/booktest"
	"flourcast/study/job"
)

var env = booktest.Env(time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC))

// noted is a lab book with lots of a product that ran well, with their peaks, one that
// had trouble, and X, of which nothing is noted.
func noted(t *testing.T, peaks []float64, notes bool) string {
	t.Helper()
	lots, values, ran := "lot,product\nX,sponge-cake\nT,sponge-cake\n", "lot,method,replicate,peak_mPas\nX,cake-water,1,2700\nT,cake-water,1,2010\n", "lot,product,ran,trouble\nT,sponge-cake,no,fell\n"
	for i, p := range peaks {
		lots += fmt.Sprintf("L%d,sponge-cake\n", i)
		values += fmt.Sprintf("L%d,cake-water,1,%g\n", i, p)
		ran += fmt.Sprintf("L%d,sponge-cake,well,\n", i)
	}
	files := map[string]string{"lots.csv": lots, "values.csv": values}
	if notes {
		files["production.csv"] = ran
	}
	return booktest.Of(t, env, files)
}

// Twelve lots that ran well: mean ± 3.163 SD, the two-sided factor for 95 % of lots with
// 95 % confidence by the approximation of Howe 1969, J Am Stat Assoc 64:610, worked out by
// hand: √(11·(13/12)·1.95996²/4.5748); it is within 0.5 % of the exact one.
func TestAWindowFromProductionNotes(t *testing.T) {
	peaks := []float64{1960, 1975, 1985, 1990, 1995, 1998, 2002, 2005, 2010, 2015, 2025, 2040}
	q := Request{Dir: noted(t, peaks, true), Lots: []string{"X"}, All: true, Production: true}
	res, err := Make(context.Background(), env, q)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(res.Sheets[0].Fits); n != 1 {
		t.Fatalf("%d fits, want the window", n)
	}
	f := res.Sheets[0].Fits[0]
	if f.Product != "sponge-cake" || f.By != "window" || f.Origin != enduse.Production || f.Decision != forecast.Reject || len(f.Limits) != 1 { // 2700 lies far outside
		t.Fatalf("%+v", f)
	}
	mean, ss := 2000.0, 0.0
	for _, p := range peaks {
		ss += (p - mean) * (p - mean)
	}
	sd := math.Sqrt(ss / 11)
	s, err := forecast.ParseSpec(f.Limits[0])
	if err != nil || math.Abs(*s.Low-(mean-3.163*sd)) > 0.02*sd || math.Abs(*s.High-(mean+3.163*sd)) > 0.02*sd {
		t.Errorf("%v: %s, want 2000 ± %.2f", err, f.Limits[0], 3.163*sd)
	}
	if !res.Findings.Has("window-tells-little") { // T, which had trouble, lies within
		t.Errorf("nothing said of the lot that had trouble: %v", res.Findings)
	}
	// A window that was given counts instead.
	q.Windows = []enduse.Window{{Product: "sponge-cake", Limits: []forecast.Spec{s}}}
	if res, err = Make(context.Background(), env, q); err != nil || res.Sheets[0].Fits[0].Origin != "" {
		t.Errorf("%v: %+v", err, res.Sheets)
	}
}

func TestNoWindowFromFewNotes(t *testing.T) {
	var nothing *job.NothingUsableError
	if _, err := Make(context.Background(), env, Request{Dir: noted(t, []float64{1990, 2000, 2010}, true), Lots: []string{"X"}, Products: []string{"sponge-cake"}, Production: true}); !errors.As(err, &nothing) {
		t.Errorf("three lots: %v, want that there is neither model nor window", err)
	}
	var bad *job.RequestError
	if _, err := Make(context.Background(), env, Request{Dir: noted(t, nil, false), Lots: []string{"X"}, All: true, Production: true}); !errors.As(err, &bad) || bad.Field != "production" || strings.Contains(err.Error(), "--") {
		t.Errorf("no notes: %v", err)
	}
}
