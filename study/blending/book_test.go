package blending

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"flourcast/study/bookstock"
	"flourcast/study/entry/booktest"
	"flourcast/study/job"
)

var bookEnv = booktest.Env(time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC))

// threeInBook are the three flours whose cheapest blend is known by hand, 6/11 and 5/11,
// as lots of a book; W was run by a second method too.
func threeInBook(t *testing.T) string {
	lots := "lot,product,protein_pct,protein_basis,moisture_pct,price,currency,parent_lot,share\nA,p,9.0,14 %,14,300,EUR,,\nB,p,11.5,14 %,14,360,EUR,,\nC,p,9.5,14 %,14,330,EUR,,\nW,p,9.5,14 %,14,,,,\n"
	values := "lot,method,replicate,peak_mPas\nA,noodle-water,1,1800\nB,noodle-water,1,2900\nC,noodle-water,1,2300\nW,noodle-water,1,2200\nW,cake-water,1,900\n"
	for i := range 7 { // own blends by the log rule
		x := 0.2 + 0.1*float64(i)
		lots += fmt.Sprintf("M%d,p,,,,,,A + B,%.0f + %.0f\n", i, 100*x, 100-100*x)
		values += fmt.Sprintf("M%d,noodle-water,1,%.1f\n", i, math.Exp(x*math.Log(1800)+(1-x)*math.Log(2900)))
	}
	return booktest.Of(t, bookEnv, map[string]string{"lots.csv": lots, "values.csv": values})
}

