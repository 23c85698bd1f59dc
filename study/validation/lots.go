package validation

import (
	"fmt"
	"slices"

	"flourcast/study/card"
)

// split tells the rows that may count from those that may not, and averages the
// rows of a lot, in order of first appearance. A lot of which one row may not count
// does not count at all. Lots of a family that the model was made from are related;
// they count only if relatives do.
func split(c *card.Card, rows []Row, relatives bool) (lots []Row, left []LeftOut, related []Related) {
	trained, kin := map[string]bool{}, kin(c)
	for _, r := range c.Training {
		trained[r.Lot] = true
	}
	said := map[string]bool{}
	left = []LeftOut{}
	reasons := map[string]string{}
	for _, r := range rows {
		reason := r.Problem
		switch {
		case trained[r.Lot]:
			reason = "the model was made from this lot"
		case reason != "":
		default:
			if twin := sameFigures(c, r); twin != "" {
				reason = fmt.Sprintf("every figure is that of lot %s, from which the model was made: it is that lot under another name", twin)
				break
			}
			of, family := kin.of(r)
			if of == "" {
				break
			}
			if !said[r.Lot] {
				said[r.Lot] = true
				related = append(related, Related{r.Lot, of, family})
			}
			if !relatives {
				reason = fmt.Sprintf("it is of the family of lot %s (%s), from which the model was made: no independent lot", of, family)
			}
		}
		if reason != "" && reasons[r.Lot] == "" {
			reasons[r.Lot] = reason
			left = append(left, LeftOut{r.Lot, reason})
		}
	}
	at := map[string]int{}
	var n []float64
	for _, r := range rows {
		if reasons[r.Lot] != "" {
			continue
		}
		k, seen := at[r.Lot]
		if !seen {
			k = len(lots)
			at[r.Lot] = k
			lots, n = append(lots, Row{Lot: r.Lot, X: make([]float64, len(r.X))}), append(n, 0)
		}
		n[k]++
		lots[k].Measured += (r.Measured - lots[k].Measured) / n[k]
		for j, v := range r.X {
			lots[k].X[j] += (v - lots[k].X[j]) / n[k]
		}
	}
	return lots, left, related
}

// families name, for each family of the lots that a model was made from, the first of
// them. A lot may itself be the family's name: the parent of others.
type families map[string]string

func kin(c *card.Card) families {
	out := families{}
	for _, r := range c.Training {
		for _, name := range []string{r.Family, r.Lot} {
			if _, known := out[name]; !known && name != "" {
				out[name] = r.Lot
			}
		}
	}
	return out
}

// of names the training lot that shares r's family, and the family; "" when none does.
func (f families) of(r Row) (lot, family string) {
	for _, name := range []string{r.Family, r.Lot} {
		if lot, known := f[name]; known && name != "" {
			return lot, name
		}
	}
	return "", ""
}

// sameFigures names the training lot that has exactly a row's figures; "" when
// none has.
func sameFigures(c *card.Card, r Row) string {
	for _, t := range c.Training {
		if t.Measured == r.Measured && len(t.X) > 0 && slices.Equal(t.X, r.X) {
			return t.Lot
		}
	}
	return ""
}

// Bands are what common use says of a ratio, from the least upwards.
type Bands struct {
	From     []float64 `json:"from"`
	Words    []string  `json:"words"` // one more than From: below the first
	Source   string    `json:"source"`
	Weakness string    `json:"weakness"`
}

// Of is what the bands say of v.
func (b Bands) Of(v float64) string {
	k := 0
	for k < len(b.From) && v >= b.From[k] {
		k++
	}
	return b.Words[k]
}

// RPDBands and RERBands are the bands that are quoted.
var (
	RPDBands = Bands{
		From:     []float64{2, 2.5, 3, 3.5, 4.1},
		Words:    []string{"very poor", "rough screening", "screening", "quality control", "process control", "any application"},
		Source:   "after Williams 2014, NIR News 25:22 (from memory)",
		Weakness: "somewhat arbitrary: the literature draws the lines at 2 to 8, and a set of lots that differ more has a larger ratio by the same error",
	}
	RERBands = Bands{
		From:     []float64{4, 10, 15},
		Words:    []string{"below screening", "screening", "quality control", "quantification"},
		Source:   "AACC 39-00 (from memory)",
		Weakness: "one far lot widens the range, and with it the ratio",
	}
)
