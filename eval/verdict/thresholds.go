package verdict

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
)

// Thresholds are the limits of the checks. Start from Defaults; changed ones are
// named in every verdict.
type Thresholds struct {
	LotsPass int     `json:"lots_pass"` // lots for a pass
	LotsFail int     `json:"lots_fail"` // fewer fail
	Q2       float64 `json:"q2"`        // Q² must be above
	// PermutationP is the largest p of the test against chance that passes.
	PermutationP float64 `json:"permutation_p"`
	// EstablishedConfirmed is how many established rules must be confirmed.
	EstablishedConfirmed int     `json:"established_confirmed"`
	ProteinGain          float64 `json:"protein_gain"` // the gain's lower limit must be above
	CropYears            int     `json:"crop_years"`
	LotsPerYear          int     `json:"lots_per_year"` // of a year that counts
	YearsQ2              float64 `json:"years_q2"`      // Q² over left-out years must be above
	CoverageCautionP     float64 `json:"coverage_caution_p"`
	CoverageFailP        float64 `json:"coverage_fail_p"`
	ReferenceP           float64 `json:"reference_p"` // of an error smaller than the reference's own
	RPDScreens           float64 `json:"rpd_screens"`
	RPDControls          float64 `json:"rpd_controls"`
	SpecScreens          float64 `json:"spec_screens"` // specification width over interval width
	SpecControls         float64 `json:"spec_controls"`
}

// Defaults are the built-in thresholds. Lots, p-values and years are this
// program's own (common practice, no source); for RPD see the package's grades.
func Defaults() Thresholds {
	return Thresholds{
		LotsPass: 30, LotsFail: 15, Q2: 0, PermutationP: 0.05, EstablishedConfirmed: 1, ProteinGain: 0,
		CropYears: 3, LotsPerYear: 5, YearsQ2: 0, CoverageCautionP: 0.05, CoverageFailP: 0.01, ReferenceP: 0.01,
		RPDScreens: 2, RPDControls: 3, SpecScreens: 1.2, SpecControls: 2,
	}
}

// ThresholdError says which threshold cannot be used.
type ThresholdError struct{ File, Name, Found, Want string }

func (e *ThresholdError) Error() string {
	at := e.File
	if at != "" {
		at += ": "
	}
	return fmt.Sprintf("%sthreshold %s: found %s, expected %s", at, e.Name, e.Found, e.Want)
}

// ReadThresholds reads a JSON object of thresholds to change, the others stay the
// built-in ones. An unknown name, a figure of the wrong kind or out of range is
// an error that names it.
func ReadThresholds(name string, data []byte) (Thresholds, error) {
	t := Defaults()
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&t); err != nil {
		return Thresholds{}, fmt.Errorf("%s: %w; the names are %s", name, err, strings.Join(thresholdNames(), ", "))
	}
	if d.More() {
		return Thresholds{}, &ThresholdError{name, "file", "text after the object", "one JSON object"}
	}
	if err := t.Check(); err != nil {
		err.(*ThresholdError).File = name
		return Thresholds{}, err
	}
	return t, nil
}

// Check returns a *ThresholdError for a threshold that makes no sense: counts
// below 1, p-values outside 0…1, a caution stricter than its fail.
func (t Thresholds) Check() error {
	for _, c := range []struct {
		name string
		v    int
	}{{"lots_fail", t.LotsFail}, {"lots_pass", t.LotsPass}, {"established_confirmed", t.EstablishedConfirmed}, {"crop_years", t.CropYears}, {"lots_per_year", t.LotsPerYear}} {
		if c.v < 1 {
			return &ThresholdError{Name: c.name, Found: fmt.Sprint(c.v), Want: "1 or more"}
		}
	}
	for _, c := range []struct {
		name string
		v    float64
	}{{"permutation_p", t.PermutationP}, {"coverage_caution_p", t.CoverageCautionP}, {"coverage_fail_p", t.CoverageFailP}, {"reference_p", t.ReferenceP}} {
		if !(c.v > 0 && c.v < 1) {
			return &ThresholdError{Name: c.name, Found: fmt.Sprint(c.v), Want: "between 0 and 1"}
		}
	}
	for _, c := range []struct {
		name string
		v    float64
	}{{"q2", t.Q2}, {"years_q2", t.YearsQ2}, {"protein_gain", t.ProteinGain}} {
		if !(math.Abs(c.v) < 1) {
			return &ThresholdError{Name: c.name, Found: fmt.Sprint(c.v), Want: "between -1 and 1"}
		}
	}
	for _, c := range []struct {
		name      string
		low, high float64
	}{{"lots_pass", float64(t.LotsFail), float64(t.LotsPass)}, {"coverage_caution_p", t.CoverageFailP, t.CoverageCautionP},
		{"rpd_controls", t.RPDScreens, t.RPDControls}, {"spec_controls", t.SpecScreens, t.SpecControls}} {
		if !(0 < c.low && c.low <= c.high && !math.IsInf(c.high, 0)) {
			return &ThresholdError{Name: c.name, Found: fmt.Sprint(c.high), Want: fmt.Sprint("not below its milder neighbour, ", c.low)}
		}
	}
	return nil
}

// Changed lists the thresholds that are not the built-in ones, in order: "lots_pass 20 instead of 30".
func (t Thresholds) Changed() []string {
	out := []string{}
	is, was := reflect.ValueOf(t), reflect.ValueOf(Defaults())
	for i, name := range thresholdNames() {
		if a, b := is.Field(i).Interface(), was.Field(i).Interface(); a != b {
			out = append(out, fmt.Sprintf("%s %v instead of %v", name, a, b))
		}
	}
	return out
}

func thresholdNames() []string {
	var out []string
	for i := range reflect.TypeFor[Thresholds]().NumField() {
		out = append(out, reflect.TypeFor[Thresholds]().Field(i).Tag.Get("json"))
	}
	return out
}