func TestBlendOfABook(t *testing.T) {
	book := threeInBook(t)
	q := Request{Book: book, Flours: bookstock.Named([]string{"A", "B", "C"}), Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=9.8..")}
	res := blended(t, q)
	if math.Abs(res.Shares["A"]-6./11) > 1e-9 || math.Abs(res.Shares["B"]-5./11) > 1e-9 || res.Cost.Round(4).String() != "327.2727" || res.Currency != "EUR" || res.Stock != bookstock.Name {
		t.Errorf("by the book's figures and prices: %+v", res)
	}
	if e := res.Expected[0]; e.OwnBlends != 7 || e.SD == nil || *e.SD < 5 {
		t.Errorf("the book's own blends, off the linear rule: %+v", e)
	}
	q.Mixing = Measured
	if res = blended(t, q); math.Abs(res.Expected[0].Value-2300) > 1e-6 || *res.Expected[0].SD > 0.1 { // they follow the logarithm
		t.Errorf("as own blends did: %+v", res.Expected[0])
	}
	q.Mixing, q.Flours[0].Price = "", "500,25"
	if res = blended(t, q); res.Recipe[0].Price.String() != "500.25" || res.Shares["A"] != 0 {
		t.Errorf("with a price of the user's: %+v", res.Recipe)
	}
	// A stock file has prices only: its figures are the book's.
	q = Request{Book: book, Method: "noodle-water", Stock: file(t, "stock.csv", "flour,price,stock_t\nA,300,50\nB,360,50\nC,330,50\n"), Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=9.8..")}
	if res = blended(t, q); math.Abs(res.Shares["A"]-6./11) > 1e-9 || *res.Recipe[0].StockT != 50 {
		t.Errorf("a stock file beside the book: %+v", res.Shares)
	}
	// A column that the file has is the file's alone.
	q.Limits = limits(t, "peak_mPas=2300..2500")
	q.Stock = file(t, "stock.csv", "flour,price,peak_mPas\nA,300,2400\nB,360,\nC,330,2350\n")
	if res = blended(t, q); res.RowsRefused != 1 || !res.Findings.Has("figure-missing") {
		t.Errorf("a gap in the file: %+v", res)
	}
	for name, c := range map[string]struct {
		q     Request
		field string
	}{
		"a lot that is not there": {Request{Book: book, Flours: bookstock.Named([]string{"A", "Z"}), Limits: limits(t, "protein_pct=9..")}, "flours"},
		"two methods":             {Request{Book: book, Flours: bookstock.Named([]string{"A", "W"}), Limits: limits(t, "peak_mPas=2000..")}, "method"},
		"a price in words":        {Request{Book: book, Flours: []bookstock.Flour{{Name: "A", Price: "cheap"}}, Limits: limits(t, "protein_pct=9..")}, "flours"},
		"lots without a book":     {Request{Flours: bookstock.Named([]string{"A"}), Limits: limits(t, "protein_pct=9..")}, "book"},
		"a file and lots":         {Request{Book: book, Stock: q.Stock, Flours: bookstock.Named([]string{"A"}), Limits: limits(t, "protein_pct=9..")}, "flours"},
		"no flours":               {Request{Book: book, Limits: limits(t, "protein_pct=9..")}, "flours"},
		"a ratio of one":          {Request{Book: book, Flours: bookstock.Named([]string{"A", "B"}), Ratio: "A:A", Limits: limits(t, "protein_pct=9..")}, "ratio"},
	} {
		var bad *job.RequestError
		if _, err := Blend(context.Background(), bookEnv, c.q); !errors.As(err, &bad) || bad.Field != c.field || strings.Contains(err.Error(), "--") {
			t.Errorf("%s: %v, want the field %s and no flag", name, err, c.field)
		}
	}
	bare := booktest.Of(t, bookEnv, map[string]string{"lots.csv": "lot,product,price\nA,p,300\nB,p,360\n", "values.csv": "lot,method,replicate,peak_mPas\nA,noodle-water,1,1800\nB,noodle-water,1,2900\n"})
	var few *job.RequestError
	if _, err := Blend(context.Background(), bookEnv, Request{Book: bare, Flours: bookstock.Named([]string{"A", "B"}), Mixing: Measured, Limits: limits(t, "peak_mPas=2000..")}); !errors.As(err, &few) || !strings.Contains(few.Found, "0 own blends with peak_mPas in the lab book") {
		t.Errorf("a book without own blends: %v", err)
	}
	// Without a price in the book the lot is refused by name.
	if res = blended(t, Request{Book: book, Flours: bookstock.Named([]string{"A", "W"}), Limits: limits(t, "protein_pct=9..")}); res.RowsRefused != 1 || !res.Findings.Has("price-missing") {
		t.Errorf("no price: %+v", res.Findings)
	}
}

// Each ratio has what the stated blend of those shares has, and the ends are the flours.
func TestRatio(t *testing.T) {
	in := file(t, "stock.csv", three)
	q := Request{Stock: in, Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=9.8.."), Ratio: RatioAuto}
	r := blended(t, q).Ratio
	if r.First != "A" || r.Second != "B" || len(r.Steps) != 21 {
		t.Fatalf("%+v", r)
	}
	if a, b := r.Steps[20], r.Steps[0]; a.Figures[0].Value != 1800 || a.Cost.String() != "300" || b.Figures[0].Value != 2900 || b.OtherPct != 100 || *a.Meets || *b.Meets {
		t.Errorf("the ends: %+v, %+v", a, b)
	}
	for _, s := range r.Steps {
		x := float64(s.Pct) / 100
		stated := blended(t, Request{Stock: in, Shares: map[string]float64{"A": x, "B": 1 - x}, Limits: q.Limits})
		if math.Abs(stated.Expected[0].Value-s.Figures[0].Value) > 1e-9 || stated.Feasible != *s.Meets || stated.Cost.String() != s.Cost.String() {
			t.Errorf("%d %%: %+v, stated %+v", s.Pct, s, stated.Expected[0])
		}
	}
	// With own blends a probability stands beside it, but where protein, of which none is
	// known, is missed: 9 % and 11.5 % make 9.8 % from 32 % of B on.
	q.Blends = file(t, "own.csv", ownBlendsFile(12, 5))
	for _, s := range blended(t, q).Ratio.Steps {
		if known := s.LeastProbability != nil; known != (s.OtherPct > 32) || known && *s.LeastProbability != *s.Figures[0].Probability {
			t.Errorf("%d %% of B: probability %v, figures %+v", s.OtherPct, s.LeastProbability, s.Figures)
		}
	}
	q.Blends = ""
	// Limits that conflict leave the ratios to be looked at.
	q.Limits = limits(t, "peak_mPas=2300..2500", "protein_pct=12..")
	res, err := Blend(context.Background(), job.Env{}, q)
	var nothing *job.NothingUsableError
	if !errors.As(err, &nothing) || res.Ratio == nil {
		t.Errorf("%v, ratio %+v", err, res.Ratio)
	}
}
