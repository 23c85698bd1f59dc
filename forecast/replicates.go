package forecast

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"

	"gonum.org/v1/gonum/stat/distuv"
)

// Replicated is how often a feature was measured on this lot: N runs with mean
// Value, their SD and the standard error of the mean, SD/√N; both absent for one
// run. CalibrationSD is the SD of single runs over the calibration lots, Limit the
// largest SD that agrees with it; absent where calibration lots were run once.
type Replicated struct {
	Feature       string   `json:"feature"`
	Value         float64  `json:"value"`
	N             int      `json:"n"`
	SD            *float64 `json:"sd"`
	SE            *float64 `json:"se"`
	CalibrationSD *float64 `json:"calibration_sd"`
	Limit         *float64 `json:"limit"`
}

// disagreeing is the share of sound lots whose replicates are held for disagreeing,
// all features of the model taken together.
const disagreeing = 0.05

// replicates compares the lot's replicates with calibration's. Replicates beyond
// the repeatability limit hold. For p features and an SD of n runs the limit is
//
//	s_r·√F    F the 1 − 0.05/p quantile of F with n − 1 and s_r's degrees of freedom
//
// which for two runs, one feature and a well-known s_r is the repeatability limit
// of ISO 5725-6, a difference of 1.96·√2·s_r.
//
// The variance of the lot's mean beyond that of a calibration lot's mean,
// max(0, v/n − s_r²·share), widens the interval; v is the lot's own variance, or
// s_r² where it was run once. Through slopes b it adds at most (Σ|b|·√excess)² in
// squared response units, however the features' errors go together.
func (m *maker) replicates() {
	model, widening := m.in.Model, 0.0
	var off []string
	known := false
	for j, name := range model.Features {
		value, has := m.in.Features[name]
		if !has || math.IsNaN(value) || math.IsInf(value, 0) {
			continue
		}
		own, cal := m.in.Replicates[name], model.Repeat[name]
		r := Replicated{Feature: name, Value: value, N: max(1, own.N)}
		variance := cal.SD * cal.SD
		if own.Repeated {
			sd, se := own.SD, own.SE
			r.SD, r.SE, variance = &sd, &se, sd*sd
		}
		if cal.DF > 0 {
			known = true
			r.CalibrationSD = &cal.SD
			excess := variance/float64(r.N) - cal.SD*cal.SD*cal.Share
			if excess > 0 && model.Coefficients != nil {
				widening += math.Abs(model.Coefficients[j]) * math.Sqrt(excess)
			}
		}
		if own.Repeated && cal.DF > 0 {
			f := distuv.F{D1: float64(own.N - 1), D2: float64(cal.DF)}.Quantile(1 - disagreeing/float64(len(model.Features)))
			limit := cal.SD * math.Sqrt(f)
			r.Limit = &limit
			if own.SD > limit {
				off = append(off, disagreement(name, own.N, own.SD, limit))
			}
		}
		if own.N > 0 || cal.DF > 0 {
			m.f.Replicates = append(m.f.Replicates, r)
		}
	}
	if len(off) > 0 {
		m.hold("replicates disagree beyond the repeatability limit: %s; look at the single runs, void the one that failed with its reason, and repeat", strings.Join(off, ", "))
	}
	if !known && len(m.in.Replicates) > 0 {
		m.note("the model does not say how well its calibration runs repeated, so the replicates were not compared with them")
	}
	if widening > 0 {
		m.extra = widening * widening
		m.f.ReplicateError = &widening
	}
}

// disagreement says of two runs how far they are apart, of more their SD.
func disagreement(feature string, n int, sd, limit float64) string {
	if n == 2 {
		return fmt.Sprintf("%s, two runs %s apart (limit %s)", trait.Name(feature), amount(feature, sd*math.Sqrt2), trait.Format(feature, limit*math.Sqrt2))
	}
	return fmt.Sprintf("%s, SD %s of %d runs (limit %s)", trait.Name(feature), amount(feature, sd), n, trait.Format(feature, limit))
}

// bridged widens the interval by the error of a bridge.
func (m *maker) bridged() {
	v := m.in.Bridged
	if !(v > 0) || math.IsInf(v, 0) {
		return
	}
	se := math.Sqrt(v)
	m.extra += v
	m.f.BridgeError = &se
	m.note("its features are converted from another instrument, which adds a standard error of %s to the forecast", amount(m.in.Model.Response, se))
}
