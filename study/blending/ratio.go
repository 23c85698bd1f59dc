package blending

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/forecast/conformance"
	"flourcast/forecast/money"
	"flourcast/study/job"
	"flourcast/study/stock"
)

// RatioAuto asks for the ratios of the two flours with the largest shares in the blend or,
// where there is none, of the first two that can be used.
const RatioAuto = "auto"

// Ratio is what blends of two flours are expected to have, from all of the second to all
// of the first.
type Ratio struct {
	First  string `json:"first"`
	Second string `json:"second"`
	Steps  []Step `json:"steps"`
}

// Step is one ratio: Pct per cent of the first flour, the rest of the second. Meets says
// whether it keeps all limits that were asked for; absent without limits.
type Step struct {
	Pct      int          `json:"first_pct"`
	OtherPct int          `json:"second_pct"`
	Cost     money.Amount `json:"cost"`
	Figures  []StepFigure `json:"figures"`
	Meets    *bool        `json:"meets"`
	// LeastProbability is the lowest of the figures', absent without, and where a limit is
	// missed of which none is known: that of keeping all limits is at most that.
	LeastProbability *float64 `json:"least_probability"`
}

// StepFigure is one property at a ratio. Kept says whether its limits are kept, absent
// without limits; Probability is that of keeping them, where own blends tell.
type StepFigure struct {
	Column      string   `json:"column"`
	Value       float64  `json:"value"`
	Kept        *bool    `json:"kept"`
	Probability *float64 `json:"probability"`
}

// ratioStep is how many per cent one step is.
const ratioStep = 5

// ratio sets out the blends of two flours.
func (q Request) ratio(res *Result, s *stock.File, props []property) error {
	if q.Ratio == "" {
		return nil
	}
	first, second, err := q.pair(res, s)
	if err != nil || first < 0 {
		return err
	}
	r := &Ratio{First: s.Flours[first].Name, Second: s.Flours[second].Name}
	for pct := 0; pct <= 100; pct += ratioStep {
		shares := make([]float64, len(s.Flours))
		shares[first], shares[second] = float64(pct)/100, float64(100-pct)/100
		step := Step{Pct: pct, OtherPct: 100 - pct, Cost: money.Of(shares[first]).Times(s.Flours[first].Price).Plus(money.Of(shares[second]).Times(s.Flours[second].Price)).Round(8), Figures: []StepFigure{}}
		missed := false // a limit of which no probability is known
		for _, pr := range props {
			e, err := pr.expected(shares)
			if err != nil {
				return &job.RequestError{Field: "ratio", Found: pr.Name + ": " + err.Error(), Want: "figures that the rule can take"}
			}
			f := StepFigure{Column: pr.Name, Value: e.Value}
			if l := pr.asked; l.Low != nil || l.High != nil {
				kept := (l.Low == nil || e.Value >= *l.Low) && (l.High == nil || e.Value <= *l.High)
				all := kept && (step.Meets == nil || *step.Meets)
				f.Kept, step.Meets = &kept, &all
				missed = missed || !kept && e.SD == nil
				if e.SD != nil {
					if p, err := (conformance.Limits{Low: l.Low, High: l.High}).Probability(e.Value, conformance.Spread{U: *e.SD, DF: float64(e.DF)}); err == nil {
						f.Probability = &p
						if step.LeastProbability == nil || p < *step.LeastProbability {
							step.LeastProbability = &p
						}
					}
				}
			}
			step.Figures = append(step.Figures, f)
		}
		if missed {
			step.LeastProbability = nil
		}
		r.Steps = append(r.Steps, step)
	}
	res.Ratio = r
	return nil
}

// pair are the places of the two flours; −1 where there are no two.
func (q Request) pair(res *Result, s *stock.File) (first, second int, err error) {
	if q.Ratio != RatioAuto {
		a, b, _ := strings.Cut(q.Ratio, ":")
		at := func(name string) int {
			return slices.IndexFunc(s.Flours, func(f stock.Flour) bool { return f.Name == strings.TrimSpace(name) })
		}
		if first, second = at(a), at(b); first < 0 || second < 0 || first == second {
			return 0, 0, &job.RequestError{Field: "ratio", Found: fmt.Sprintf("the ratio of %q", q.Ratio), Want: "two flours that can be used, A:B", Do: "see the findings of the stock file"}
		}
		return first, second, nil
	}
	if len(s.Flours) < 2 {
		return -1, -1, nil
	}
	order := make([]int, len(s.Flours))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(res.Shares[s.Flours[b].Name], res.Shares[s.Flours[a].Name]) })
	return order[0], order[1], nil
}
