package fitting

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/model/catalog"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/work"
)

// bytesOf deals out bytes; a spent one deals zeros.
type bytesOf struct{ data []byte }

func (b *bytesOf) next(n int) int {
	if len(b.data) == 0 {
		return 0
	}
	v := int(b.data[0]) % n
	b.data = b.data[1:]
	return v
}

// randomTable is a small table that a laboratory could hand in on a bad day, and a
// request for it: constant and repeated columns, absurd scales, holes, NaN, texts,
// one lot only, responses below zero. The bytes say what is wrong, most of them
// nothing; the figures are random.
func randomTable(data []byte) (text string, q Request) {
	b := &bytesOf{data}
	r := work.Rand(uint64(b.next(256)), "cells")
	kinds := catalog.Kinds()
	q = Request{Response: "y", Kind: kinds[len(kinds)-1-b.next(len(kinds))], Components: max(0, b.next(8)-4), Repeats: 1 + b.next(2), Permutations: 3 * b.next(2),
		Folds: []string{"lot", "lot", "k=3", "loo", "year"}[b.next(5)]}
	switch b.next(8) {
	case 1:
		q.Transform = "log"
	case 2:
		v := math.Pow(10, float64(b.next(40)-20))
		q.Lambda = &v
	}
	if q.Kind == "ols" {
		q.Origin = b.next(3) == 1
		q.Weights = []string{"", "", "se"}[b.next(3)]
	}
	n, p := 24-b.next(24), 1+b.next(7)
	name := "x%d"
	if b.next(4) == 1 {
		name, p = "v_%04ds", p+6
		q.Derivative, q.Window, q.Features = []string{"1", "2", "choose"}[b.next(3)], 3+2*b.next(3), []string{"v_*"}
	}
	header := []string{"lot", "crop_year", "y", "y_se"}
	columns := make([][]string, p)
	for j := range p {
		header = append(header, fmt.Sprintf(name, 4*j))
		columns[j] = cells(b, r, n, columns[:j])
	}
	y, lots := cells(b, r, n, columns), b.next(6)
	lines := []string{strings.Join(header, ",")}
	for i := range n {
		lot, year := fmt.Sprint("L", i), 2023+i%3
		switch lots {
		case 1:
			lot, year = fmt.Sprint("L", i/2), 2023+i/2%3
		case 2:
			lot = "L"
		}
		row := []string{lot, fmt.Sprint(year), y[i], fmt.Sprintf("%.3g", r.ExpFloat64())}
		for j := range p {
			row = append(row, columns[j][i])
		}
		lines = append(lines, strings.Join(row, ","))
	}
	return strings.Join(lines, "\n") + "\n", q
}

// cells are those of one column.
func cells(b *bytesOf, r *rand.Rand, n int, before [][]string) []string {
	out := make([]string, n)
	mode, scale := b.next(30), 1.0
	if odd := b.next(30); odd < 7 {
		scale = []float64{1, 1e300, 1e-300, 1e12, 1e150, 1e-150, 1e99}[odd]
	}
	for i := range out {
		v := 20 + 4*r.NormFloat64() + float64(i)/4
		switch {
		case mode == 1:
			v = 0.1 // constant
		case mode == 2 && len(before) > 0: // another column again
			out[i] = before[0][i]
			continue
		case mode == 3:
			v = 1e9 + v // far from zero
		case mode == 4 && i%5 == 4:
			out[i] = []string{"", "NaN", "Inf", "n.d."}[b.next(4)]
			continue
		case mode == 5:
			v = float64(i % 2) // a switch
		case mode == 6 && i < n-1:
			v = 0 // one row holds it all
		case mode == 7:
			v -= 20 // on both sides of zero
		case mode == 8 && i%7 == 6:
			out[i] = "" // not measured
			continue
		}
		out[i] = fmt.Sprint(v * scale)
	}
	return out
}

// FuzzFit: whatever the table, an error of a named type, or a result without NaN or
// infinity that can be written and read back. A finding or an error names what is
// wrong; nothing panics.
func FuzzFit(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("an ordinary table, more or less, of sixteen lots and some features, to start from"))
	for k := range 6 {
		seed := make([]byte, 60)
		for i := range seed {
			seed[i] = byte((i*i*(k+3) + 7*i*k + k) >> (k % 3))
		}
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) { tryFit(t, data) })
}

// TestWholeRandomTables tries many tables without a fuzzer.
func TestWholeRandomTables(t *testing.T) {
	r := work.Rand(1, "random tables")
	fitted := 0
	for range 40 {
		data := make([]byte, 60)
		for i := range data {
			data[i] = byte(r.IntN(256))
		}
		if tryFit(t, data) {
			fitted++
		}
	}
	if fitted < 3 || fitted > 37 {
		t.Errorf("%d of 40 tables gave a model: neither nearly all nor nearly none should", fitted)
	}
}

// tryFit reports whether there was a model.
func tryFit(t *testing.T, data []byte) bool {
	text, q := randomTable(data)
	path := filepath.Join(t.TempDir(), "t.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var err error
	if q.Table, q.TableFindings, err = dataset.ReadTable(path, ""); err != nil {
		return false
	}
	env := job.Env{Clock: func() time.Time { return time.Unix(0, 0).UTC() }, Seed: 1, Cores: 1}
	res, err := Fit(context.Background(), env, q)
	if err != nil {
		if !named(err) {
			t.Fatalf("an error without a type of its own: %T %v\n%s", err, err, text)
		}
		return false
	}
	if _, err := json.Marshal(res); err != nil {
		t.Fatalf("%+v: %v\n%s", q.Kind, err, text)
	}
	saved, err := card.Encode(res.Card)
	if err != nil {
		t.Fatal(err)
	}
	back, err := card.Decode("saved", saved)
	if err != nil {
		t.Fatalf("the saved model is refused: %v\n%s", err, text)
	}
	fitted, err := back.Fitted()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range back.Training {
		if v := fitted.Predict(r.X); math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("lot %s is predicted as %v\n%s", r.Lot, v, text)
		}
	}
	return true
}

// named is whether an error, or one that it wraps, has a type of ours.
func named(err error) bool {
	for ; err != nil; err = errors.Unwrap(err) {
		if name := reflect.TypeOf(err).String(); !slices.Contains([]string{"*errors.errorString", "*fmt.wrapError", "*fmt.wrapErrors", "*fmt.fmtError"}, name) {
			return true
		}
	}
	return false
}
