// Package offers turns a comparison of prices with what flours are expected to do into
// a document: the ranking, the frontier, and how it was worked out. It computes no
// figure.
package offers

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/verdict"
	"flourcast/forecast/money"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/offers"
)

// Document is the comparison.
func Document(r *offers.Result) document.Document {
	d := document.Document{Title: "Price against performance", Subtitle: phrase.Label(r.Response) + ", " + phrase.Product(r.Product), Notice: r.Notice,
		Meta: []document.Pair{{Name: "model", Value: r.Model}, {Name: "verdict of the model", Value: r.Standing}, {Name: "specification", Value: specWords(r)},
			{Name: "a held tonne costs", Value: amount(r.Costs.Hold, r)}, {Name: "a failing tonne costs", Value: amount(r.Costs.Reject, r) + fmt.Sprintf(", %s %% of the price come back", r.Costs.Refund.Times(money.Whole(100)))}}}
	if r.Per == offers.PerDough {
		d.Meta = append(d.Meta, document.Pair{Name: "a tonne of water costs", Value: amount(r.Costs.Water, r)})
	}
	var blocks []document.Block
	if r.Standing != verdict.FitForUse {
		text := "The model is " + r.Standing + ": no order by price should rest on it alone."
		blocks = append(blocks, document.Callout{Kind: document.Caution, Title: phrase.First(r.Standing), Text: text})
	}
	ranked, others := split(r)
	if len(ranked) > 0 {
		blocks = append(blocks, document.Callout{Kind: document.Notice, Title: "Cheapest conforming tonne", Text: lead(r, ranked)})
		if fig, ok := frontier(r, ranked); ok {
			blocks = append(blocks, document.Picture{Figure: fig})
		}
		blocks = append(blocks, table(r, ranked), document.Paragraph(formula(r)))
	} else {
		blocks = append(blocks, document.Callout{Kind: document.Notice, Title: "No ranking", Text: "No lot has a price and a forecast that may decide."})
	}
	d.Sections = append(d.Sections, document.Section{Heading: "Candidates", Blocks: blocks})
	if len(others) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Not ranked", Blocks: []document.Block{unranked(r, others)}})
	}
	d.Sections = append(d.Sections, document.Section{Heading: "Caution", Blocks: []document.Block{document.Paragraph(phrase.Supports + " The costs of holding and failing are the user's figures.")}})
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

func amount(a money.Amount, r *offers.Result) string {
	return strings.TrimSpace(a.Text() + " " + r.Currency)
}

func specWords(r *offers.Result) string {
	_, unit := phrase.AxisOf(r.Response)
	var parts []string
	if r.Spec.Low != nil {
		parts = append(parts, "at least "+trait.Format(r.Response, *r.Spec.Low))
	}
	if r.Spec.High != nil {
		parts = append(parts, "at most "+trait.Format(r.Response, *r.Spec.High))
	}
	return strings.TrimSpace(strings.Join(parts, ", ") + " " + unit)
}

func split(r *offers.Result) (ranked, others []offers.Candidate) {
	for _, c := range r.Candidates {
		if c.Rank > 0 {
			ranked = append(ranked, c)
		} else {
			others = append(others, c)
		}
	}
	return ranked, others
}

// cost is what the ranking is by.
func cost(r *offers.Result, c offers.Candidate) money.Amount {
	if r.Per == offers.PerDough {
		return *c.PerDough
	}
	return *c.PerConforming
}

func lead(r *offers.Result, ranked []offers.Candidate) string {
	best := ranked[0]
	text := fmt.Sprintf("%s: %s for a tonne of %s that conforms, at a price of %s and a probability of %s.", best.Lot, amount(cost(r, best), r), r.Per, amount(*best.Price, r), chance(*best.Probability).Text)
	if best.TiesAt != nil {
		text += fmt.Sprintf(" It stays the cheapest up to a price of %s; then %s is.", amount(*best.TiesAt, r), ranked[1].Lot)
	}
	return text
}

