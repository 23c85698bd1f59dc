package fitting

import (
	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/replicate"
	"flourcast/dataset/trait"
	"flourcast/eval/direction"
	"flourcast/model/catalog"
	"flourcast/study/card"
)

// card fills the model file.
func (f *fit) card() (*card.Card, error) {
	payload, err := catalog.Encode(f.fitted)
	if err != nil {
		return nil, err
	}
	line := f.fitted.Linear()
	c := &card.Card{
		Schema: card.Schema, Program: f.env.Version, Made: f.env.Now(), Notice: f.q.Notice,
		Source:  card.Source{File: f.q.File, SHA256: f.q.Table.Digest(), Rows: f.q.Table.Len()},
		Product: f.assembly.Product, Method: f.assembly.Method, Solvent: f.assembly.Solvent,
		Treatment: f.assembly.Treatment, TreatmentUse: f.assembly.TreatmentUse, TreatmentFactor: f.assembly.Factor, Weighting: f.assembly.Weighting, Where: f.q.Where,
		Response: f.m.Response(), Features: f.m.Features(), Kind: f.q.Kind, Scaling: f.q.Scaling, Transform: f.q.Transform, Derivative: f.filter, Origin: f.q.Origin,
		Intercept: line.Intercept, Coefficients: map[string]float64{}, Model: payload, Intervals: f.intervals,
		CV: f.cvFigures(), Permutation: f.permutation(), Years: f.years, Protein: f.protein, Interval: &f.interval, Cross: f.cross, Domain: f.domain,
		Directions: f.directions, Relations: f.relations, Trends: &f.trends, Screened: f.screened, OneLot: f.oneLot,
		Verdict: f.verdict, Thresholds: f.thresholds, Findings: f.findings,
	}
	c.NoiseCeiling, c.ReplicateSE = f.rows.NoiseCeiling()
	c.Repeat = f.repeat()
	if t, ok := trait.Lookup(c.Response); ok {
		c.ResponseKind = t.Kind
	}
	for j, name := range c.Features {
		c.Coefficients[name] = line.Coefficients[j]
	}
	switch k := f.fitted.Complexity(); k.Name {
	case "components":
		c.Components = int(k.Value)
	case "lambda":
		c.Lambda = &k.Value
	}
	years, _ := f.m.Grouping("crop_year")
	families, _ := f.m.Grouping("family")
	for i, lot := range f.m.Lots() {
		row := card.Row{Lot: lot, X: f.m.Row(i), Measured: f.m.Y()[i], Predicted: f.honest.Predicted[i]}
		if years != nil {
			row.CropYear = years[i]
		}
		if families != nil && families[i] != lot {
			row.Family = families[i]
		}
		if se := f.m.SE(); se != nil {
			row.MeasuredSE = &se[i]
		}
		c.Training = append(c.Training, row)
	}
	return c, nil
}

// repeat pools, for each feature, the replicates behind the rows that were used;
// nil where nothing was measured twice.
func (f *fit) repeat() map[string]replicate.Pooled {
	var out map[string]replicate.Pooled
	for _, name := range f.m.Features() {
		var lots []replicate.Summary
		for _, i := range f.assembly.Rows {
			if s, ok := replicate.Read(func(column string) (float64, bool) { return f.q.Table.Number(column, i) }, name); ok {
				lots = append(lots, s)
			}
		}
		if p, ok := replicate.Pool(lots); ok {
			if out == nil {
				out = map[string]replicate.Pooled{}
			}
			out[name] = p
		}
	}
	return out
}

func (f *fit) permutation() *card.Permutation {
	if f.perm == nil {
		return nil
	}
	return &card.Permutation{P: f.perm.P, Better: f.perm.Better, Permutations: f.perm.M}
}

func (f *fit) cvFigures() card.CV {
	cv := card.CV{Scheme: f.plan.Scheme, Repeats: len(f.plan.Fold), Nested: f.nested, RMSECV: f.honest.RMSECV, Q2: f.honest.Q2,
		RMSECVByComponents: []float64{}, Path: []card.Step{}, Predictions: []card.Prediction{}}
	for i, label := range f.cv.Labels {
		step := card.Step{Label: label, Value: f.cv.Steps[i].Value, RMSECV: f.cv.RMSECV[i], Q2: f.cv.Q2[i]}
		cv.Path = append(cv.Path, step)
		if f.cv.Steps[i].Name == "components" {
			cv.RMSECVByComponents = append(cv.RMSECVByComponents, step.RMSECV)
		}
	}
	for i, lot := range f.m.Lots() {
		cv.Predictions = append(cv.Predictions, card.Prediction{Lot: lot, Measured: f.m.Y()[i], Predicted: f.honest.Predicted[i]})
	}
	return cv
}

func (f *fit) result(c *card.Card) *Result {
	res := &Result{
		Schema: "flourcast.fit/1", Kind: c.Kind, N: f.m.N(), Lots: distinct(f.m.Lots()), Response: c.Response, Product: c.Product, Method: c.Method,
		Features: c.Features, Scaling: c.Scaling, Components: c.Components, Lambda: c.Lambda, Intercept: c.Intercept, Coefficients: c.Coefficients,
		CV: c.CV, NoiseCeiling: c.NoiseCeiling, Treatment: c.Treatment, TreatmentUse: c.TreatmentUse, TreatmentFactor: c.TreatmentFactor, Weighting: c.Weighting, Where: c.Where, Permutation: c.Permutation, Years: c.Years, Protein: c.Protein, Directions: c.Directions, Relations: c.Relations, Verdict: c.Verdict,
		Trends: c.Trends, Screened: c.Screened, OneLot: c.OneLot,
		Screen: f.screen, OLSFigures: f.ols, PLS: f.pls, Bootstrap: f.drawn, Curve: c.Curve(), Transform: f.q.Transform, Derivative: f.filter, Intervals: c.Intervals, LeftOut: f.assembly.Left, Findings: f.findings, Card: c,
	}
	if res.Where == nil {
		res.Where = []column.Condition{}
	}
	if res.LeftOut == nil {
		res.LeftOut = []assembly.LeftOut{}
	}
	if res.Directions == nil {
		res.Directions = []direction.Answer{}
	}
	return res
}
