package forecast

import (
	"fmt"
	"math"

	"flourcast/dataset/trait"
)

// Contribution is how far one feature moves the forecast off that of the average
// calibration lot, in response units: b·(value − average). Value and Average are
// in the feature's own unit. Features of one curve go together, so that a single
// share is no direction; their sum is what is certain.
type Contribution struct {
	Feature      string  `json:"feature"`
	Value        float64 `json:"value"`
	Average      float64 `json:"average"`
	Contribution float64 `json:"contribution"`
}

// contributions fills Average and Contributions. Average is value less all
// contributions, so that they add up whatever the rounding of the slopes.
func (m *maker) contributions(x []float64) {
	b, mean := m.in.Model.Coefficients, m.in.Model.Average
	if len(b) != len(x) || len(mean) != len(x) {
		return
	}
	sum := 0.0
	var all []Contribution
	for j, name := range m.in.Model.Features {
		c := Contribution{Feature: name, Value: x[j], Average: mean[j], Contribution: b[j] * (x[j] - mean[j])}
		sum += c.Contribution
		all = append(all, c)
	}
	average := *m.f.Value - sum
	if math.IsNaN(average) || math.IsInf(average, 0) {
		return
	}
	m.f.Average, m.f.Contributions = &average, all
}

// Share is a contribution as people read it: of one feature, or of a stretch of a whole
// curve, whose single places say nothing. Feature is empty for a stretch, Stretch for a
// feature. Contribution is in response units.
type Share struct {
	Feature, Stretch string
	Contribution     float64
}

// Shares are the contributions in their order, with those of places of a whole curve
// summed: by the minutes of the test, or by stages where curves were laid on temperature.
// Their sum is that of the contributions.
func (f Forecast) Shares() []Share {
	var out []Share
	at := map[string]int{}
	for _, c := range f.Contributions {
		s := Share{Feature: c.Feature, Contribution: c.Contribution}
		if p, ok := trait.PlaceOf(c.Feature); ok {
			s.Feature, s.Stretch = "", stretch(p)
			if k, met := at[s.Stretch]; met {
				out[k].Contribution += s.Contribution
				continue
			}
			at[s.Stretch] = len(out)
		}
		out = append(out, s)
	}
	return out
}

// stretch names the part of a curve that a place lies in.
func stretch(p trait.Place) string {
	switch p.Stage {
	case trait.StageHeating:
		return "curve, heating"
	case trait.StageHot:
		return "curve, hot hold"
	case trait.StageCooling:
		return "curve, cooling"
	case trait.StageFinal:
		return "curve, final hold"
	}
	minute := math.Floor(p.At / 60)
	return fmt.Sprintf("curve, minutes %.0f to %.0f", minute, minute+1)
}

// Distance is how far a lot lies out on a PLS model's components (T²) and off their
// plane (Q, in scaled units), with the limits that one new lot in twenty exceeds by
// chance. QLimit is nil where the components leave nothing.
type Distance struct {
	T2      float64  `json:"t2"`
	T2Limit float64  `json:"t2_limit"`
	Q       float64  `json:"q"`
	QLimit  *float64 `json:"q_limit"`
}
