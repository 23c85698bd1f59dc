package run

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/lot"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/record"
	"flourcast/dataset/slurry"
	"flourcast/finding"
)

// Knowledge is what runs are linked to. Tests are the rows of the runs file (nil
// if there is none, so that no run waits for its test). Method is that of runs for which nothing
// else tells one. Moisture is a lot's own moisture, %; Waits says whether a run
// has to wait for its lot.
type Knowledge struct {
	Tests    []record.Test
	Methods  []method.Method
	Method   string
	Moisture func(lot string) (pct float64, ok bool)
	Waits    func(r *Run) bool
	Policy   conformity.Policy
}

// Link gives every run what the runs file knows of it. A run waits if the runs
// file does not have the test that it names, or if its lot is not known; it is
// refused if it contradicts the runs file, has no method, or was weighed in too
// far off its method.
func Link(runs []Run, k Knowledge) {
	x := newIndex(k.Tests)
	names := lot.NewNames(x.names)
	for i := range runs {
		r := &runs[i]
		if r.Fate == Refused {
			continue
		}
		if t := x.find(r); t != nil {
			r.take(t, k)
		} else if r.Run != "" && k.Tests != nil {
			r.Fate = Waiting
			r.add(finding.Finding{Code: "run-unknown", Severity: finding.Doubt, At: r.At, Found: fmt.Sprintf("run %s, which no runs file has; its rows wait", r.Run), Want: "a run of the runs file",
				Do: Meant(names.Near(r.Run), "enter the run")})
		}
		r.Method = cmp.Or(r.Method, k.Method)
		switch {
		case r.Fate != Accepted:
		case r.Kind != record.Control && k.Waits(r):
			r.Fate = Waiting
		case r.Method == "":
			r.add(finding.Finding{Code: "method-missing", Severity: finding.Refused, At: r.At, Found: "no method", Want: "the method of the run: runs of different methods never share a column",
				Do: "name it in a column, in the runs file, in the import map, or by flag"})
		}
	}
}

// Meant is a cure that proposes names.
func Meant(near []string, otherwise string) string {
	if len(near) == 0 {
		return otherwise
	}
	return "did you mean " + strings.Join(near, " or ") + "?"
}

// index finds the row of the runs file for a run: by its name or, if it has
// none, by lot, method and replicate, where the k-th test of a lot by a method is
// replicate k unless the runs file numbers them itself.
type index struct {
	byRun map[string]*record.Test
	byKey map[[3]string]*record.Test // nil: more than one
	names []string
}

func newIndex(tests []record.Test) index {
	x := index{byRun: map[string]*record.Test{}, byKey: map[[3]string]*record.Test{}}
	nth := map[[2]string]int{}
	for i := range tests {
		t := &tests[i]
		if t.Run != "" {
			x.byRun[t.Run] = t
			x.names = append(x.names, t.Run)
		}
		for _, m := range slices.Compact([]string{t.Method, ""}) { // a curve may leave its method to the runs file
			nth[[2]string{t.Lot, m}]++
			key := [3]string{t.Lot, m, cmp.Or(t.Replicate, fmt.Sprint(nth[[2]string{t.Lot, m}]))}
			if _, twice := x.byKey[key]; twice {
				x.byKey[key] = nil
			} else {
				x.byKey[key] = t
			}
		}
	}
	return x
}

func (x index) find(r *Run) *record.Test {
	if r.Run != "" {
		return x.byRun[r.Run]
	}
	return x.byKey[[3]string{r.Lot, r.Method, r.Replicate}]
}

// method is the method that Link gives to a run; otherwise is for one that nothing
// tells of.
func (x index) method(r *Run, otherwise string) string {
	if r.Method == "" {
		if t := x.find(r); t != nil && t.Method != "" {
			return t.Method
		}
	}
	return cmp.Or(r.Method, otherwise)
}

