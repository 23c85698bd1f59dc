package season

import (
	"fmt"
	"strconv"

	"flourcast/dataset/method"
	"flourcast/demo/dialect"
	"flourcast/demo/grain"
)

// currency of the invented prices.
const currency = "invented crowns a tonne"

// kept are the flours in stock: what wheat, protein, amylase, tonnes and price.
var kept = []struct {
	low, protein, amylase, tonnes, price float64
	class                                string
}{
	{0.10, 8.6, 1.0, 48, 352.50, "soft white, invented"},
	{0.95, 9.1, 1.0, 30, 418.00, "soft white, invented"},
	{0.50, 9.0, 1.1, 60, 389.00, "soft white, invented"},
	{0.30, 10.9, 1.0, 24, 405.50, "hard white, invented"},
	{0.45, 9.2, 3.6, 40, 289.00, "soft white, invented"}, // sprouted
	{2.30, 9.4, 1.0, 12, 455.00, "waxy wheat, invented"},
}

// mixed are the laboratory's own blends: two flours of the stock, and the share of the
// first.
var mixed = []struct {
	a, b  int
	share float64
}{{0, 1, 0.75}, {0, 1, 0.50}, {0, 1, 0.25}, {0, 2, 0.50}, {1, 2, 0.40}, {0, 3, 0.60}, {1, 3, 0.50}, {2, 3, 0.30}, {1, 3, 0.80}, {0, 2, 0.80}}

// Made is the share of the first flour of the stock in the blend that was made of the
// first two, and run.
const Made = 0.60

// Stock gives the stock with prices, the laboratory's own blends, and the run of a blend
// that was made.
func (m Mill) Stock(folder string) ([]dialect.File, error) {
	by, ok := method.Lookup(m.Method)
	if !ok {
		return nil, fmt.Errorf("season: no built-in method %s", m.Method)
	}
	number := dialect.Plain.Number
	features := []string{"peak_mPas", "trough_mPas", "final_mPas"}
	run := func(label string, f grain.Flour) []string {
		v := grain.PastingRun(m.rng("stock run", label), f, by, 1).Read()
		return []string{number(v.Peak, 0), number(v.Trough, 0), number(v.Final, 0)}
	}
	stock := &dialect.Sheet{Name: folder + "stock.csv", Dialect: dialect.Plain, Header: append([]string{"flour", "price", "currency", "stock_t", "wheat_class", "treatment", "protein_pct", "protein_basis", "ash_pct", "ash_basis", "moisture_pct", "falling_number_s"}, append(features, "remarks")...)}
	var flours []grain.Flour
	var names []string
	for i, k := range kept {
		name := fmt.Sprintf("S%02d-%03d", m.Year%100, i+1)
		f := m.Grow(m.rng("stock", name), m.Suppliers[i%len(m.Suppliers)])
		f.Protein, f.Amylase = k.protein, k.amylase
		f.Wheat(k.low)
		flours, names = append(flours, f), append(names, name)
		row := []string{name, number(k.price, 2), currency, number(k.tonnes, 0), k.class, "none", number(f.Protein, 1), "14 %", number(f.Ash, 2), "14 %", number(f.Moisture, 1), number(f.FallingNumber(), 0)}
		stock.Rows = append(stock.Rows, append(append(row, run(name, f)...), invented))
	}
	own := &dialect.Sheet{Name: folder + "own-blends.csv", Dialect: dialect.Plain, Header: append([]string{"lot", "parent_lot", "share"}, append(features, "remarks")...)}
	for i, b := range mixed {
		name := fmt.Sprintf("M%02d-%03d", m.Year%100, i+1)
		row := []string{name, names[b.a] + " + " + names[b.b], number(100*b.share, 0) + " + " + number(100*(1-b.share), 0)}
		own.Rows = append(own.Rows, append(append(row, run(name, grain.Blend(flours[b.a], flours[b.b], b.share))...), invented))
	}
	made := &dialect.Sheet{Name: folder + "blend-run.csv", Dialect: dialect.Plain, Header: append([]string{"lot", "method", "replicate"}, append(features, "remarks")...)}
	for k := range 2 {
		name := fmt.Sprintf("B%02d-001", m.Year%100)
		row := []string{name, m.Method, strconv.Itoa(k + 1)}
		made.Rows = append(made.Rows, append(append(row, run(name+strconv.Itoa(k), grain.Blend(flours[0], flours[1], Made))...), invented))
	}
	var out []dialect.File
	for _, s := range []*dialect.Sheet{stock, own, made} {
		f, err := s.File()
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, nil
}
