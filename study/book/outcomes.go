package book

import (
	"context"
	"slices"
	"time"

	"flourcast/dataset"
	"flourcast/dataset/labbook"
)

// Outcome is one response measured on a lot: the mean of its replicates, in the
// response's unit, with their number, SD and standard error (nil for one). TestedAt
// is the first day of its readings as they tell it, Recorded when the first of them
// was entered, Rows all of them. Crop year and supplier are those of the lots file.
type Outcome struct {
	Lot      string    `json:"lot"`
	Product  string    `json:"product"`
	Response string    `json:"response"`
	Protocol string    `json:"protocol"`
	Value    float64   `json:"value"`
	N        int       `json:"n"`
	SD       *float64  `json:"sd"`
	SE       *float64  `json:"se"`
	TestedAt string    `json:"tested_at"`
	Recorded time.Time `json:"recorded"`
	Rows     []int64   `json:"rows"`
	CropYear string    `json:"crop_year"`
	Supplier string    `json:"supplier"`
}

// Outcomes are the measured results that the filter chooses, by lot in the order of
// the lots file. Response has to be named; Model does not count. Replicates are
// pooled as `join` pools them.
func (b *Book) Outcomes(ctx context.Context, f Filter, opt dataset.JoinOptions) ([]Outcome, error) {
	joined, err := b.Table(ctx, opt, f.Lots...)
	if err != nil {
		return nil, err
	}
	return b.OutcomesIn(ctx, f, joined)
}

// OutcomesIn are the outcomes that a joined table of the book has: for callers that have
// it. The lots and the response of the filter count as for Outcomes.
func (b *Book) OutcomesIn(ctx context.Context, f Filter, joined *dataset.Joined) ([]Outcome, error) {
	entered, err := b.readings(ctx, f.Lots)
	if err != nil {
		return nil, err
	}
	out := []Outcome{}
	t := joined.Table
	text := func(column string, i int) string { s, _ := t.Text(column, i); return s }
	for i := range t.Len() {
		product := text("product", i)
		v, ok := t.Number(f.Response, i)
		if !ok || f.Product != "" && product != f.Product {
			continue
		}
		o := Outcome{Lot: t.Lot(i), Product: product, Response: f.Response, Protocol: text("protocol", i), Value: v, N: 1, CropYear: text("crop_year", i), Supplier: text("supplier", i)}
		if n, ok := t.Number(f.Response+"_n", i); ok {
			o.N = int(n)
		}
		if sd, ok := t.Number(f.Response+"_sd", i); ok {
			o.SD = &sd
		}
		if se, ok := t.Number(f.Response+"_se", i); ok {
			o.SE = &se
		}
		for _, r := range entered[o.Lot] {
			if r.product != "" && product != "" && r.product != product {
				continue
			}
			if len(o.Rows) == 0 || r.made.Before(o.Recorded) {
				o.Recorded = r.made
			}
			if r.testedAt != "" && (o.TestedAt == "" || r.testedAt < o.TestedAt) {
				o.TestedAt = r.testedAt
			}
			o.Rows = append(o.Rows, r.id)
		}
		out = append(out, o)
	}
	return out, nil
}

// entry is when a reading was made and entered.
type entry struct {
	id       int64
	made     time.Time
	product  string
	testedAt string
}

func (b *Book) readings(ctx context.Context, lots []string) (map[string][]entry, error) {
	out := map[string][]entry{}
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Reading}, Lots: lots}) {
			if err != nil {
				return err
			}
			u, err := Unit(r)
			if err != nil {
				return err
			}
			e := entry{id: r.ID, made: r.Made, product: r.Product}
			if k := slices.Index(u.Columns, "tested_at"); k >= 0 {
				e.testedAt = u.Cells[0][k]
			}
			out[r.Lot] = append(out[r.Lot], e)
		}
		return nil
	})
	return out, err
}

// Measured are the lots that have a reading of the product, or of none stated.
func (b *Book) Measured(ctx context.Context, product string) (map[string]bool, error) {
	out := map[string]bool{}
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		tallies, err := v.Tallies(labbook.Reading)
		for _, t := range tallies {
			if t.Product == "" || product == "" || t.Product == product {
				out[t.Lot] = true
			}
		}
		return err
	})
	return out, err
}

// Knows reports whether the book has a lot or a run of this name.
func (b *Book) Knows(ctx context.Context, lot string) (known bool, err error) {
	err = b.Store.Read(ctx, func(v *labbook.View) (err error) {
		known, err = v.Has(labbook.Filter{Kinds: []labbook.Kind{labbook.Lot, labbook.Run}, Lots: []string{lot}})
		return err
	})
	return known, err
}
