package pasting

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
)

// A public rice variety page gives peak 2232, trough 1438, breakdown 794, final
// 4169, setback 1937 mPa·s, peak time 6.07 min, pasting temperature 87.05 °C;
// its setback is the one from the peak (1937 = 4169 − 2232).
var rice = map[string]float64{Peak: 2232, Trough: 1438, BreakdownDrop: 794, Final: 4169, PeakTime: 6.07 * 60, PastingTemp: 87.05}

func with(v map[string]float64, pairs ...any) map[string]float64 {
	out := maps.Clone(v)
	for i := 0; i < len(pairs); i += 2 {
		switch x := pairs[i+1].(type) {
		case float64:
			out[pairs[i].(string)] = x
		case nil:
			delete(out, pairs[i].(string))
		}
	}
	return out
}

func TestFromValuesFillsIn(t *testing.T) {
	for name, given := range map[string]map[string]float64{
		"as published":                   with(rice, SetbackFromPeak, 1937.0),
		"without setbacks":               rice,
		"without breakdown":              with(rice, BreakdownDrop, nil),
		"breakdown for trough":           with(rice, Trough, nil),
		"trough and breakdown for peak":  with(rice, Peak, nil),
		"setback for final":              with(rice, Final, nil, SetbackFromPeak, 1937.0),
		"both setbacks for breakdown":    with(rice, Trough, nil, BreakdownDrop, nil, SetbackFromPeak, 1937.0, SetbackFromTrough, 2731.0),
		"setback from trough, no trough": with(rice, Trough, nil, BreakdownDrop, nil, SetbackFromTrough, 2731.0),
	} {
		t.Run(name, func(t *testing.T) {
			f, fl := FromValues(given)
			if !f.OK() || len(fl) > 0 {
				t.Fatal(fl)
			}
			for id, want := range with(rice, SetbackFromPeak, 1937.0, SetbackFromTrough, 2731.0) {
				near(t, f, id, want, 1e-9)
			}
			absent(t, f, RiseRate, PeakTemp)
			if _, ok := f.Stages(); ok {
				t.Error("values without a curve have stages")
			}
		})
	}
}

// TestFromValuesInventsNothing: what does not follow stays absent.
func TestFromValuesInventsNothing(t *testing.T) {
	f, fl := FromValues(map[string]float64{Peak: 2232, PastingTemp: 87.05})
	if !f.OK() || len(fl) > 0 || len(f.Values()) != 2 {
		t.Errorf("%v %v", f.Values(), fl)
	}
	if f.Values()[0].ID != PastingTemp {
		t.Errorf("%v is not in curve order", f.Values())
	}
}

func TestFromValuesFindings(t *testing.T) {
	for name, c := range map[string]struct {
		values   map[string]float64
		code     string
		severity finding.Severity
		column   string
		do       string // part of the cure
	}{
		"wrong setback convention": {with(rice, SetbackFromTrough, 1937.0), "features-contradict", finding.Refused, SetbackFromTrough, "name it setback_peak_mPas"},
		"other wrong convention":   {with(rice, SetbackFromPeak, 2731.0), "features-contradict", finding.Refused, SetbackFromPeak, "name it setback_trough_mPas"},
		"both the same":            {with(rice, SetbackFromTrough, 1937.0, SetbackFromPeak, 1937.0), "features-contradict", finding.Refused, SetbackFromTrough, "name it setback_peak_mPas"},
		"flipped setback":          {with(rice, SetbackFromPeak, -1937.0), "features-contradict", finding.Refused, SetbackFromPeak, "turn its sign"},
		"wrong breakdown":          {with(rice, BreakdownDrop, 497.0), "features-contradict", finding.Refused, BreakdownDrop, "original record"},
		"breakdown off by 10":      {with(rice, BreakdownDrop, 804.0), "features-contradict", finding.Doubt, BreakdownDrop, "original record"},
		"three differences":        {map[string]float64{SetbackFromPeak: 100, SetbackFromTrough: 1000, BreakdownDrop: 500}, "features-contradict", finding.Refused, BreakdownDrop, "original record"},
		"trough in two ways":       {map[string]float64{Peak: 2232, BreakdownDrop: 794, Final: 4169, SetbackFromTrough: 1937}, "features-contradict", finding.Refused, SetbackFromTrough, "name it setback_peak_mPas"},
		"peak time in minutes":     {with(rice, PeakTime, 6.07), "value-range", finding.Refused, PeakTime, "peak_time_min"},
		"negative breakdown":       {map[string]float64{BreakdownDrop: -20}, "value-range", finding.Refused, BreakdownDrop, "cannot be negative"},
		"Fahrenheit":               {with(rice, PastingTemp, 188.7), "value-range", finding.Refused, PastingTemp, "°F"},
		"viscosity in Pa·s":        {map[string]float64{Peak: 2.232}, "value-unusual", finding.Doubt, Peak, "unit"},
		"hundredfold":              {map[string]float64{Peak: 223200}, "value-unusual", finding.Doubt, Peak, "decimal sign"},
		"thousandfold":             {map[string]float64{Peak: 2.232e9}, "value-range", finding.Refused, Peak, "decimal sign"},
		"NaN":                      {with(rice, Final, math.NaN()), "not-finite", finding.Refused, Final, "mend"},
		"infinite setback":         {map[string]float64{SetbackFromPeak: math.Inf(-1)}, "not-finite", finding.Refused, SetbackFromPeak, "mend"},
		"another column":           {with(rice, "hardness_N", 4.0), "feature-unknown", finding.Doubt, "hardness_N", "left out"},
		"nothing":                  {nil, "no-features", finding.Refused, "", "fill"},
	} {
		t.Run(name, func(t *testing.T) {
			f, fl := FromValues(c.values)
			if len(fl) != 1 || fl[0].Code != c.code || fl[0].Severity != c.severity || fl[0].At.Column != c.column || !strings.Contains(fl[0].Do, c.do) {
				t.Fatalf("got %v", fl)
			}
			if f.OK() != (c.severity != finding.Refused) {
				t.Errorf("OK is %v", f.OK())
			}
		})
	}
}

// TestFromValuesRounding: figures rounded to 1, 10, or 12 mPa·s (whole units of
// older instruments, 12 mPa·s each, from memory) never contradict each other.
func TestFromValuesRounding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.SampledFrom([]float64{0.12, 1, 10, 12}).Draw(t, "step")
		round := func(v float64) float64 { return math.Round(v/step) * step }
		trough := rapid.Float64Range(100, 3000).Draw(t, "trough")
		peak := trough + rapid.Float64Range(20, 2500).Draw(t, "breakdown")
		final := trough + rapid.Float64Range(20, 3000).Draw(t, "setback")
		given := map[string]float64{Peak: round(peak), Trough: round(trough), Final: round(final), BreakdownDrop: round(peak - trough),
			SetbackFromTrough: round(final - trough), SetbackFromPeak: round(final - peak)}
		for _, id := range slices.Sorted(maps.Keys(given)) {
			if len(given) > 3 && rapid.Bool().Draw(t, "left out") {
				delete(given, id)
			}
		}
		if _, fl := FromValues(given); len(fl) > 0 {
			t.Fatal(given, fl)
		}
	})
}
