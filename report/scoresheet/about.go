package scoresheet

import (
	"fmt"

	"flourcast/report/phrase"
)

// about says where the workbook comes from and what it does not check.
func (b *book) about() *grid {
	r := b.result
	g := newGrid(About, 34, 100)
	row := 1
	pair := func(name, value string) {
		if value == "" {
			return
		}
		g.line(row, 1, text(name), text(value).in(styleWords))
		if lines := 1 + len(value)/95; lines > 1 {
			g.tall[row] = 15 * float64(lines)
		}
		row++
	}
	pair("verdict on the model", phrase.Verdict(r.Standing, r.Sentence))
	pair("notice", r.Notice)
	pair("good for", r.Grade)
	pair("forecasts", r.Response+", "+phrase.Label(r.Response))
	if r.Product != "" {
		pair("product", phrase.Product(r.Product))
	}
	pair("pasting method", r.Method)
	pair("flour treatment", r.Treatment)
	pair("model", fmt.Sprintf("%s, %d calibration lots, fitted %s by flourcast %s", r.Kind, r.Lots, r.Made.Format("2006-01-02"), r.Program))
	pair("model file, SHA-256", r.ModelSHA256)
	pair("taken away", fmt.Sprintf("%s by flourcast %s", r.Exported.Format("2006-01-02"), r.ExportedBy))
	pair("interval", fmt.Sprintf("%.3g %%, %s. Its level is fixed here; take the model away anew for another", 100*r.Level, r.IntervalKind))
	pair("calibrated range", "A lot is outside, and held, where a figure lies beyond the calibrated range and beyond the 99 % prediction limit of one further lot, or where T² or Q is above its 99 % limit; edge by the same at 95 %.")
	for _, f := range r.Findings {
		pair("to know", phrase.Sentences(f.Found, f.Do))
	}
	for _, c := range r.Cautions {
		pair("caution", c)
	}
	pair("whose it is", "Whoever has this file has the model. It names no lot and no measurement, but coefficients and errors are in it.")
	return g
}
