package scoresheet

import "fmt"

// Columns of Errors.
const (
	eNumber = iota + 1
	eFold
	eSize
	eWeight
	eForecast
	eLow
	eHigh
	eMissesLow
	eMissesHigh
	eSorted // and seven more, where lots have several rows
)

// layFolds lays out the models of the folds and what each missed, and from these the
// interval and the probability counted from the errors; row is the next free one of
// Model.
func (b *book) layFolds(row int) {
	s, m := b.result.Scorer, &b.model
	folds := newGrid(Folds, 40)
	folds.wide(1, 1, "Models fitted without some of the lots", styleHeading, 1)
	folds.set(2, 1, text("intercept"))
	for j, f := range s.Features {
		folds.set(4+j, 1, text(f.Name))
	}
	folds.set(3, 1, text("forecast, on the model's scale"))
	last := 3 + len(s.Features)
	for k, model := range s.Folds.Models {
		column := k + 2
		folds.set(1, column, text(fmt.Sprint("fold ", k+1)).in(styleHeading))
		folds.set(2, column, figure(model.Intercept))
		folds.set(3, column, formula(fmt.Sprintf("%s+SUMPRODUCT(%s:%s,%s)", at(2, column), at(4, column), at(last, column), span(m.g, m.first, mX, m.last, mX))))
		for j, v := range model.Coefficients {
			folds.set(4+j, column, figure(v))
		}
	}
	errors := newGrid(Errors, 12, 12, 16, 12, 16, 16, 16, 14, 14)
	for k, name := range []string{"row", "fold", "error", "weight", "forecast", "− error", "+ error", "misses limits", "misses limits"} {
		errors.set(1, k+1, text(name).in(styleHeading))
	}
	equal := true
	forecasts := span(folds, 3, 2, 3, 1+len(s.Folds.Models))
	for i, miss := range s.Folds.Misses {
		r := i + 2
		equal = equal && miss.Weight == 1
		misses := func(column int) cell {
			return formula(fmt.Sprintf("IF(OR(%[1]s<%[2]s,%[1]s>%[3]s),%[4]s,0)", at(r, column), m.lowLimit, m.highLimit, at(r, eWeight)))
		}
		errors.line(r, eNumber, figure(float64(i+1)), figure(float64(miss.Model+1)), figure(miss.Size), figure(miss.Weight),
			formula(fmt.Sprintf("INDEX(%s,1,%s)", forecasts, at(r, eFold))),
			formula(fmt.Sprintf("%s-%s", at(r, eForecast), at(r, eSize))), formula(fmt.Sprintf("%s+%s", at(r, eForecast), at(r, eSize))),
			misses(eLow), misses(eHigh))
	}
	b.sheets = append(b.sheets, folds, errors)
	n := len(s.Folds.Misses)
	column := func(c int) string { return span(errors, 2, c, n+1, c) }
	rank := b.cellOf(&row, "rank of the interval's ends", figure(s.Folds.Rank))
	low, high := fmt.Sprintf("LARGE(%s,%s)", column(eLow), rank), fmt.Sprintf("SMALL(%s,%s)", column(eHigh), rank)
	if !equal {
		low, high = b.laySorted(errors, n, rank)
	}
	if s.Log {
		low, high = "EXP("+low+")", "EXP("+high+")"
	}
	if !s.Folds.Finite {
		low, high = `"none"`, `"none"`
	}
	m.low, m.high = b.cellOf(&row, "from", formula(low)), b.cellOf(&row, "to", formula(high))
	unseen := b.cellOf(&row, "half of 1/(lots + 1)", figure(1/(2*float64(s.Folds.Lots+1))))
	missing := b.cellOf(&row, "weight that misses the limits", formula(fmt.Sprintf("%s+SUM(%s)+SUM(%s)", m.given, column(eMissesLow), column(eMissesHigh))))
	m.counted = b.cellOf(&row, "probability counted from the errors", formula(fmt.Sprintf("MAX(%[1]s,1-%[2]s*%[1]s)", unseen, missing)))
	if m.probability == "" {
		m.probability, m.probabilityWords, m.counted = m.counted, fmt.Sprintf("counted from the errors of %d lots", s.Folds.Lots), ""
	}
}

// laySorted finds the ends of an interval of rows with unequal weights: sorted, added
// up, and the first with enough weight.
func (b *book) laySorted(errors *grid, n int, rank string) (low, high string) {
	end := func(from, column int, sort, best, otherwise string) string {
		of := func(c int) string { return at(2, c) + ":" + at(n+1, c) }
		for k, name := range []string{"sorted", "weight", "so far", "far enough"} {
			errors.set(1, column+k, text(name).in(styleHeading))
		}
		for r := 2; r <= n+1; r++ {
			soFar := at(r, column+1)
			if r > 2 {
				soFar = at(r-1, column+2) + "+" + soFar
			}
			errors.line(r, column, formula(fmt.Sprintf("%s(%s,%s)", sort, of(from), at(r, eNumber))),
				formula(fmt.Sprintf("INDEX(%s,MATCH(%s,%s,0),1)", of(eWeight), at(r, column), of(from))), formula(soFar),
				formula(fmt.Sprintf("IF(%s>=%s-1E-9,%s,%s)", at(r, column+2), rank, at(r, column), otherwise)))
		}
		return fmt.Sprintf("%s(%s)", best, span(errors, 2, column+3, n+1, column+3))
	}
	return end(eLow, eSorted, "LARGE", "MAX", "-"+none), end(eHigh, eSorted+4, "SMALL", "MIN", none)
}
