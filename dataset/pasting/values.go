package pasting

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/reading"
	"flourcast/finding"
)

// identity says that whole = part + other among the viscosity features.
type identity struct{ whole, part, other string }

// identities that hold on every curve. The last follows from the others and is
// checked for records that give only both setbacks and the breakdown.
var identities = []identity{
	{Peak, Trough, BreakdownDrop},
	{Final, Trough, SetbackFromTrough},
	{Final, Peak, SetbackFromPeak},
	{SetbackFromTrough, SetbackFromPeak, BreakdownDrop},
}

// fillIn adds every viscosity feature that the identities give, until none is
// left. It changes no value that is there.
func fillIn(v map[string]float64) {
	for changed := true; changed; {
		changed = false
		for _, id := range identities {
			whole, hasWhole := v[id.whole]
			part, hasPart := v[id.part]
			other, hasOther := v[id.other]
			switch {
			case !hasWhole && hasPart && hasOther:
				v[id.whole] = part + other
			case hasWhole && !hasPart && hasOther:
				v[id.part] = whole - other
			case hasWhole && hasPart && !hasOther:
				v[id.other] = whole - part
			default:
				continue
			}
			changed = true
		}
	}
}

// ratios that follow from two viscosities: (part − less) / of. Common practice, no source.
var ratios = []struct{ id, part, less, of string }{
	{RelativeBreakdown, Peak, Trough, Peak},
	{Stability, Trough, "", Peak},
	{RelativeSetback, Final, Trough, Trough},
}

// ratio works one out; ok is false where a part is absent or the divisor is not
// above zero.
func ratio(v map[string]float64, part, less, of string) (value float64, ok bool) {
	a, ok1 := v[part]
	b, ok2 := v[less]
	c, ok3 := v[of]
	if ok = ok1 && (ok2 || less == "") && ok3 && c > 0; ok {
		value = (a - b) / c
	}
	return value, ok
}

// fillInRatios adds the ratios that follow and are not there.
func fillInRatios(v map[string]float64) {
	for _, r := range ratios {
		if _, there := v[r.id]; !there {
			if x, ok := ratio(v, r.part, r.less, r.of); ok {
				v[r.id] = x
			}
		}
	}
}

const askViscosity = "check the unit and the decimal sign of the column"

// bounds outside which a figure is a wrong unit or a wrong column rather than a
// flour. They are ours.
var bounds = map[string]reading.Bound{
	PastingTemp:       {Can: [2]float64{30, 130}, Usual: [2]float64{45, 110}, Do: "if it is in °F, say so in the header"},
	PeakTemp:          {Can: [2]float64{30, trace.Hottest}, Usual: [2]float64{55, 130}, Do: "if it is in °F, say so in the header"},
	PeakTime:          {Can: [2]float64{30, 7200}, Usual: [2]float64{90, 3600}, Do: "if it is in minutes, say so in the header (peak_time_min)"},
	RiseRate:          {Can: [2]float64{0, 5000}, Usual: [2]float64{0, 500}, Do: "check the unit of the column"},
	Peak:              {Can: [2]float64{1, 1e6}, Usual: [2]float64{20, trace.Thickest}, Do: askViscosity},
	Trough:            {Can: [2]float64{0, 1e6}, Usual: [2]float64{0, trace.Thickest}, Do: askViscosity},
	Initial:           {Can: [2]float64{0, 1e6}, Usual: [2]float64{0, 5000}, Do: askViscosity},
	PastingTangent:    {Can: [2]float64{30, 130}, Usual: [2]float64{45, 110}, Do: "if it is in °F, say so in the header"},
	RiseRatePerC:      {Can: [2]float64{0, 50000}, Usual: [2]float64{0, 5000}, Do: "check the unit of the column"},
	OnsetToPeak:       {Can: [2]float64{0, 7200}, Usual: [2]float64{0, 3600}, Do: "if it is in minutes, say so in the header"},
	SecondPeak:        {Can: [2]float64{1, 1e6}, Usual: [2]float64{20, trace.Thickest}, Do: askViscosity},
	SecondPeakTime:    {Can: [2]float64{30, 7200}, Usual: [2]float64{90, 3600}, Do: "if it is in minutes, say so in the header"},
	RelativeBreakdown: {Can: [2]float64{0, 1}, Usual: [2]float64{0, 1}, Do: "it is (peak − trough) / peak: check the column, and whether it is in %"},
	Stability:         {Can: [2]float64{0, 1}, Usual: [2]float64{0, 1}, Do: "it is trough / peak: check the column, and whether it is in %"},
	RelativeSetback:   {Can: [2]float64{-1, 1000}, Usual: [2]float64{-1, 20}, Do: "it is (final − trough) / trough: check the column, and whether it is in %"},
	Final:             {Can: [2]float64{0, 1e6}, Usual: [2]float64{0, trace.Thickest}, Do: askViscosity},
	BreakdownDrop:     {Can: [2]float64{0, 1e6}, Usual: [2]float64{0, trace.Thickest}, Do: "breakdown is peak − trough and cannot be negative: check the columns"},
}

