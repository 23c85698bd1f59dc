package newlots

import (
	"flourcast/forecast"
	"flourcast/model"
	"flourcast/study/anatomy"
	"flourcast/study/card"
)

// Model is what a forecast needs of a model file.
func Model(c *card.Card, fitted model.Fitted) (forecast.Model, error) {
	m := forecast.Model{Response: c.Response, Features: c.Features, Method: c.Method, Fitted: fitted, Interval: *c.Interval, Cross: c.Cross, Domain: c.Domain,
		Standing: c.Verdict.Standing, StandingCause: c.Verdict.Sentence, Coefficients: fitted.Linear().Coefficients, Average: c.Average(), Repeat: c.Repeat}
	if c.Transform == "log" {
		m.Coefficients = nil // they multiply: no feature has a share of its own
	}
	for _, o := range c.Verdict.Overrides {
		m.Overrides = append(m.Overrides, o.Reason)
	}
	training, err := c.Matrix()
	if err != nil {
		return m, err
	}
	inside, err := anatomy.Open(fitted, training)
	if err != nil {
		return m, err
	}
	if place := inside.Distances(); place != nil {
		m.Distances = func(x []float64) forecast.Distance { return forecast.Distance(place(x)) }
	}
	return m, nil
}
