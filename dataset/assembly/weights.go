package assembly

import (
	"fmt"
	"math"
	"slices"

	"flourcast/finding"
	"flourcast/stat/precision"
)

// BySE asks for rows weighted by the standard error of their response.
const BySE = "se"

// WeightRule says in words what a weight is.
const WeightRule = "weight of a row = 1/(standard error of its response)², scaled to a mean of 1"

// unevenShare is the share of rows that weighted rows must count for, below which a
// few lots decide and it is a doubt (ours).
const unevenShare = 0.5

// Weighting says what the weights of an assembly came to. Own rows have a standard
// error of their own, Pooled ones the pooled replicate SD over the root of their
// number. Effective is (Σw)²/Σw²: how many rows of one weight know as much.
type Weighting struct {
	By        string  `json:"by"`
	Rule      string  `json:"rule"`
	Own       int     `json:"own_se"`
	Pooled    int     `json:"pooled_se"`
	Lowest    float64 `json:"lowest"`
	Highest   float64 `json:"highest"`
	Effective float64 `json:"effective_rows"`
}

// errors gives each row the standard error of its response: NAME_se where it is above
// 0, else the SD of all rows' replicates, pooled, over √NAME_n. Rows without either
// are left out, named.
func (a *assembler) errors(rows []int) (kept []int, se []float64) {
	name := a.out.Response
	var n []int
	var sd []float64
	for _, i := range rows {
		k, okN := a.t.Number(name+"_n", i)
		s, okSD := a.t.Number(name+"_sd", i)
		if okN && okSD && k >= 2 && s >= 0 {
			n, sd = append(n, int(k)), append(sd, s)
		}
	}
	pooled, err := precision.Pooled(n, sd)
	w := Weighting{By: BySE, Rule: WeightRule}
	for _, i := range rows {
		own, ok := a.t.Number(name+"_se", i)
		count, okN := a.t.Number(name+"_n", i)
		switch {
		case ok && own > 0:
			w.Own++
		case okN && count >= 1 && err == nil && pooled.SD > 0:
			own = pooled.SD / math.Sqrt(count)
			w.Pooled++
		default:
			a.out.Left = append(a.out.Left, LeftOut{a.lot(i), "has no standard error of " + name})
			continue
		}
		kept, se = append(kept, i), append(se, own)
	}
	if left := len(rows) - len(kept); left > 0 {
		a.fl.Add(finding.Finding{Code: "rows-without-error", Severity: finding.Note, At: finding.Place{Column: name + "_se"}, Found: fmt.Sprintf("%d of %d rows have no standard error of %s and are left out of a weighted model", left, len(rows), name)})
	}
	a.out.Weighting = &w
	return kept, se
}

// weigh turns standard errors (all above 0) into weights with mean 1, and doubts
// weights that leave the model to few rows.
func (a *assembler) weigh(se []float64) []float64 {
	w := a.out.Weighting
	weights, effective := precision.Weights(se)
	w.Lowest, w.Highest, w.Effective = slices.Min(weights), slices.Max(weights), effective
	if w.Effective < unevenShare*float64(len(se)) {
		a.fl.Add(finding.Finding{Code: "weights-uneven", Severity: finding.Doubt, At: finding.Place{Column: a.out.Response + "_se"},
			Found: fmt.Sprintf("weights from %.2g to %.3g: %d rows know no more than %.1f of one weight", w.Lowest, w.Highest, len(se), w.Effective),
			Want:  "standard errors that rest on enough replicates", Do: "an SD of two or three replicates is small by luck: fit without weights too, and compare"})
	}
	return weights
}