// FromValues takes feature values without a curve (old records, another
// laboratory's), by feature id and in the glossary's units. It checks each
// against what a flour can have, checks the identities
//
//	peak = trough + breakdown
//	final = trough + setback_trough = peak + setback_peak
//	setback_trough = setback_peak + breakdown
//
// and the ratios of viscosities, within the rounding of the figures, and fills in what follows. A record that
// contradicts itself beyond rounding is a doubt up to 1 % of its largest
// viscosity and refused above, because nothing tells which figure is wrong.
// Findings name the column; the caller adds file and row (At).
func FromValues(values map[string]float64) (Features, finding.List) {
	var unknown finding.List
	own := map[string]float64{}
	for _, id := range slices.Sorted(maps.Keys(values)) {
		if slices.Contains(ids, id) {
			own[id] = values[id]
			continue
		}
		unknown.Add(finding.Finding{Code: "feature-unknown", Severity: finding.Doubt, At: finding.Place{Column: id}, Found: "no pasting feature of this name",
			Want: "a pasting feature of the glossary", Do: "it was left out; rename the column"})
	}
	kept, fl := reading.Check(own, bounds, finding.Place{})
	fl = append(unknown, fl...)
	add := func(code string, s finding.Severity, column, found, want, do string) {
		fl.Add(finding.Finding{Code: code, Severity: s, At: finding.Place{Column: column}, Found: found, Want: want, Do: do})
	}
	if len(kept) == 0 && fl.Count(finding.Refused) == 0 {
		add("no-features", finding.Refused, "", "no pasting feature", "at least one", "fill the row in or leave it out")
	}
	if fl.Count(finding.Refused) == 0 {
		checkIdentities(kept, add)
	}
	if fl.Count(finding.Refused) > 0 {
		return Features{}, fl
	}
	return newFeatures(kept, nil, nil), fl
}

// checkIdentities looks at the identities of which all three figures were given,
// then, if these hold, at those that the figures imply (peak, breakdown, final
// and setback give the trough twice). Three rounded figures may miss by one and a
// half steps, more of them by two.
func checkIdentities(v map[string]float64, add func(code string, s finding.Severity, column, found, want, do string)) {
	step := printedStep(v)
	scale := 0.0
	for _, x := range viscosities(v) {
		scale = max(scale, math.Abs(x))
	}
	complain := func(id identity, v map[string]float64, within float64) bool {
		whole, ok1 := v[id.whole]
		part, ok2 := v[id.part]
		other, ok3 := v[id.other]
		off := math.Abs(whole - part - other)
		if !ok1 || !ok2 || !ok3 || off <= within*(1+1e-9) {
			return false
		}
		severity, do := finding.Doubt, "check the figures against the original record"
		if off > 0.01*scale {
			severity, do = finding.Refused, mendSetback(v, id.other, within, do)
		}
		add("features-contradict", severity, id.other, fmt.Sprintf("%s %g, but %s − %s = %g", id.other, other, id.whole, id.part, whole-part),
			fmt.Sprintf("the same within %g", within), do)
		return true
	}
	found := false
	for k, id := range identities {
		if k < 3 || !found { // the last follows from the others
			found = complain(id, v, 1.5*step) || found
		}
	}
	full := maps.Clone(v)
	fillIn(full)
	for _, r := range ratios {
		given, ok1 := v[r.id]
		implied, ok2 := ratio(full, r.part, r.less, r.of)
		if ok1 && ok2 && math.Abs(given-implied) > 0.01+0.01*math.Abs(implied) {
			add("features-contradict", finding.Doubt, r.id, fmt.Sprintf("%s %.4g, but the viscosities give %.4g", r.id, given, implied), "the same within 1 %", "check the figures against the original record")
		}
	}
	for _, id := range identities {
		if !found {
			found = complain(id, full, 2*step)
		}
	}
}

// mendSetback proposes the convention that a contradicting setback follows.
func mendSetback(v map[string]float64, column string, within float64, otherwise string) string {
	peak, ok1 := v[Peak]
	final, ok2 := v[Final]
	trough, ok3 := v[Trough]
	same := func(a, b float64) bool { return math.Abs(a-b) <= within }
	switch {
	case column == SetbackFromTrough && ok1 && ok2 && same(v[column], final-peak):
		return "the column looks like final − peak: name it setback_peak_mPas"
	case column == SetbackFromPeak && ok2 && ok3 && same(v[column], final-trough):
		return "the column looks like final − trough: name it setback_trough_mPas"
	case (column == SetbackFromTrough || column == SetbackFromPeak) && ok1 && ok2 && same(v[column], peak-final):
		return "the column looks like peak − final: turn its sign and name it setback_peak_mPas"
	}
	return otherwise
}

// printedStep is the step that the viscosities were rounded to, mPa·s: 10 or 12
// (whole units of older instruments, from memory) when all given ones are
// multiples of it, else 1. Three rounded figures may miss their identity by one
// and a half steps.
func printedStep(v map[string]float64) float64 {
	given := viscosities(v)
	for _, step := range []float64{12, 10} {
		odd := func(x float64) bool { return math.Abs(math.Remainder(x, step)) > 1e-6 }
		if len(given) >= 3 && !slices.ContainsFunc(given, odd) {
			return step
		}
	}
	return 1
}

// viscosities are the figures among v that are viscosities or differences of them.
func viscosities(v map[string]float64) []float64 {
	var out []float64
	for _, id := range []string{Peak, Trough, BreakdownDrop, Final, SetbackFromTrough, SetbackFromPeak} {
		if x, ok := v[id]; ok {
			out = append(out, x)
		}
	}
	return out
}
