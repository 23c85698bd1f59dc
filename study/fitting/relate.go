package fitting

import (
	"math"

	"flourcast/eval"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/stat/correlation"
	"flourcast/study/card"

	"gonum.org/v1/gonum/stat/distuv"
)

// linePoints is how many points a fitted line is drawn with.
const linePoints = 41

// relate correlates every numeric trait that all rows have with the response,
// lot by lot (rows of a lot are averaged first), with the Fisher interval, and
// fits the line that the report draws.
func (f *fit) relate() ([]card.Relation, error) {
	out := []card.Relation{}
	protein := f.column(proteinID)
	for _, c := range f.featureColumns() {
		if !allPresent(c.Present) {
			continue
		}
		lots, x, y := lotMeans(f.m.Lots(), c.X, f.m.Y())
		r, ok := correlation.Pearson(x, y, nil)
		if !ok {
			continue // a feature that does not vary
		}
		rel := card.Relation{Feature: c.ID, N: len(lots), R: r, Line: []card.Band{}}
		if low, high, ok := correlation.Fisher(r, len(lots), 0); ok {
			rel.Low, rel.High = &low, &high
		}
		if c.ID != proteinID && protein != nil && allPresent(protein.Present) {
			_, z, _ := lotMeans(f.m.Lots(), protein.X, f.m.Y())
			if p, ok := correlation.Partial(x, y, z, nil); ok {
				rel.GivenProtein = &p
			}
		}
		for i, lot := range lots {
			rel.Points = append(rel.Points, card.Point{Lot: lot, X: x[i], Y: y[i]})
		}
		line, err := meanLine(c.ID, f.m.Response(), lots, x, y)
		if err != nil {
			return nil, err
		}
		rel.Line = line
		out = append(out, rel)
	}
	return out, nil
}

// meanLine is the least-squares line of y on x over the range of x, with the
// 95 % band of the mean: ŷ ± t(n − 2)·s·√h.
func meanLine(feature, response string, lots []string, x, y []float64) ([]card.Band, error) {
	rows := make([][]float64, len(x))
	low, high := x[0], x[0]
	for i, v := range x {
		rows[i] = []float64{v}
		low, high = min(low, v), max(high, v)
	}
	m, err := design.New(design.Spec{Features: []string{feature}, Response: response, X: rows, Y: y, Lots: lots})
	if err != nil {
		return nil, err
	}
	line, err := linear.OLS{Scaling: model.ScaleUnit}.Regress(m)
	if err != nil {
		return []card.Band{}, nil // too few lots for a line: none is drawn
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(len(x) - 2)}.Quantile(0.975)
	out := make([]card.Band, linePoints)
	for k := range out {
		at := []float64{low + (high-low)*float64(k)/(linePoints-1)}
		mid := line.Predict(at)
		half := t * line.Sigma() * math.Sqrt(line.LeverageAt(at))
		out[k] = card.Band{X: at[0], Y: mid, Low: mid - half, High: mid + half}
	}
	return out, nil
}

// coefficientIntervals are the jackknife intervals of the final model.
func (f *fit) coefficientIntervals() ([]card.Coefficient, error) {
	out := []card.Coefficient{}
	if f.m.P() == 0 || f.q.Kind == "mean" {
		return out, nil
	}
	k, err := eval.Jackknife(f.ctx, f.fitter, f.m, f.chosen, evidenceLevel, f.env.Cores)
	if err != nil {
		if f.ctx.Err() != nil {
			return nil, f.ctx.Err()
		}
		return out, nil // a lot without which the method cannot be fitted: no interval is shown
	}
	for j, c := range k {
		out = append(out, card.Coefficient{Feature: f.m.Features()[j], Value: c.Value, SE: c.SE, Low: c.Low, High: c.High, FeatureSD: correlation.SD(f.m.Column(j))})
	}
	return out, nil
}

func allPresent(present []bool) bool {
	for _, p := range present {
		if !p {
			return false
		}
	}
	return true
}

// lotMeans averages x and y over the rows of each lot, in order of first appearance.
func lotMeans(lots []string, x, y []float64) (names []string, mx, my []float64) {
	at := map[string]int{}
	var n []float64
	for i, lot := range lots {
		k, seen := at[lot]
		if !seen {
			k = len(names)
			at[lot] = k
			names, mx, my, n = append(names, lot), append(mx, 0), append(my, 0), append(n, 0)
		}
		mx[k], my[k], n[k] = mx[k]+x[i], my[k]+y[i], n[k]+1
	}
	for k := range names {
		mx[k], my[k] = mx[k]/n[k], my[k]/n[k]
	}
	return names, mx, my
}
