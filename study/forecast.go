package study

import (
	"context"
	"fmt"
	"math"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/card"
)

// ForecastRequest names a model file and the files of new lots: curves, pasting
// values, or a joined table. Lots gives flour analysis (protein) for models that
// use it. Level is that of the interval, 0.90 when 0.
type ForecastRequest struct {
	Model   string
	Card    *card.Card // instead of Model
	Paths   []string
	Lots    string
	Map     *sheet.Map
	Methods []method.Method
	Spec    *forecast.Spec
	Level   float64
}

// ForecastResult is what `forecast` prints.
type ForecastResult struct {
	Schema    string              `json:"schema"`
	Model     string              `json:"model"`
	Product   string              `json:"product"`
	Response  string              `json:"response"`
	Standing  string              `json:"standing"`
	Spec      *forecast.Spec      `json:"spec"`
	Forecasts []forecast.Forecast `json:"forecasts"`
	Refused   int                 `json:"refused"`
	Findings  finding.List        `json:"findings"`
	Notice    string              `json:"notice,omitempty"`
}

// Short reports whether a lot was held or rejected.
func (r *ForecastResult) Short() bool {
	for _, f := range r.Forecasts {
		if f.Decision == forecast.Hold || f.Decision == forecast.Reject {
			return true
		}
	}
	return false
}
