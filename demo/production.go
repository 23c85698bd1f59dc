package demo

import (
	"math"
	"time"

	"flourcast/demo/dialect"
)

// production writes how the lots of the main product ran on the noodle line. Dough of
// sprouted or weakly swelling flour is sticky, sheets of low protein tear; some trouble
// is not the flour's.
func (r *records) production() error {
	s := &dialect.Sheet{Name: "production.csv", Dialect: dialect.Plain, Header: []string{"lot", "date", "ran", "trouble", "remarks"}}
	likely := func(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
	for _, l := range r.p.lots {
		if l.product != r.p.truth.MainProduct {
			continue
		}
		g := rng(r.p.seed, "production", l.name)
		sticky := likely(6*(l.flour.Amylase-1.6) + 6*(9.8-l.flour.Swelling))
		tears := likely(6 * (7.9 - l.flour.Protein))
		row := []string{l.name, l.milled.AddDate(0, 0, 18).Format(time.DateOnly), "well", "", invented}
		switch a, b, c := g.Float64(), g.Float64(), g.Float64(); {
		case a < sticky:
			row[2], row[3] = "trouble", "sticky dough"
		case b < tears:
			row[2], row[3] = "trouble", "sheets tear"
		case c < 0.02:
			row[2], row[3] = "trouble", "roller gap set wrong"
		}
		s.Rows = append(s.Rows, row)
	}
	return r.keepSheet(&r.mill.Production, s)
}
