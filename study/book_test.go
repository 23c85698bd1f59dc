package study_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/demo"
	"flourcast/forecast"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/card"
	"flourcast/study/entry"
)

var bookEnv = study.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC) }, Version: "test", Cores: 2}

// millBook is an invented mill's lab book with a model, and the files of its new lots.
func millBook(t *testing.T) (dir string, c *card.Card, curves, lots string) {
	t.Helper()
	ctx := context.Background()
	raw := t.TempDir()
	mill, err := demo.Write(raw, 1)
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, list := range [][]string{mill.Lots, mill.Runs, mill.Curves, mill.Pasting, mill.Texture, mill.Bakes} {
		for _, f := range list {
			if path := filepath.Join(raw, filepath.FromSlash(f)); !slices.Contains(paths, path) {
				paths = append(paths, path)
			}
		}
	}
	dir = filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Init(ctx, dir); err != nil {
		t.Fatal(err)
	}
	if _, err := entry.Add(ctx, bookEnv, entry.AddRequest{Dir: dir, Paths: paths}); err != nil {
		t.Fatal(err)
	}
	table, err := study.BookTable(ctx, bookEnv, dir)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := study.Fit(ctx, bookEnv, study.FitRequest{Table: table, File: "book", Response: "hardness_N", Kind: "pls", Product: "soft-bite-noodle", Method: "noodle-water", Repeats: 1, Permutations: 0,
		Features: []string{"peak_mPas@noodle-water", "breakdown_mPas@noodle-water", "setback_trough_mPas@noodle-water", "protein_pct"}})
	if err != nil {
		t.Fatal(err)
	}
	return dir, fit.Card, filepath.Join(raw, filepath.FromSlash(mill.New.Curves)), filepath.Join(raw, filepath.FromSlash(mill.New.Lots))
}

func TestWholeForecastFromTheBook(t *testing.T) {
	dir, c, curves, lots := millBook(t)
	t.Run("as from files", func(t *testing.T) { asFromFiles(t, dir, c, curves, lots) })
	t.Run("by a customer's specification", func(t *testing.T) { bySpecification(t, dir, c) })
	t.Run("verified in full", func(t *testing.T) { verifiedInFull(t, dir, c) })
}

// asFromFiles checks that new lots forecast from the book come out as from their
// files, and are written down once, as they were made.
func asFromFiles(t *testing.T, dir string, c *card.Card, curves, lots string) {
	ctx := context.Background()
	plain, err := study.Forecast(ctx, bookEnv, study.ForecastRequest{Card: c, Paths: []string{curves}, Lots: lots})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := entry.Add(ctx, bookEnv, entry.AddRequest{Dir: dir, Paths: []string{curves, lots}}); err != nil {
		t.Fatal(err)
	}
	var wanted []string
	for _, f := range plain.Forecasts {
		wanted = append(wanted, f.Lot)
	}
	q := study.BookForecastRequest{Dir: dir, Wanted: wanted, Operator: "op", ForecastRequest: study.ForecastRequest{Card: c}}
	booked, err := study.ForecastBook(ctx, bookEnv, q)
	if err != nil {
		t.Fatal(err)
	}
	if len(plain.Forecasts) < 5 || len(booked.Forecasts) != len(plain.Forecasts) || *booked.Recorded != len(wanted) {
		t.Fatalf("%d forecasts from files, %d from the book, %d written down", len(plain.Forecasts), len(booked.Forecasts), *booked.Recorded)
	}
	for i := range plain.Forecasts {
		want, got := plain.Forecasts[i], booked.Forecasts[i]
		a, _ := json.Marshal(want)
		b, _ := json.Marshal(got)
		// Reasons name files, whose paths differ.
		if a = []byte(strings.ReplaceAll(string(a), filepath.Dir(curves)+"/", "")); !bytes.Equal(a, b) {
			t.Errorf("lot %s from the book\n%s\nfrom files\n%s", got.Lot, b, a)
		}
	}
	again, err := study.ForecastBook(ctx, bookEnv, q)
	if err != nil || *again.Recorded != 0 {
		t.Errorf("the same forecast again: %d written down, %v", *again.Recorded, err)
	}
	b, err := book.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	kept, err := b.Forecasts(ctx, book.Filter{Response: "hardness_N", Product: "soft-bite-noodle", Lots: wanted[:2]})
	if err != nil || len(kept) != 2 || kept[0].Of.Lot != wanted[0] || kept[0].Operator != "op" || len(kept[0].Features) != 4 {
		t.Errorf("kept %+v, %v", kept, err)
	}
	if v, err := bookkeeping.Verify(ctx, bookEnv, dir, ""); err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
	model, err := study.OpenModel(ctx, dir, kept[0].Model)
	if err != nil || model.Response != "hardness_N" {
		t.Errorf("the model by its hash: %v", err)
	}
}

