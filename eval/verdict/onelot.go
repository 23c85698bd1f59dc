package verdict

import (
	"fmt"
	"strings"
)

// WithoutLot is what would be different without one lot.
type WithoutLot struct {
	Lot string `json:"lot"`
	// Standing is the standing without the lot; empty where it stays.
	Standing string `json:"standing,omitempty"`
	// Q2 is that without the lot, on the repeats that the model was judged by.
	Q2         float64 `json:"q2"`
	Directions []Turn  `json:"directions"`
}

// Turn is an established rule that is answered otherwise without the lot.
type Turn struct {
	Rule    string `json:"rule"`
	Feature string `json:"feature"`
	From    string `json:"from"`
	To      string `json:"to"`
}

// WithoutLots lists the lots that decide, those that change the standing first, and
// how many were tried.
type WithoutLots struct {
	Tried   int          `json:"tried"`
	Changes []WithoutLot `json:"changes"`
	// LowestQ2 and its lot: how far Q² falls without the lot that carries most.
	LowestQ2  float64 `json:"lowest_q2"`
	LowestLot string  `json:"lowest_lot"`
	// LowestP is the short permutation test without that lot; absent where the
	// model had no such test.
	LowestP *float64 `json:"lowest_p,omitempty"`
}

// Deciding is the lot that decides most, as evidence for Judge: an empty one where
// none does, nil where none was left out.
func (r *WithoutLots) Deciding() *OneLot {
	if r == nil {
		return nil
	}
	if len(r.Changes) == 0 {
		return &OneLot{}
	}
	c := r.Changes[0]
	var words []string
	if c.Standing != "" {
		words = append(words, "the model would be "+c.Standing)
	}
	for _, t := range c.Directions {
		words = append(words, fmt.Sprintf("rule %s would be %s instead of %s", t.Rule, t.To, t.From))
	}
	if n := len(r.Changes) - 1; n > 0 {
		words = append(words, fmt.Sprintf("%d more lots decide likewise", n))
	}
	return &OneLot{Lot: c.Lot, Changes: strings.Join(words, "; ")}
}
