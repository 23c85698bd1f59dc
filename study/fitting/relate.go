package fitting

import (
	"errors"

	"flourcast/eval/resample"
	"flourcast/stat/correlation"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/relation"
	"flourcast/study/rows"
)

// relate correlates every numeric trait that all rows have with the response,
// lot by lot, with the Fisher interval and the line that the report draws.
func (f *fit) relate() ([]card.Relation, error) {
	out := []card.Relation{}
	d := relation.Data{Response: f.m.Response(), Lots: f.m.Lots(), Y: f.m.Y()}
	if protein := f.rows.Column(rows.Protein); protein != nil {
		d.Protein, d.ProteinKnown = protein.X, protein.Present
	}
	for _, c := range f.rows.Features() {
		if !allPresent(c.Present) {
			continue
		}
		d.Feature, d.X = c.ID, c.X
		r, ok, err := relation.Of(d)
		if err != nil {
			return nil, err
		}
		if !ok {
			continue // a feature that does not vary
		}
		rel := card.Relation{Feature: r.Feature, N: r.N, R: r.R, Low: r.Low, High: r.High, Line: []card.Band{}}
		if r.GivenProtein != nil {
			rel.GivenProtein = &r.GivenProtein.R
		}
		for _, p := range r.Points {
			rel.Points = append(rel.Points, card.Point{Lot: p.Lot, X: p.X, Y: p.Y})
		}
		for _, b := range r.Line {
			rel.Line = append(rel.Line, card.Band(b))
		}
		out = append(out, rel)
	}
	return out, nil
}

// coefficientIntervals are the jackknife intervals of the final model.
func (f *fit) coefficientIntervals() ([]card.Coefficient, error) {
	out := []card.Coefficient{}
	if f.m.P() == 0 || f.q.Kind == "mean" {
		return out, nil
	}
	k, err := resample.Jackknife(f.ctx, f.fitter, f.m, f.chosen, evidenceLevel, f.env.Cores)
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

// bootstrap gives the coefficients of the final model their bootstrap intervals,
// where they were asked for. What cannot be drawn is the request's fault.
func (f *fit) bootstrap() ([]card.Coefficient, error) {
	out := []card.Coefficient{}
	if f.q.Bootstrap == 0 || f.m.P() == 0 || f.q.Kind == "mean" {
		return out, nil
	}
	drawn, err := resample.Bootstrap(f.ctx, f.fitter, f.m, f.chosen, f.q.Bootstrap, f.env.Seed, f.env.Cores)
	var cannot *resample.DrawError
	if errors.As(err, &cannot) {
		return nil, &job.RequestError{Found: err.Error(), Want: "lots that can be drawn again and again", Do: "leave --bootstrap out"}
	}
	if err != nil {
		return nil, err
	}
	for j, d := range drawn {
		out = append(out, card.Coefficient{Feature: f.m.Features()[j], Value: d.Value, SE: d.SE, Low: d.Low, High: d.High, FeatureSD: correlation.SD(f.m.Column(j))})
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