// bySpecification checks that the specification of the day is taken.
func bySpecification(t *testing.T, dir string, c *card.Card) {
	ctx := context.Background()
	b, err := book.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	low, high, later := 3.0, 4.0, 4.5
	for _, s := range []book.Spec{
		{Customer: "K", Product: "soft-bite-noodle", Response: "hardness_N", Low: &low, High: &high, Revision: "1", ValidFrom: "2025-01-01"},
		{Customer: "K", Product: "soft-bite-noodle", Response: "hardness_N", Low: &low, High: &later, Revision: "2", ValidFrom: "2026-01-01"},
		{Customer: "K", Product: "soft-bite-noodle", Response: "hardness_N", Low: &high, High: &later, Revision: "3", ValidFrom: "2026-07-01"},
	} {
		if _, err := b.AddSpec(ctx, bookEnv, s, "op"); err != nil {
			t.Fatal(err)
		}
	}
	q := study.BookForecastRequest{Dir: dir, Customer: "K", ForecastRequest: study.ForecastRequest{Card: c}, Unrecorded: true}
	res, err := study.ForecastBook(ctx, bookEnv, q)
	if err != nil {
		t.Fatal(err)
	}
	if got := res.Forecasts[0].Spec; got != "hardness_N=3..4.5" {
		t.Errorf("specification %s, want that of revision 2, which holds on 2026-01-15", got)
	}
	q.Customer = "nobody"
	if _, err := study.ForecastBook(ctx, bookEnv, q); err == nil || !strings.Contains(err.Error(), "no specification of nobody") {
		t.Errorf("an unknown customer: %v", err)
	}
}

// verifiedInFull checks that interval, probability, decision and class of a stored
// forecast are worked out anew, and named when they are not what they were.
func verifiedInFull(t *testing.T, dir string, c *card.Card) {
	ctx := context.Background()
	q := study.BookForecastRequest{Dir: dir, Customer: "K", ForecastRequest: study.ForecastRequest{Card: c, Level: 0.8,
		Bands: &forecast.Bands{Response: "hardness_N", Names: []string{"soft", "firm"}, Cuts: []float64{3.5}}, Rule: &forecast.Rule{Accept: 0.6, Reject: 0.4}}}
	res, err := study.ForecastBook(ctx, bookEnv, q)
	if err != nil || res.Forecasts[0].Decision == "" || res.Forecasts[0].Class == "" {
		t.Fatalf("%+v, %v", res, err)
	}
	before, err := bookkeeping.Verify(ctx, bookEnv, dir, "")
	if err != nil || !before.OK || before.Partly != 0 {
		t.Fatalf("untouched: %+v, %v", before, err)
	}
	db, err := sql.Open("sqlite", filepath.Join(dir, "book.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var id int
	var payload string
	if err := db.QueryRow("SELECT id, payload FROM entry WHERE kind = 'forecast' AND CAST(payload AS TEXT) LIKE '%\"class\":%' ORDER BY id DESC LIMIT 1").Scan(&id, &payload); err != nil {
		t.Fatal(err)
	}
	changed := payload
	for field, to := range map[string]string{"low": "1.5", "probability": "0.999", "decision": `"maybe"`, "class": `"crisp"`, "standard_error": "0.01"} {
		at := strings.Index(changed, `"forecast":`)
		was := regexp.MustCompile(`"` + field + `":[^,}]+`)
		if !was.MatchString(changed[at:]) {
			t.Fatalf("no %s in %s", field, changed)
		}
		done := false
		changed = changed[:at] + was.ReplaceAllStringFunc(changed[at:], func(old string) string {
			if done {
				return old
			}
			done = true
			return `"` + field + `":` + to
		})
	}
	for _, q := range []string{"DROP TRIGGER entry_stays", "UPDATE entry SET payload = ? WHERE id = ?"} {
		args := []any{[]byte(changed), id}
		if _, err := db.Exec(q, args[:strings.Count(q, "?")]...); err != nil {
			t.Fatal(err)
		}
	}
	after, err := bookkeeping.Verify(ctx, bookEnv, dir, "")
	if err != nil {
		t.Fatal(err)
	}
	var named []string
	for _, d := range after.Differences {
		if d.Row != int64(id) {
			t.Errorf("row %d differs, want %d alone", d.Row, id)
		}
		named = append(named, d.What)
	}
	if got := strings.Join(named, ", "); got != "hash of the row and what stands before it, class, decision, low, probability, standard_error" {
		t.Errorf("named: %s", got)
	}
	// A row that does not say how it was asked for: the value alone is compared.
	at := strings.Index(payload, `"asked":`)
	old := payload[:at] + payload[strings.Index(payload, `"forecast":`):]
	if _, err := db.Exec("UPDATE entry SET payload = ? WHERE id = ?", []byte(old), id); err != nil {
		t.Fatal(err)
	}
	if v, err := bookkeeping.Verify(ctx, bookEnv, dir, ""); err != nil || v.Partly != 1 || len(v.Differences) != 1 {
		t.Errorf("a row that does not say how: %+v, %v", v, err)
	}
}

// TestMain takes away what the benchmarks made.
func TestMain(m *testing.M) {
	code := m.Run()
	if bigDir != "" {
		if err := os.RemoveAll(bigDir); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
	os.Exit(code)
}

var bigDir string // of bigBook

// bigBook has 100,000 lots, each with a run by its feature values; made once.
var bigBook = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "flourcast-bench-*")
	if err != nil {
		return "", err
	}
	bigDir = dir
	var lots, runs bytes.Buffer
	lots.WriteString("lot,product,protein_pct,protein_basis\n")
	runs.WriteString("lot,method,replicate,pasting_temp_C,peak_time_s,peak_mPas,trough_mPas,final_mPas\n")
	for i := range 100_000 {
		fmt.Fprintf(&lots, "L%06d,soft-bite-noodle,%.1f,14 %%\n", i, 8+float64(i%30)/10)
		fmt.Fprintf(&runs, "L%06d,noodle-water,1,66.%d,%d,%d,%d,%d\n", i, i%10, 300+i%20, 2400+i%700, 1800+i%100, 3600+i%200)
	}
	paths := []string{filepath.Join(dir, "lots.csv"), filepath.Join(dir, "runs.csv")}
	for i, b := range [][]byte{lots.Bytes(), runs.Bytes()} {
		if err := os.WriteFile(paths[i], b, 0o644); err != nil {
			return "", err
		}
	}
	at := filepath.Join(dir, "book")
	if _, err := bookkeeping.Init(context.Background(), at); err != nil {
		return "", err
	}
	_, err = entry.Add(context.Background(), bookEnv, entry.AddRequest{Dir: at, Paths: paths})
	return at, err
})

