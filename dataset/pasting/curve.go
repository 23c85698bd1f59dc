// Package pasting reads features off one pasting curve.
package pasting

import (
	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/stat/smooth"
)

// Curve is one run: time s, temperature °C, viscosity mPa·s, of equal length and
// in the order of the file. TemperatureC may be nil when the method's programme
// is known. At is where the run stands and Rows the file row of each point; both
// go into the findings and may be left out.
type Curve struct {
	TimeS, TemperatureC, ViscosityMPas []float64

	At   finding.Place
	Rows []int
}

// Extract reads the features of one curve.
func Extract(c Curve, m method.Method) (Features, finding.List) {
	if len(c.TimeS) < 12 || len(c.TimeS) != len(c.ViscosityMPas) || len(c.TimeS) != len(c.TemperatureC) {
		return Features{}, finding.List{{Code: "curve-short", Severity: finding.Refused, At: c.At}}
	}
	v := smooth.Values(c.TimeS, c.ViscosityMPas, 12)
	top := 0
	for i := range v {
		if v[i] > v[top] && c.TemperatureC[i] > 60 {
			top = i
		}
	}
	return newFeatures(map[string]float64{Peak: v[top], PeakTime: c.TimeS[top], PeakTemp: c.TemperatureC[top], Final: v[len(v)-1]}, true), nil
}
