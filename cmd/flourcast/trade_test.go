package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
)

// tradeFiles are a model of hardness = 14 − peak/400 and new lots: sure is soft, likely
// lies near the limit, far is outside of the calibration.
func tradeFiles(t *testing.T) (model, lots string, write func(name, text string) string) {
	t.Helper()
	fit, _ := validationTables(t, 0)
	dir := t.TempDir()
	write = func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	model = filepath.Join(dir, "m.json")
	if _, errs, code := call(t, "fit", fit, "--response", "hardness_N", "--kind", "pls", "--features", "peak_mPas", "--permutations", "0", "--repeats", "1", "-o", model); code != 0 {
		t.Fatal(errs)
	}
	lots = write("new.csv", "lot,product,peak_mPas,peak_mPas_n,peak_mPas_sd,protein_pct\nsure,white-salted-noodle,2800,1,,10\nlikely,white-salted-noodle,2460,1,,10\nunlikely,white-salted-noodle,2390,1,,9\nfar,white-salted-noodle,9000,1,,9\n")
	return model, lots, write
}

func TestPrice(t *testing.T) {
	model, lots, write := tradeFiles(t)
	prices := write("prices.csv", "lot,price,currency,water_absorption_pct\nsure,340.10,EUR,56\nlikely,300.20,EUR,58\nunlikely,330,EUR,50\nfar,100,EUR,50\n,5,EUR,\nlikely,299,EUR,50\n")
	type result struct {
		Schema, Standing, Currency string
		Rows                       int `json:"rows_read"`
		Priced                     int `json:"rows_priced"`
		Unpriced                   int `json:"rows_unpriced"`
		Refused                    int `json:"rows_refused"`
		Candidates                 []struct {
			Lot, Why, Decision string
			Rank               int
			Price, Probability *float64
			Cost               *float64 `json:"cost_per_conforming_tonne"`
			Dough              *float64 `json:"cost_per_tonne_of_dough"`
			Ties               *float64 `json:"ties_at_price"`
			Frontier           bool
		}
	}
	ask := func(flags ...string) (r result) {
		t.Helper()
		out, errs, code := call(t, append([]string{"price", model, lots, "--spec", "hardness_N=..7.9", "--json", "--prices", prices}, flags...)...)
		if code != 0 {
			t.Fatal(errs)
		}
		if err := json.Unmarshal([]byte(out), &r); err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := ask("--hold-cost", "6.50", "--reject-cost", "40")
	if r.Schema != "flourcast.price/1" || r.Currency != "EUR" || r.Rows != 6 || r.Priced != 4 || r.Refused != 2 || r.Priced+r.Unpriced+r.Refused != r.Rows || len(r.Candidates) != 4 {
		t.Fatalf("%+v", r)
	}
	for _, c := range r.Candidates {
		if c.Lot == "far" {
			if c.Rank != 0 || !strings.Contains(c.Why, "utside") {
				t.Errorf("far: %+v", c)
			}
			continue
		}
		held := 0.0
		if c.Decision == "hold" {
			held = 6.5
		}
		want := (*c.Price + 40*(1-*c.Probability) + held) / *c.Probability
		if c.Rank == 0 || math.Abs(*c.Cost-want) > 1e-6*want {
			t.Errorf("%+v: want a cost of %v", c, want)
		}
		if c.Lot == "unlikely" && c.Frontier {
			t.Error("unlikely is dearer and less sure than likely, and on the frontier")
		}
	}
	// At the price at which the second ties, it costs what the first does.
	second := r.Candidates[1]
	prices = write("prices.csv", strings.NewReplacer("300.20", fmt.Sprintf("%.6f", *second.Ties)).Replace("lot,price\nsure,340.10\nlikely,300.20\n"))
	if second.Lot != "likely" {
		t.Fatalf("second is %s", second.Lot)
	}
	if tied := ask("--hold-cost", "6.50", "--reject-cost", "40"); math.Abs(*tied.Candidates[0].Cost-*tied.Candidates[1].Cost) > 1e-4 {
		t.Errorf("%v and %v", *tied.Candidates[0].Cost, *tied.Candidates[1].Cost)
	}
	prices = write("prices.csv", "lot,price,water_absorption_pct\nsure,300,60\nlikely,300,\n")
	r = ask("--per", "dough", "--water-price", "2")
	if c := r.Candidates[0]; c.Lot != "sure" || math.Abs(*c.Dough-(*c.Cost+1.2)/1.6) > 1e-6 || r.Candidates[1].Rank != 0 {
		t.Errorf("%+v", r.Candidates)
	}
	page := filepath.Join(t.TempDir(), "price.html")
	prices = write("prices.csv", "lot,price,currency\nsure,340.10,EUR\nlikely,300.20,EUR\n")
	out, errs, code := call(t, "price", model, lots, "--spec", "hardness_N=..7.9", "--prices", prices, "-o", page)
	if code != 0 || !strings.Contains(out, "340.10") || !strings.Contains(out, "supports a decision") {
		t.Errorf("code %d\n%s%s", code, out, errs)
	}
	if data, err := os.ReadFile(page); err != nil || !strings.Contains(string(data), "<svg") {
		t.Errorf("no frontier drawn: %v", err)
	}
	for want, bad := range map[int][][]string{
		shell.ExitUsage:   {{"--prices", prices}, {"--prices", prices, "--spec", "hardness_N"}, {"--spec", "hardness_N=..7.9"}, {"--prices", prices, "--spec", "hardness_N=..7.9", "--hold-cost", "6 EUR"}, {"--prices", prices, "--spec", "hardness_N=..7.9", "--refund", "2"}, {"--prices", prices, "--spec", "hardness_N=..7.9", "--per", "bag"}, {"--prices", prices, "--spec", "firmness_N=..7.9"}},
		shell.ExitNothing: {{"--prices", write("none.csv", "lot,price\nsure,\n"), "--spec", "hardness_N=..7.9"}},
		shell.ExitShort:   {{"--prices", write("other.csv", "lot,price\nfar,100\n"), "--spec", "hardness_N=..7.9", "--strict"}},
	} {
		for _, flags := range bad {
			if _, errs, code := call(t, append([]string{"price", model, lots}, flags...)...); code != want {
				t.Errorf("%v: code %d, want %d: %s", flags, code, want, errs)
			}
		}
	}
}

func TestUses(t *testing.T) {
	model, lots, write := tradeFiles(t)
	type result struct {
		Schema string
		Lots   []struct {
			Lot  string
			Fits []struct {
				Product, By, Decision, Class string
				Probability                  *float64
				Reasons                      []string
			}
		}
	}
	ask := func(flags ...string) (r result) {
		t.Helper()
		out, errs, code := call(t, append([]string{"uses", lots, "--json"}, flags...)...)
		if code != 0 {
			t.Fatal(errs)
		}
		if err := json.Unmarshal([]byte(out), &r); err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := ask("--model", model+":hardness_N=..7.5", "--model", model+":hardness_N=7.5..", "--window", "sponge-cake:peak_mPas=2000..2600,protein_pct=..9.5")
	if r.Schema != "flourcast.uses/1" || len(r.Lots) != 4 {
		t.Fatalf("%+v", r)
	}
	for _, l := range r.Lots {
		if len(l.Fits) != 3 {
			t.Fatalf("%+v", l)
		}
		last, rank := 2.0, map[string]int{"decided": 0, "doubted": 1, "unknown": 2}
		for i, f := range l.Fits {
			p := -1.0
			if f.Probability != nil {
				p = *f.Probability
			}
			if i > 0 && (rank[f.Class] < rank[l.Fits[i-1].Class] || f.Class == l.Fits[i-1].Class && p > last) {
				t.Errorf("%s: %+v stands behind %+v", l.Lot, f, l.Fits[i-1])
			}
			last = p
			if len(f.Reasons) == 0 {
				t.Errorf("%s: %s without a reason", l.Lot, f.Product)
			}
			if l.Lot == "far" && f.By == "model" && f.Class != "doubted" {
				t.Errorf("far: %+v", f)
			}
			if f.By == "window" && (f.Decision == "accept") != (l.Lot == "unlikely") {
				t.Errorf("%s against the window: %+v", l.Lot, f)
			}
		}
	}
	// The two sides of one limit add up to 1.
	sum := 0.0
	for _, f := range r.Lots[0].Fits {
		if f.By == "model" {
			sum += *f.Probability
		}
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("probabilities of both sides add up to %v", sum)
	}
	// Replicates give a window a probability: 2600 lies one standard error (60/√4) above
	// 2570: Student's t of 3 degrees of freedom, 0.8045 (any table).
	lots = write("four.csv", "lot,peak_mPas,peak_mPas_n,peak_mPas_sd\nX,2570,4,60\n")
	r = ask("--window", "sponge-cake:peak_mPas=..2600")
	if f := r.Lots[0].Fits[0]; f.Probability == nil || math.Abs(*f.Probability-0.8045) > 1e-4 || f.Decision != "hold" {
		t.Errorf("%+v", f)
	}
	if r := ask("--window", "sponge-cake:ash_pct=..0.5"); r.Lots[0].Fits[0].Class != "unknown" || r.Lots[0].Fits[0].Decision != "hold" {
		t.Errorf("%+v", r)
	}
	if out, errs, code := call(t, "uses", lots, "--window", "sponge-cake:peak_mPas=..2600"); code != 0 || !strings.Contains(out, "sponge cake") {
		t.Errorf("code %d\n%s%s", code, out, errs)
	}
	// The same from a lab book: it needs the lots, and knows what was wrong with their runs.
	book := filepath.Join(t.TempDir(), "book")
	for _, args := range [][]string{{"init", book}, {"add", "--book", book, write("lots.csv", "lot,product,protein_pct,protein_basis\nX,sponge-cake,9,14 %\nY,sponge-cake,9,14 %\n"), write("pasting.csv", "lot,method,replicate,peak_mPas\nX,cake-water,1,2570\nX,cake-water,2,2590\nY,cake-water,1,3900\n")}} {
		if _, errs, code := call(t, args...); code != 0 {
			t.Fatal(errs)
		}
	}
	out, errs, code := call(t, "uses", "--book", book, "--window", "sponge-cake:peak_mPas=..2600", "--method", "cake-water", "--lot", "X,Y", "--json")
	r = result{}
	if err := json.Unmarshal([]byte(out), &r); err != nil || code != 0 {
		t.Fatalf("code %d, %v: %s", code, err, errs)
	}
	if len(r.Lots) != 2 || r.Lots[0].Fits[0].Probability == nil || r.Lots[1].Fits[0].Decision != "reject" {
		t.Errorf("from the book: %+v", r)
	}
	for _, bad := range [][]string{{}, {"--lot", "nobody"}} {
		if _, errs, code := call(t, append([]string{"uses", "--book", book, "--window", "sponge-cake:peak_mPas=..2600"}, bad...)...); code != shell.ExitUsage {
			t.Errorf("book, %v: code %d: %s", bad, code, errs)
		}
	}
	for _, bad := range [][]string{{}, {"--model", model}, {"--model", model + ":hardness_N"}, {"--window", "x:"}, {"--window", "x:peak_mPas=..1", "--lot", "nobody"}, {"--model", model + ":firmness_N=..3"}, {"--model", model + ":hardness_N=..3,peak_mPas=..1"}} {
		if _, errs, code := call(t, append([]string{"uses", lots}, bad...)...); code != shell.ExitUsage {
			t.Errorf("%v: code %d: %s", bad, code, errs)
		}
	}
}