// take copies into a run what the runs file says of it. A run that says
// something else about its lot or method is refused: nothing tells which is right.
func (r *Run) take(t *record.Test, k Knowledge) {
	for _, x := range []struct{ name, have, want string }{{"lot", r.Lot, t.Lot}, {"method", r.Method, t.Method}} {
		if x.have != "" && x.want != "" && x.have != x.want {
			r.add(finding.Finding{Code: "run-contradicts", Severity: finding.Refused, At: r.At, Found: fmt.Sprintf("%s %s, but %s in the runs file (%s)", x.name, x.have, x.want, t.At),
				Want: "the same " + x.name, Do: "mend one of the two"})
		}
	}
	r.Run, r.Lot, r.Method, r.Sample = cmp.Or(r.Run, t.Run), cmp.Or(r.Lot, t.Lot), cmp.Or(r.Method, t.Method, k.Method), cmp.Or(r.Sample, t.Sample)
	r.Kind, r.Reason, r.Water, r.Instrument, r.TestedAt = t.Kind, t.Reason, t.Water, cmp.Or(t.Instrument, r.Instrument), t.TestedAt
	if r.Status = "ok"; t.Void {
		r.Status = "void"
		r.add(finding.Finding{Code: "run-void", Severity: finding.Note, At: r.At, Found: fmt.Sprintf("run of lot %s is void (%s) and not pooled", r.Lot, cmp.Or(r.Reason, "no reason given"))})
		return
	}
	r.checkSolids(t, Method(k.Methods, r.Method), k)
}

// checkSolids works out the solids as weighed, with the moisture as it is known
// now (the run's own, else the lot's, which may have come later), and where the
// solvent was recorded their share of the slurry. The larger of the two
// deviations is held against the method's tolerances and the policy. Nothing is
// corrected.
func (r *Run) checkSolids(t *record.Test, m method.Method, k Knowledge) {
	moisture, known := k.Moisture(r.Lot)
	if t.MoisturePct != nil {
		moisture, known = *t.MoisturePct, true
	}
	solids, ok := t.Solids(moisture, known)
	if !ok {
		return
	}
	r.SolidsG = &solids
	basis, ok := lot.Moisture(m.SolidsBasis, moisture, known)
	if !ok || m.SolidsG <= 0 {
		return
	}
	want := m.SolidsG * (1 - basis/100)
	off := 100 * (solids/want - 1) // %
	found := fmt.Sprintf("%s: %.3f g of flour at %.4g %% moisture are %.3f g of solids, %+.1f %%", r.words(), *t.FlourG, moisture, solids, off)
	wanted := fmt.Sprintf("%.3f g by method %s within %g %%", want, m.ID, m.ToleranceSolidsPct)
	worst := math.Abs(off)
	if t.SolventG != nil && *t.SolventG > 0 {
		// Without a share (a sucrose strength in words, a mass beyond belief) the solids decide.
		w, err := slurry.Check(m, moisture, *t.FlourG, *t.SolventG)
		var beyond *slurry.RangeError
		switch {
		case err == nil:
			found += fmt.Sprintf("; in %.2f g of solvent they are %.2f %% of the slurry, %+.1f %%", *t.SolventG, w.Fill.SolidsPct, *w.ShareOffPct)
			wanted += fmt.Sprintf(", and %.2f %% of the slurry likewise", w.Fill.SolidsPct/(1+*w.ShareOffPct/100))
			worst = max(worst, math.Abs(*w.ShareOffPct))
		case errors.As(err, &beyond):
			r.add(finding.Finding{Code: "solids-share-unknown", Severity: finding.Doubt, At: t.At, Found: fmt.Sprintf("%s: %s of %g %s", r.words(), beyond.What, beyond.Value, beyond.Unit),
				Want: fmt.Sprintf("%g to %g %s", beyond.Low, beyond.High, beyond.Unit), Do: "mend what was weighed in: the solids' share of the slurry could not be told"})
		}
	}
	if worst <= m.ToleranceSolidsPct {
		return
	}
	f := finding.Finding{Code: conformity.SolidsOff, Severity: finding.Doubt, At: t.At, Found: found, Want: wanted,
		Do: "repeat the run with flour and solvent weighed in for the moisture; no viscosity is corrected"}
	if k.Policy.Refuses(conformity.SolidsOff) || worst > m.RefuseSolidsPct && !k.Policy.Waives(conformity.SolidsOff) {
		f.Severity = finding.Refused
	}
	r.add(f)
}

// words name the run: "run R0012 of lot N24-001".
func (r *Run) words() string {
	if r.Run == "" {
		return "lot " + r.Lot
	}
	return "run " + r.Run + " of lot " + r.Lot
}