func big(b *testing.B) string {
	b.Helper()
	dir, err := bigBook()
	if err != nil {
		b.Fatal(err)
	}
	return dir
}

// BenchmarkForecastOneOf100000 opens the book, reads one lot, forecasts it and writes
// the forecast down.
func BenchmarkForecastOneOf100000(b *testing.B) {
	ctx := context.Background()
	dir := big(b)
	var rows []string
	for i := range 40 {
		rows = append(rows, fmt.Sprintf("C%d,%d,%d,%d,%.3f", i, 2400+17*i, 600+13*(i*7%40), 1800+10*(i*11%40), 4-0.02*float64(i)+0.05*float64(i*13%7)))
	}
	path := filepath.Join(b.TempDir(), "t.csv")
	if err := os.WriteFile(path, []byte("lot,peak_mPas,breakdown_mPas,setback_trough_mPas,hardness_N\n"+strings.Join(rows, "\n")+"\n"), 0o644); err != nil {
		b.Fatal(err)
	}
	table, fl, err := dataset.ReadTable(path)
	if err != nil {
		b.Fatal(err)
	}
	fit, err := study.Fit(ctx, bookEnv, study.FitRequest{Table: table, TableFindings: fl, File: path, Response: "hardness_N", Kind: "pls", Repeats: 1})
	if err != nil {
		b.Fatal(err)
	}
	for i := 0; b.Loop(); i++ {
		q := study.BookForecastRequest{Dir: dir, Wanted: []string{fmt.Sprintf("L%06d", 50_000+i)}, ForecastRequest: study.ForecastRequest{Card: fit.Card}}
		if _, err := study.ForecastBook(ctx, bookEnv, q); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkListOf100000(b *testing.B) {
	dir := big(b)
	for b.Loop() {
		res, err := bookkeeping.Lots(context.Background(), dir)
		if err != nil || len(res.Lots) != 100_000 {
			b.Fatal(len(res.Lots), err)
		}
	}
}

func BenchmarkAddOneTo100000(b *testing.B) {
	dir := big(b)
	for i := 0; b.Loop(); i++ {
		path := filepath.Join(b.TempDir(), "one.csv")
		if err := os.WriteFile(path, fmt.Appendf(nil, "lot,method,replicate,peak_mPas,trough_mPas,final_mPas\nL%06d,noodle-water,%d,2800,2000,3700\n", i%1000, 2+i/1000), 0o644); err != nil {
			b.Fatal(err)
		}
		if _, err := entry.Add(context.Background(), bookEnv, entry.AddRequest{Dir: dir, Paths: []string{path}}); err != nil {
			b.Fatal(err)
		}
	}
}
