package stock

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/treatment"
	"flourcast/eval/direction/evidence"
	"flourcast/finding"
)

// mixes refuses, or flags where it is allowed, what does not mix in a paste, and notes
// treatments.
func (r *reader) mixes(row sheet.Row, f Flour) bool {
	if text, ok := r.word(row, "treatment"); ok {
		if r.treatments == nil {
			r.treatments = map[string]bool{}
		}
		r.treatments[strings.Clone(text)] = true
		r.chlorinated = r.chlorinated || treatment.Parse(text).Kind == treatment.Chlorinated
	}
	if !r.q.Paste {
		return true
	}
	below := r.q.SproutBelowS
	if below == 0 {
		below = evidence.FallingLow
	}
	kept := true
	say := func(kind, column, found, want string) {
		x := finding.Finding{Code: kind + "-not-additive", Severity: finding.Refused, At: r.s.Place(row, r.col(column)), Found: found, Want: want,
			Do: "the flour is left out; allow " + kind + " flour to use it all the same"}
		if slices.Contains(r.q.Allow, kind) {
			x.Severity, x.Do = finding.Doubt, "it is used as allowed: trust no figure of the paste before the blend was run"
		} else {
			kept = false
		}
		r.res.Findings.Add(x)
	}
	if fn, ok, _ := r.number(row, FallingNumber); ok && fn < below {
		say(Sprouted, FallingNumber, fmt.Sprintf("falling number %.0f s of %s: its amylase acts on the starch of every flour in the blend", fn, f.Name), fmt.Sprintf("%.0f s or more, for a paste that mixes by a rule", below))
	}
	amylose, known, _ := r.number(row, "amylose_pct")
	class, _ := r.word(row, "wheat_class")
	if known && amylose < waxyAmylosePct || isWaxy(class) || isWaxy(f.Name) {
		say(Waxy, "flour", f.Name+" is waxy: blended with others it gives two peaks, and no mean of theirs", "flours that are not waxy")
	}
	return kept
}

// isWaxy reads "waxy wheat"; "partially waxy" and "non-waxy" are not.
func isWaxy(text string) bool {
	text = strings.ToLower(text)
	if !strings.Contains(text, "waxy") {
		return false
	}
	for _, not := range []string{"partial", "partly", "non", "not", "half", "semi"} {
		if strings.Contains(text, not) {
			return false
		}
	}
	return true
}
