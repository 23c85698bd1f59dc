// Package residue looks at what a model leaves over.
//
//  1. Look sets the errors on lots that the model had not seen against the
//     prediction, each feature, and time: is there a curve, a drift?
//  2. Screened sets the lots that were screened but not measured against the
//     measured ones: were the right lots chosen?
//
// Both are shown and judge nothing. A trend that cannot be had is absent.
package residue

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/eval/domain"
	"flourcast/eval/metric"
	"flourcast/model/design"
)

// Trends are what errors (measured − predicted, out of fold) have in common.
type Trends struct {
	// Curvature is over the prediction, in response units for a square of one SD.
	Curvature *metric.Trend `json:"curvature"`
	// Curved are the features over which errors curve with a p below 0.05 after
	// Bonferroni's correction over all features, strongest first.
	Curved []Curved `json:"curved_features"`
	// Drift is the change of the error in a year, over the dates of DriftOver
	// (received_on, milled_on or crop_year).
	Drift     *metric.Trend `json:"drift"`
	DriftOver string        `json:"drift_over"`
}

// Curved is one feature over which errors curve. PAll is corrected.
type Curved struct {
	Feature string       `json:"feature"`
	Trend   metric.Trend `json:"trend"`
	PAll    float64      `json:"p_corrected"`
}

// Look works the trends out of m's rows and their out-of-fold predictions.
func Look(m *design.Matrix, predicted []float64) Trends {
	e := metric.Errors(m.Y(), predicted)
	out := Trends{Curved: []Curved{}}
	if c, ok := metric.Curvature(e, predicted); ok {
		out.Curvature = &c
	}
	for j, name := range m.Features() {
		c, ok := metric.Curvature(e, m.Column(j))
		if all := c.P * float64(m.P()); ok && all < 0.05 {
			out.Curved = append(out.Curved, Curved{name, c, all})
		}
	}
	slices.SortStableFunc(out.Curved, func(a, b Curved) int {
		switch {
		case a.PAll < b.PAll:
			return -1
		case a.PAll > b.PAll:
			return 1
		}
		return 0
	})
	for _, column := range []string{"received_on", "milled_on", "crop_year"} {
		texts, ok := m.Grouping(column)
		if !ok {
			continue
		}
		var errors, years []float64
		for i, text := range texts {
			if t, ok := inYears(text); ok {
				errors, years = append(errors, e[i]), append(years, t)
			}
		}
		if 2*len(years) < len(e) {
			continue // most rows have no such date
		}
		if d, ok := metric.Drift(errors, years); ok {
			out.Drift, out.DriftOver = &d, column
			break
		}
	}
	return out
}

// inYears reads a day (2026-07-31) or a crop year (2026) as a number of years. A
// mix of years is neither.
func inYears(text string) (float64, bool) {
	text = strings.TrimSpace(text)
	if y, err := strconv.Atoi(text); err == nil && y >= 1900 && y < 2200 {
		return float64(y), true
	}
	if day, _, ok := strings.Cut(text, "T"); ok {
		text = day
	}
	d, err := time.Parse("2006-01-02", text)
	if err != nil {
		return 0, false
	}
	return float64(d.Unix()) / (365.25 * 24 * 3600), true
}

// Screened places the rows of t that have every feature but not the response, of
// the given product and method where they are stated; measured are the rows that
// the model was made from. It returns nil without any.
func Screened(t *table.Table, d *domain.Domain, response, product, method string, measured []int) *domain.Screened {
	known := map[string]bool{}
	for _, row := range measured {
		known[t.Lot(row)] = true
	}
	var names []string
	var x [][]float64
	for row := range t.Len() {
		if _, has := t.Number(response, row); has || known[t.Lot(row)] || !same(t, "product", product, row) || !same(t, "method", method, row) {
			continue
		}
		figures := make([]float64, 0, len(d.Features()))
		for _, name := range d.Features() {
			v, ok := t.Number(name, row)
			if id, m := trait.Split(name); !ok && m == method {
				v, ok = t.Number(id, row)
			}
			if ok {
				figures = append(figures, v)
			}
		}
		if len(figures) == len(d.Features()) {
			names, x = append(names, t.Lot(row)), append(x, figures)
		}
	}
	s, ok := d.Screen(names, x)
	if !ok {
		return nil
	}
	return &s
}

// same reports whether a row's text is the one wanted, or either is not stated.
func same(t *table.Table, column, want string, row int) bool {
	is, ok := t.Text(column, row)
	return !ok || is == "" || want == "" || is == want
}
