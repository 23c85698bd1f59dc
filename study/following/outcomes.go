package following

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"flourcast/dataset"
	"flourcast/dataset/column"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/stat/agreement"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/forecasts"
)

// outcome is what was measured on one lot.
type outcome struct {
	product, supplier, cropYear string
	measured                    float64
	n                           float64 // rows averaged
	recorded                    time.Time
}

// measurements are the outcomes by lot, and the tables that they came from.
type measurements struct {
	by     map[string]outcome
	tables []*dataset.Table
}

func (m measurements) of(lot string) (outcome, bool) {
	o, ok := m.by[lot]
	return o, ok
}

// outcomes joins the files and reads the tables. Rows of other products than the
// model's are passed over; several rows of a lot are averaged.
func outcomes(ctx context.Context, env study.Env, q Request, c *card.Card, fl *finding.List) (measurements, error) {
	m := measurements{by: map[string]outcome{}}
	if f := q.Files; len(f.Lots)+len(f.Texture)+len(f.Bakes) > 0 {
		joined, err := dataset.Join(ctx, f, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()})
		if err != nil {
			return m, err
		}
		for _, x := range joined.Findings {
			if x.Code != "lots-not-given" {
				fl.Add(x)
			}
		}
		m.tables = append(m.tables, joined.Table)
	}
	recorded := map[string]time.Time{}
	if q.Book != "" {
		t, at, err := bookOutcomes(ctx, env, q, c)
		if err != nil {
			return m, err
		}
		m.tables, recorded = append(m.tables, t), at
	}
	for _, path := range q.Tables {
		t, found, err := dataset.ReadTable(path)
		if err != nil {
			return m, err
		}
		*fl = append(*fl, found...)
		m.tables = append(m.tables, t)
	}
	for _, t := range m.tables {
		m.take(t, c.Product, c.Response, recorded)
	}
	return m, nil
}

// take reads the outcomes of a product out of a table; recorded is when they were first
// written down, by lot, as far as that is known.
func (m measurements) take(t *dataset.Table, product, response string, recorded map[string]time.Time) {
	for i := range t.Len() {
		v, ok := t.Number(response, i)
		p, _ := t.Text("product", i)
		if !ok || p != "" && product != "" && p != product {
			continue
		}
		o := m.by[t.Lot(i)]
		o.n++
		o.measured += (v - o.measured) / o.n
		o.product, o.recorded = p, recorded[t.Lot(i)]
		o.supplier, _ = t.Text("supplier", i)
		o.cropYear, _ = t.Text("crop_year", i)
		m.by[t.Lot(i)] = o
	}
}

// Why a forecast has no outcome to be set against.
const (
	NotMeasured = "not measured yet"
	tooLate     = "forecast only after its outcome was written down"
	noValue     = "no value was forecast for it"
)

// unfit says why the outcome does not count for the forecast, "" where it does.
func (o outcome) unfit(f forecasts.Record) string {
	switch {
	case !o.recorded.IsZero() && f.Made.After(o.recorded):
		return tooLate
	case f.Value == nil:
		return noValue
	}
	return ""
}

// Decision counts the lots by what their forecast decided, and how many of them
// were measured; of Specified of these it is known whether they met the specification,
// and Met did.
type Decision struct {
	Decision  string `json:"decision"`
	Forecast  int    `json:"forecast"`
	Measured  int    `json:"measured"`
	Specified int    `json:"specified"`
	Met       int    `json:"met"`
}

// decisions sets outcomes against decisions. selected: held or rejected lots were
// measured less than half as often as accepted ones, so that the figures tell of
// lots that the model liked.
func decisions(first []forecasts.Record, lots []Lot) (out []Decision, selected bool) {
	order := []string{forecast.Accept, forecast.Hold, forecast.Reject}
	at := map[string]*Decision{}
	get := func(name string) *Decision {
		if at[name] == nil {
			at[name] = &Decision{Decision: name}
			if !slices.Contains(order, name) {
				order = append(order, name)
			}
		}
		return at[name]
	}
	for _, f := range first {
		get(f.Decision).Forecast++
	}
	for _, l := range lots {
		d := get(l.Decision)
		d.Measured++
		if l.Met != nil {
			d.Specified++
			if *l.Met {
				d.Met++
			}
		}
	}
	out = []Decision{}
	for _, name := range order {
		if at[name] != nil {
			out = append(out, *at[name])
		}
	}
	accepted, others := get(forecast.Accept), Decision{}
	for _, name := range []string{forecast.Hold, forecast.Reject} {
		others.Forecast, others.Measured = others.Forecast+get(name).Forecast, others.Measured+get(name).Measured
	}
	if accepted.Measured == 0 || others.Forecast == 0 {
		return out, false
	}
	return out, float64(others.Measured)/float64(others.Forecast) < 0.5*float64(accepted.Measured)/float64(accepted.Forecast)
}

// Claim is how a supplier's claims compare with one's own figures over lots: the
// mean of claim − own with its 95 % interval (three lots or more).
type Claim struct {
	Supplier string   `json:"supplier"`
	Figure   string   `json:"figure"`
	N        int      `json:"n"`
	Bias     float64  `json:"claim_minus_own"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	Largest  float64  `json:"largest"` // difference, with its sign
	Lot      string   `json:"largest_lot"`
}

// claims compares every claimed figure, by supplier, lots once.
func claims(m measurements) []Claim {
	type key struct{ supplier, figure string }
	type pairs struct {
		own, claimed []float64
		lots         []string
	}
	by := map[key]*pairs{}
	var order []key
	for _, t := range m.tables {
		for _, name := range t.Columns() {
			own, ok := column.Companion(name)
			if !ok || name != own+"_claimed" {
				continue
			}
			for i := range t.Len() {
				a, hasOwn := t.Number(own, i)
				b, hasClaim := t.Number(name, i)
				supplier, _ := t.Text("supplier", i)
				if !hasOwn || !hasClaim || supplier == "" {
					continue
				}
				k := key{supplier, own}
				if by[k] == nil {
					by[k] = &pairs{}
					order = append(order, k)
				}
				if p := by[k]; !slices.Contains(p.lots, t.Lot(i)) {
					p.own, p.claimed, p.lots = append(p.own, a), append(p.claimed, b), append(p.lots, t.Lot(i))
				}
			}
		}
	}
	out := []Claim{}
	for _, k := range order {
		p := by[k]
		c := Claim{Supplier: k.supplier, Figure: k.figure, N: len(p.lots)}
		for i := range p.lots {
			d := p.claimed[i] - p.own[i]
			c.Bias += d / float64(c.N)
			if i == 0 || math.Abs(d) > math.Abs(c.Largest) {
				c.Largest, c.Lot = d, p.lots[i]
			}
		}
		if d, err := agreement.BlandAltman(p.own, p.claimed, 0.95); err == nil {
			c.Low, c.High = &d.Bias.Low, &d.Bias.High
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b Claim) int { return strings.Compare(a.Supplier, b.Supplier) })
	return out
}