func table(r *offers.Result, ranked []offers.Candidate) *document.Table {
	t := &document.Table{ID: "ranking", Columns: []document.Column{{Heading: "rank", Align: document.Right}, {Heading: "lot"}, {Heading: "price per tonne", Unit: r.Currency, Name: "price", Align: document.Right}, {Heading: phrase.Label(r.Response), Name: r.Response, Align: document.Right},
		{Heading: "probability of meeting the specification", Name: "probability", Align: document.Right}, {Heading: "decision"}, {Heading: "cost of a conforming tonne", Unit: r.Currency, Name: "cost_per_conforming_tonne", Align: document.Right}}}
	if r.Per == offers.PerDough {
		t.Columns = append(t.Columns, document.Column{Heading: "water absorption", Unit: "%", Name: "water_absorption_pct", Align: document.Right}, document.Column{Heading: "of a tonne of dough", Unit: r.Currency, Name: "cost_per_tonne_of_dough", Align: document.Right})
	}
	t.Columns = append(t.Columns, document.Column{Heading: "first in the ranking below a price of", Unit: r.Currency, Name: "ties_at_price", Align: document.Right}, document.Column{Heading: "frontier"})
	for _, c := range ranked {
		front := "yes"
		if !c.Frontier {
			front = "no: " + c.BeatenBy + " is no dearer and no less sure"
		}
		row := []document.Cell{phrase.Count(c.Rank), document.Words(c.Lot), money2(*c.Price), phrase.Optional(r.Response, c.Value), chance(*c.Probability), document.Words(c.Decision), money2(*c.PerConforming)}
		if r.Per == offers.PerDough {
			row = append(row, document.Number(c.WaterPct.Float(), c.WaterPct.Round(1).String()), money2(*c.PerDough))
		}
		ties := document.Words("–")
		switch {
		case c.TiesAt != nil && c.TiesAt.Sign() > 0:
			ties = money2(*c.TiesAt)
		case c.TiesAt != nil:
			ties = document.Number(c.TiesAt.Float(), "at no price")
		}
		t.Rows = append(t.Rows, append(row, ties, document.Words(front)))
	}
	return t
}

// chance is a probability, never shown as 0 or 1.
func chance(p float64) document.Cell {
	switch {
	case p < 0.0005:
		return document.Number(p, "<0.001")
	case p > 0.9995:
		return document.Number(p, ">0.999")
	}
	return phrase.Fixed(p, 3)
}

func money2(a money.Amount) document.Cell { return document.Number(a.Float(), a.Text()) }

func formula(r *offers.Result) string {
	text := "Cost of a conforming tonne = (price × (1 − refund × (1 − p)) + cost of a failing tonne × (1 − p) + cost of holding, where the lot is held) ÷ p, with p the probability of meeting the specification: what fails and waits is carried by what conforms."
	if r.Per == offers.PerDough {
		text += " Of a tonne of dough = (that + price of water × a) ÷ (1 + a), with a the water absorption as a share of the flour, at the moisture at which it was measured."
	}
	return text
}

func unranked(r *offers.Result, others []offers.Candidate) *document.Table {
	t := &document.Table{ID: "unranked", Columns: []document.Column{{Heading: "lot"}, {Heading: "price per tonne", Unit: r.Currency, Name: "price", Align: document.Right}, {Heading: "decision"}, {Heading: "why"}}}
	for _, c := range others {
		price := document.Words("–")
		if c.Price != nil {
			price = money2(*c.Price)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(c.Lot), price, document.Words(c.Decision), document.Words(phrase.First(c.Why))})
	}
	return t
}

// frontier draws probability over price: a step joins the lots that nobody beats in both.
func frontier(r *offers.Result, ranked []offers.Candidate) (chart.Figure, bool) {
	if len(ranked) < 2 {
		return chart.Figure{}, false
	}
	on, off := chart.Series{Name: "on the frontier", Style: chart.StylePoints}, chart.Series{Name: "another is no dearer and no less sure", Style: chart.StylePoints, Ink: 1}
	p := chart.Panel{Height: 260, X: chart.Axis{Label: "price per tonne", Unit: r.Currency}, Y: chart.Axis{Label: "probability of meeting the specification"}}
	for _, c := range ranked {
		s := &on
		if !c.Frontier {
			s = &off
		}
		x, y := c.Price.Float(), *c.Probability
		s.X, s.Y, s.Labels = append(s.X, x), append(s.Y, y), append(s.Labels, c.Lot)
		p.Marks = append(p.Marks, chart.Mark{X: x, Y: y, Label: c.Lot})
	}
	step := chart.Series{Style: chart.StyleLine, Faint: true}
	order := make([]int, len(on.X))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(on.X[a], on.X[b]) })
	for _, k := range order {
		if n := len(step.X); n > 0 {
			step.X, step.Y = append(step.X, on.X[k]), append(step.Y, step.Y[n-1])
		}
		step.X, step.Y = append(step.X, on.X[k]), append(step.Y, on.Y[k])
	}
	if len(step.X) > 1 {
		p.Series = append(p.Series, step)
	}
	p.Series = append(p.Series, on)
	if len(off.X) > 0 {
		p.Series = append(p.Series, off)
	}
	return chart.Figure{ID: "frontier", Title: "Price and probability of meeting the specification", Description: "Up is surer, left is cheaper. The line joins the lots that no other beats in both: the rest need not be looked at.", Panels: []chart.Panel{p}}, true
}
