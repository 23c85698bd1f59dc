package book

import (
	"flourcast/dataset/replicate"
	"flourcast/forecast"
)

// Asked is how a forecast was asked for: with the features and the model, all that it
// was made from. Method is that of the lot's runs; Bridged is in squared units of the
// response.
type Asked struct {
	Method     string             `json:"method"`
	Problems   []string           `json:"problems"`
	Notes      []string           `json:"notes"`
	Replicates map[string]Repeats `json:"replicates"`
	Spec       *forecast.Spec     `json:"spec"`
	Rule       *forecast.Rule     `json:"rule"`
	Bands      *forecast.Bands    `json:"bands"`
	Level      float64            `json:"level"`
	Bridged    float64            `json:"bridged"`
}

// Repeats is how often a feature was measured, N, with SD and standard error where
// they can be had.
type Repeats struct {
	N  int      `json:"n"`
	SD *float64 `json:"sd"`
	SE *float64 `json:"se"`
}

func askedOf(in forecast.Input) *Asked {
	a := &Asked{Method: in.Method, Problems: in.Problems, Notes: in.Notes, Replicates: map[string]Repeats{}, Spec: in.Spec, Rule: in.Rule, Bands: in.Bands, Level: in.Level, Bridged: in.Bridged}
	for feature, s := range in.Replicates {
		r := Repeats{N: s.N}
		if s.Repeated {
			r.SD, r.SE = &s.SD, &s.SE
		}
		a.Replicates[feature] = r
	}
	return a
}

// Input is what the forecast was made from, put to the model m again; ok is false for
// a forecast that does not say how it was asked for.
func (f Forecast) Input(m forecast.Model) (in forecast.Input, ok bool) {
	a := f.Asked
	if a == nil {
		return in, false
	}
	in = forecast.Input{Lot: f.Of.Lot, Features: f.Features, Replicates: map[string]replicate.Summary{}, Method: a.Method, Problems: a.Problems, Notes: a.Notes, Model: m,
		Spec: a.Spec, Rule: a.Rule, Bands: a.Bands, Level: a.Level, Bridged: a.Bridged}
	for feature, r := range a.Replicates {
		s := replicate.Summary{N: r.N, Mean: f.Features[feature]}
		if r.SD != nil && r.SE != nil {
			s.Repeated, s.SD, s.SE = true, *r.SD, *r.SE
		}
		in.Replicates[feature] = s
	}
	return in, true
}
