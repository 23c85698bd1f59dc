package takeaway_test

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/forecast"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/fitting"
	"flourcast/study/job"
	"flourcast/study/takeaway"
)

func env() job.Env {
	return job.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC) }, Version: "test", Seed: 1, Cores: 1}
}

// stored are model files as an earlier version wrote them, of every kind (data of
// Longley 1967; study/card/testdata/SOURCE.md).
func stored(t testing.TB, kind string) *card.Card {
	t.Helper()
	c, err := card.Read("../../study/card/testdata/schema1/" + kind + ".json")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// rows is a table of a response and features.
func rows(t testing.TB, response string, y []float64, features []string, x [][]float64, lots []string) *table.Table {
	t.Helper()
	known := make([]bool, len(lots))
	for i := range known {
		known[i] = true
	}
	columns := []column.Column{column.Text("lot", lots)}
	if response != "" {
		columns = append(columns, column.Numbers(response, y, known))
	}
	for j, name := range features {
		figures := make([]float64, len(x))
		for i := range x {
			figures[i] = x[i][j]
		}
		columns = append(columns, column.Numbers(name, figures, known))
	}
	tab, err := table.New("lot", columns...)
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

func fitted(t testing.TB, tab *table.Table, q fitting.Request) *card.Card {
	t.Helper()
	q.Table, q.File, q.Repeats = tab, "test", 1
	res, err := fitting.Fit(context.Background(), env(), q)
	if err != nil {
		t.Fatal(err)
	}
	data, err := card.Encode(res.Card) // as a file has it
	if err != nil {
		t.Fatal(err)
	}
	c, err := card.Decode("test", data)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// longley fits Longley's rows anew. Some lots then have two rows, so that the rows of an
// interval weigh unequally.
func longley(t testing.TB, q fitting.Request, twice int) *card.Card {
	t.Helper()
	c := stored(t, "ols")
	var x [][]float64
	var y []float64
	var lots []string
	for i, r := range c.Training {
		for k := range 2 {
			if k == 1 && i >= twice {
				continue
			}
			more := append([]float64(nil), r.X...)
			more[0] += 0.3 * float64(k)
			x, y, lots = append(x, more), append(y, r.Measured+float64(40*k)), append(lots, r.Lot)
		}
	}
	q.Response, q.Features = c.Response, c.Features
	return fitted(t, rows(t, c.Response, y, c.Features, x, lots), q)
}

// spectra are near-infrared spectra of gasoline and its octane number (Kalivas 1997;
// model/testdata/reference/SOURCE.md), every sixteenth wavelength, standing in for whole
// curves: they are as smooth and as many.
func spectra(t testing.TB) *card.Card {
	t.Helper()
	read := func(name string, zipped bool) [][]float64 {
		f, err := os.Open("../../model/testdata/reference/gasoline/" + name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		in := csv.NewReader(bufio.NewReader(f))
		if zipped {
			z, err := gzip.NewReader(f)
			if err != nil {
				t.Fatal(err)
			}
			in = csv.NewReader(z)
		}
		records, err := in.ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		out := make([][]float64, len(records))
		for i, record := range records {
			for _, cell := range record {
				v, err := strconv.ParseFloat(cell, 64)
				if err != nil && i > 0 {
					t.Fatal(err)
				}
				out[i] = append(out[i], v)
			}
		}
		return out[1:]
	}
	xs, ys := read("x.csv.gz", true), read("y.csv", false)
	var names, lots []string
	var y []float64
	x := make([][]float64, len(xs))
	for i := range xs {
		lots, y = append(lots, fmt.Sprintf("S%02d", i+1)), append(y, ys[i][0])
		for j := 0; j < len(xs[i]); j += 16 {
			if i == 0 {
				names = append(names, fmt.Sprintf("v_%04ds", 10*len(names)))
			}
			x[i] = append(x[i], xs[i][j])
		}
	}
	return fitted(t, rows(t, "octane", y, names, x, lots), fitting.Request{Response: "octane", Features: names, Kind: "pls", Components: 4, Derivative: "1", Window: 5, Folds: "k=10"})
}

// made keeps models between tests, which read them only.
var made map[string]*card.Card

// models are all kinds of model that there are to take away.
func models(t testing.TB) map[string]*card.Card {
	if made != nil {
		return made
	}
	made = map[string]*card.Card{
		"mean": stored(t, "mean"), "ols": stored(t, "ols"), "ridge": stored(t, "ridge"), "pls": stored(t, "pls"),
		"origin":     longley(t, fitting.Request{Kind: "ols", Origin: true}, 0),
		"log":        longley(t, fitting.Request{Kind: "pls", Components: 2, Transform: "log"}, 0),
		"duplicates": longley(t, fitting.Request{Kind: "ridge"}, 5),
		"derivative": spectra(t),
	}
	return made
}

// lotsFor are lots near and far from those of the calibration.
func lotsFor(c *card.Card, n int) [][]float64 {
	rng := rand.New(rand.NewPCG(8, 13))
	d := c.Domain.Equations()
	var out [][]float64
	for i := range n {
		x := append([]float64(nil), c.Training[rng.IntN(len(c.Training))].X...)
		for j := range x {
			x[j] += rng.NormFloat64() * d.SD[j] * []float64{0, 0.02, 0.1}[i%3]
		}
		if i%5 == 4 {
			j := rng.IntN(len(x))
			x[j] += 6 * d.SD[j]
		}
		out = append(out, x)
	}
	return out
}

// asked are the forecasts of lots by the program itself.
func asked(t testing.TB, c *card.Card, x [][]float64, spec *forecast.Spec) []forecast.Forecast {
	t.Helper()
	lots := make([]string, len(x))
	for i := range lots {
		lots[i] = fmt.Sprint("N", i)
	}
	res, err := study.Forecast(context.Background(), env(), study.ForecastRequest{Card: c, Table: rows(t, "", nil, c.Features, x, lots), Spec: spec})
	if err != nil {
		t.Fatal(err)
	}
	return res.Forecasts
}

// specFor are limits that some lots meet and some do not.
func specFor(c *card.Card) *forecast.Spec {
	low, high := c.Training[0].Measured, c.Training[0].Measured
	for _, r := range c.Training {
		low, high = min(low, r.Measured), max(high, r.Measured)
	}
	low, high = low+0.3*(high-low), high+0.1*(high-low)
	return &forecast.Spec{Response: c.Response, Low: &low, High: &high}
}

func export(t testing.TB, c *card.Card, spec *forecast.Spec) *takeaway.Result {
	t.Helper()
	r, err := takeaway.Make(env(), takeaway.Request{Model: "model.json", Card: c, Spec: spec})
	if err != nil {
		t.Fatal(err)
	}
	return r
}
