package pasting

import (
	"fmt"
	"maps"
	"math"
	"slices"

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

// ranges outside which a figure is a wrong unit or a wrong column rather than a
// flour. They are ours.
var ranges = map[string]struct {
	low, high float64
	do        string
}{
	PastingTemp: {30, 130, "if it is in °F, say so in the header"},
	PeakTemp:    {30, 160, "if it is in °F, say so in the header"},
	PeakTime:    {30, 7200, "if it is in minutes, say so in the header (peak_time_min)"},
	RiseRate:    {0, 5000, "check the unit of the column"},
	Peak:        {1, thickest, "check the unit and the decimal sign of the column"},
	Trough:      {0, thickest, "check the unit and the decimal sign of the column"},
	Final:       {0, thickest, "check the unit and the decimal sign of the column"},
	BreakdownDrop: {0, thickest,
		"breakdown is peak − trough and cannot be negative: check the columns"},
}

// FromValues takes feature values without a curve (old records, another
// laboratory's), by feature id and in the glossary's units. It checks each
// against what a flour can have, checks the identities
//
//	peak = trough + breakdown
//	final = trough + setback_trough = peak + setback_peak
//	setback_trough = setback_peak + breakdown
//
// within the rounding of the figures, and fills in what follows. A record that
// contradicts itself beyond rounding is a doubt up to 1 % of its largest
// viscosity and refused above, because nothing tells which figure is wrong.
// Findings name the column; the caller adds file and row (At).
func FromValues(values map[string]float64) (Features, finding.List) {
	var fl finding.List
	add := func(code string, s finding.Severity, column, found, want, do string) {
		fl.Add(finding.Finding{Code: code, Severity: s, At: finding.Place{Column: column}, Found: found, Want: want, Do: do})
	}
	kept := map[string]float64{}
	for _, id := range slices.Sorted(maps.Keys(values)) {
		v := values[id]
		r, bounded := ranges[id]
		switch {
		case !slices.Contains(ids, id):
			add("feature-unknown", finding.Doubt, id, "no pasting feature of this name", "a pasting feature of the glossary", "it was left out; rename the column")
		case math.IsNaN(v) || math.IsInf(v, 0):
			add("not-finite", finding.Refused, id, fmt.Sprint(v), "a finite number", "mend the cell or leave it empty")
		case bounded && (v < r.low || v > r.high):
			add("feature-range", finding.Refused, id, fmt.Sprintf("%g", v), fmt.Sprintf("between %g and %g", r.low, r.high), r.do)
		default:
			kept[id] = v
		}
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
	return newFeatures(found{values: kept}), fl
}

func checkIdentities(v map[string]float64, add func(code string, s finding.Severity, column, found, want, do string)) {
	step := printedStep(v)
	scale := max(math.Abs(v[Peak]), math.Abs(v[Trough]), math.Abs(v[Final]), math.Abs(v[BreakdownDrop]), math.Abs(v[SetbackFromTrough]), math.Abs(v[SetbackFromPeak]))
	reported := map[string]bool{}
	for k, id := range identities {
		whole, ok1 := v[id.whole]
		part, ok2 := v[id.part]
		other, ok3 := v[id.other]
		off := math.Abs(whole - part - other)
		if !ok1 || !ok2 || !ok3 || off <= 1.5*step*(1+1e-9) {
			continue
		}
		if k == 3 && len(reported) > 0 { // said already by one of the others
			continue
		}
		reported[id.other] = true
		severity, do := finding.Doubt, "check the figures against the original record"
		if off > 0.01*scale {
			severity, do = finding.Refused, mendSetback(v, id.other, 1.5*step, do)
		}
		add("features-contradict", severity, id.other, fmt.Sprintf("%s %g, but %s − %s = %g", id.other, other, id.whole, id.part, whole-part),
			fmt.Sprintf("the same within %g", 1.5*step), do)
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
	for _, step := range []float64{12, 10} {
		all, n := true, 0
		for _, id := range []string{Peak, Trough, Final, BreakdownDrop, SetbackFromTrough, SetbackFromPeak} {
			if x, ok := v[id]; ok {
				n++
				all = all && math.Abs(math.Remainder(x, step)) < 1e-6
			}
		}
		if all && n >= 3 {
			return step
		}
	}
	return 1
}
