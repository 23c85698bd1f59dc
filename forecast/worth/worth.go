// Package worth sets the price of flours against what they are expected to do.
//
//  1. A candidate has a price per tonne, a probability p of meeting the specification,
//     and perhaps the water that its dough takes up.
//  2. Rank gives the expected cost of a tonne that conforms: what failing and held
//     tonnes cost is carried by those that conform.
//  3. It says at which price a candidate would tie with the best of the others, and
//     which candidates are on the frontier: nobody else is both cheaper and surer.
//
// Money is decimal throughout. It refuses a probability of 0, at which no tonne
// conforms. What p is worth is the caller's to say.
package worth

import (
	"cmp"
	"fmt"
	"slices"

	"flourcast/forecast/money"
)

// Candidate is one flour on offer. Held says that the lot would wait for a test. WaterPct
// is the water that 100 parts of flour take up; nil: not known.
type Candidate struct {
	Name        string
	Price       money.Amount // per tonne
	Probability float64      // above 0, at most 1
	Held        bool
	WaterPct    *money.Amount
}

// Costs are the user's figures, per tonne. Refund is the share of the price that comes
// back for a tonne that fails, 0 to 1. Water is the price of a tonne of water.
type Costs struct {
	Hold   money.Amount
	Reject money.Amount
	Refund money.Amount
	Water  money.Amount
}

// Worth is the answer for one candidate. PerDough is there where the water is known.
// TiesAt is the price at which the candidate costs as much as the best of the others,
// absent for a lone candidate; at a lower price it is the cheapest of all.
type Worth struct {
	Name          string
	PerConforming money.Amount
	PerDough      *money.Amount
	TiesAt        *money.Amount
	Frontier      bool
	Beaten        string // who is cheaper and surer; "" on the frontier
}

// Rank returns the candidates, the cheapest conforming tonne first; equal ones as given.
// With p the probability, h 1 for a held lot and else 0, a the water in %:
//
//	flour = (price·(1 − refund·(1 − p)) + reject·(1 − p) + hold·h) / p
//	dough = (flour + water·a/100) / (1 + a/100)
//
// perDough ranks by dough; it needs every candidate's water. Errors say which figure
// cannot be.
func Rank(candidates []Candidate, c Costs, perDough bool) ([]Worth, error) {
	one := money.Whole(1)
	if c.Refund.Sign() < 0 || c.Refund.Cmp(one) > 0 {
		return nil, fmt.Errorf("worth: a refund of %s, expected a share of the price, 0 to 1", c.Refund)
	}
	out := make([]Worth, len(candidates))
	for i, k := range candidates {
		if !(k.Probability > 0 && k.Probability <= 1) || money.Of(k.Probability).Sign() == 0 {
			return nil, fmt.Errorf("worth: %s: a probability of %v, expected above 0 and at most 1", k.Name, k.Probability)
		}
		if k.WaterPct == nil && perDough {
			return nil, fmt.Errorf("worth: %s: no water absorption, so no cost of dough", k.Name)
		}
		if k.Price.Sign() < 0 || k.WaterPct != nil && k.WaterPct.Sign() < 0 {
			return nil, fmt.Errorf("worth: %s: a negative price or water absorption", k.Name)
		}
		out[i] = Worth{Name: k.Name, PerConforming: k.flour(c)}
		if k.WaterPct != nil {
			d := k.dough(out[i].PerConforming, c)
			out[i].PerDough = &d
		}
		out[i].Frontier, out[i].Beaten = frontier(candidates, i)
	}
	by := func(w Worth) money.Amount {
		if perDough {
			return *w.PerDough
		}
		return w.PerConforming
	}
	for i, k := range candidates {
		var best *money.Amount
		for j := range out {
			if v := by(out[j]); j != i && (best == nil || v.Cmp(*best) < 0) {
				best = &v
			}
		}
		if best == nil {
			continue
		}
		target := *best
		if perDough { // back to a tonne of flour
			target = target.Times(one.Plus(k.share())).Minus(c.Water.Times(k.share()))
		}
		if at, ok := k.priceFor(target, c); ok {
			out[i].TiesAt = &at
		}
	}
	slices.SortStableFunc(out, func(a, b Worth) int { return by(a).Cmp(by(b)) })
	return out, nil
}

// parts are p, what part of the price is paid in the mean, and what failing and waiting
// add.
func (k Candidate) parts(c Costs) (p, paid, added money.Amount) {
	p = money.Of(k.Probability)
	fails := money.Whole(1).Minus(p)
	paid = money.Whole(1).Minus(c.Refund.Times(fails))
	added = c.Reject.Times(fails)
	if k.Held {
		added = added.Plus(c.Hold)
	}
	return p, paid, added
}

func (k Candidate) flour(c Costs) money.Amount {
	p, paid, added := k.parts(c)
	v, _ := k.Price.Times(paid).Plus(added).Over(p) // p was checked
	return v
}

// priceFor turns flour round.
func (k Candidate) priceFor(target money.Amount, c Costs) (money.Amount, bool) {
	p, paid, added := k.parts(c)
	return target.Times(p).Minus(added).Over(paid)
}

// share is the water as a share of the flour.
func (k Candidate) share() money.Amount {
	s, _ := k.WaterPct.Over(money.Whole(100))
	return s
}

func (k Candidate) dough(flour money.Amount, c Costs) money.Amount {
	v, _ := flour.Plus(c.Water.Times(k.share())).Over(money.Whole(1).Plus(k.share()))
	return v
}

// frontier reports whether nobody is as cheap and as sure, and better in one of them;
// else who: the surest of those, the cheaper of equals.
func frontier(all []Candidate, i int) (on bool, beaten string) {
	by := -1
	for j, o := range all {
		price, sure := o.Price.Cmp(all[i].Price), cmp.Compare(o.Probability, all[i].Probability)
		if j == i || price > 0 || sure < 0 || price == 0 && sure == 0 {
			continue
		}
		if by < 0 || o.Probability > all[by].Probability || o.Probability == all[by].Probability && o.Price.Cmp(all[by].Price) < 0 {
			by = j
		}
	}
	if by < 0 {
		return true, ""
	}
	return false, all[by].Name
}
