package suitability

import (
	"errors"
	"fmt"
	"slices"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/enduse"
	"flourcast/study/job"
	"flourcast/study/operating"
)

// ran is the column of the joined book that says how a lot ran in production.
const ran = "ran"

// production adds a window for each product that the book's production notes tell of:
// limits of the leading pasting figures, within which nearly all lots that run well are
// expected to lie (package operating). A product for which a window was given keeps that
// one. What the notes do not allow is a finding, for the house.
func (m *maker) production() error {
	t := m.lots.Table()
	if !t.Has(ran) {
		return &job.RequestError{Field: "production", Found: "no production notes in the lab book", Want: "notes of which lots ran well"}
	}
	products := m.Products
	if m.All {
		products = nil
		for i := range t.Len() {
			if p, ok := t.Text("product", i); ok {
				if _, noted := t.Text(ran, i); noted {
					products = appendNew(products, p)
				}
			}
		}
	}
	for _, p := range products {
		if slices.ContainsFunc(m.Windows, func(w enduse.Window) bool { return w.Product == p }) {
			continue
		}
		w, err := m.fromNotes(p)
		if err != nil {
			return err
		}
		if len(w.Limits) > 0 {
			m.Windows = append(m.Windows, w)
		}
	}
	return nil
}

// fromNotes is the window of one product: normal limits where the lots may be taken for
// normal, which fewer than eight cannot be, else limits that hold whatever the
// distribution.
func (m *maker) fromNotes(product string) (enduse.Window, error) {
	w := enduse.Window{Product: product, Origin: enduse.Production, Method: m.methodOfNotes(product)}
	say := func(code, found, want, do string) {
		m.res.Findings.Add(finding.Finding{Code: code, Severity: finding.Doubt, Found: found, Want: want, Do: do})
	}
	q := operating.ProductionRequest{Table: m.lots.Table(), File: "the lab book", RanWell: ran, Product: product}
	for _, c := range m.lots.Table().Columns() {
		id, by := trait.Split(c)
		if slices.Contains(operating.Leading, id) && (by == "" || by == w.Method) && m.lots.Table().IsNumber(c) {
			q.Features = append(q.Features, c)
		}
	}
	if len(q.Features) == 0 {
		say("window-not-had", "no pasting figures of lots of "+product, "lots that were run and ran well", "")
		return w, nil
	}
	r, err := operating.FromProduction(q)
	var nothing *job.NothingUsableError
	if errors.As(err, &nothing) {
		say("window-not-had", "no lot of "+product+" that ran well by the notes", "lots that ran well", "")
		return w, nil
	}
	if err != nil {
		return w, err
	}
	for _, f := range r.Features {
		switch {
		case f.Normal != nil && f.AndersonDarling != nil && !f.NotNormal:
			w.Limits = append(w.Limits, forecast.Spec{Response: f.Feature, Low: &f.Normal.Low, High: &f.Normal.High})
		case f.Free != nil:
			w.Limits = append(w.Limits, forecast.Spec{Response: f.Feature, Low: &f.Free.Low, High: &f.Free.High})
		default:
			say("window-not-had", fmt.Sprintf("%s of %s: %d lots that ran well", trait.Label(f.Feature), product, f.Well), fmt.Sprintf("8 that may be taken for normal, or %d", r.Needs), "the figure is in no window")
			continue
		}
		if p := f.Past; p != nil && p.TroubleInside > p.TroubleOutside {
			say("window-tells-little", fmt.Sprintf("%s of %s: %d of %d lots that had trouble lie within the window", trait.Label(f.Feature), product, p.TroubleInside, p.TroubleInside+p.TroubleOutside), "a figure that parts the two", "what went wrong there is not seen in this figure")
		}
	}
	return w, nil
}

// methodOfNotes is the pasting method by which the lots of a product with notes have runs.
func (m *maker) methodOfNotes(product string) string {
	t := m.lots.Table()
	var lots []string
	for i := range t.Len() {
		if p, _ := t.Text("product", i); p == product {
			if _, noted := t.Text(ran, i); noted {
				lots = appendNew(lots, t.Lot(i))
			}
		}
	}
	if len(lots) == 0 {
		return ""
	}
	count := map[string]int{}
	best := ""
	for _, by := range m.lots.Methods(lots) {
		for _, lot := range lots {
			if _, ok := m.lots.MethodOf(lot, []string{by}); ok {
				count[by]++
			}
		}
		if count[by] > count[best] {
			best = by
		}
	}
	return best
}
