package weighing

import (
	"fmt"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/slurry"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// findings says what a person must know before using the figures. own is the
// method as it stands, m with the solids that were asked for.
func findings(r *Result, own, m method.Method) finding.List {
	var l finding.List
	doubt := func(code, found, want, do string) {
		l.Add(finding.Finding{Code: code, Severity: finding.Doubt, Found: found, Want: want, Do: do})
	}
	note := func(code, found, do string) {
		l.Add(finding.Finding{Code: code, Severity: finding.Note, Found: found, Do: do})
	}
	r.weighed(&l, m)
	if m.Example {
		doubt("method-example", fmt.Sprintf("method %s is an example that shows the form only", m.ID), "your own method sheet", "make a method file of it and weigh in by that before results are compared")
	}
	if w := r.WeighIn.MoisturePct; w < slurry.UsualMoistureLow || w > slurry.UsualMoistureHigh {
		doubt("moisture-unusual", fmt.Sprintf("moisture %.4g %% of the flour as it is", w), fmt.Sprintf("%g to %g %% of a flour in trade", slurry.UsualMoistureLow, slurry.UsualMoistureHigh), "check the figure and its basis, then the flour")
	}
	if own.SolidsG != m.SolidsG {
		doubt("solids-changed", fmt.Sprintf("%g g of solids instead of the %g g of method %s", m.SolidsG, own.SolidsG, m.ID), "the method's solids", "give these runs a method of their own: curves of different solids are never pooled")
	}
	l = append(l, convention(r, m))
	if len(r.Readings) > 0 {
		low, high := r.Readings[0].SolventG, r.Readings[0].SolventG
		for _, x := range r.Readings {
			low, high = min(low, x.SolventG), max(high, x.SolventG)
		}
		doubt("strength-unclear", fmt.Sprintf("%q and %q can be read in %d ways, from %.2f to %.2f g of solvent; here it is %s", written(m), volume(m), len(r.Readings), low, high, r.Readings[0].Means),
			fmt.Sprintf("a method sheet that says what %q and %q mean", written(m), volume(m)), "settle it before results are compared, and write strength_unit (% w/w or % w/v) and solvent_mL or solvent_g accordingly")
	}
	if len(r.Implied) > 0 {
		l = append(l, implied(r, m))
	}
	if m.Solvent == trait.Sucrose {
		note("sucrose-diluted", fmt.Sprintf("the flour's own water brings the liquid from %.1f to %.1f %% sucrose", r.Solvent.SucrosePct, r.WeighIn.Method.SucrosePct), "")
	}
	if m.Solvent == trait.Inhibitor {
		note("strength-is-method", fmt.Sprintf("%s belongs to the method: 1 and 12 mmol/L are two methods, and their runs are never pooled", m.SolventWords()), "")
		if !r.Solvent.Known {
			doubt("strength-unknown", fmt.Sprintf("the inhibitor's strength is %q", m.SolventWords()), "a substance and a number whose grams are known", "put substance, strength and strength_unit into the method file (g/L for anything but silver nitrate)")
		}
	}
	return append(l, boiling(r, m)...)
}

func written(m method.Method) string { return fmt.Sprintf("%g %s", m.Strength.Value, m.Strength.Unit) }

// volume is the solvent as the method states it: "25 mL".
func volume(m method.Method) string {
	if m.SolventML > 0 {
		return fmt.Sprintf("%g mL", m.SolventML)
	}
	return fmt.Sprintf("%g g", m.SolventG)
}

// convention says what the method keeps constant, and what the other way comes to.
func convention(r *Result, m method.Method) finding.Finding {
	f := r.WeighIn
	byMethod, other := "the total fill constant", volume(m)+" of solvent regardless of moisture"
	if f.Method.Convention == method.KeepsSolvent {
		byMethod, other = other, "a constant total fill"
	}
	out := finding.Finding{Code: "convention", Severity: finding.Note, Found: fmt.Sprintf("method %s keeps %s: %.1f g in all and %.2f %% solids; %s would give %.1f g and %.2f %%",
		m.ID, byMethod, f.Method.TotalG, f.Method.SolidsPct, other, f.Other.TotalG, f.Other.SolidsPct), Do: "never mix the two within one method"}
	if !r.Method.Stated {
		out.Severity, out.Code = finding.Doubt, "convention-unstated"
		out.Found = fmt.Sprintf("method %s does not say what it keeps constant when moisture changes; %s is taken: %.1f g in all and %.2f %% solids, where %s would give %.1f g and %.2f %%",
			m.ID, byMethod, f.Method.TotalG, f.Method.SolidsPct, other, f.Other.TotalG, f.Other.SolidsPct)
		out.Want, out.Do = "constant = \"total fill\" or \"solvent\"", "ask how the flour was weighed in, and write it into the method file"
	}
	return out
}

// implied says what a total fill that does not go with solids and solvent would mean.
func implied(r *Result, m method.Method) finding.Finding {
	verb := "is quoted for"
	if !r.WeighIn.Agrees {
		verb = "is the total fill of"
	}
	var would []string
	for _, i := range r.Implied {
		text := fmt.Sprintf("with %s counted (%.2f g), %.1f mL of the method's solvent", i.Counted, i.FlourG, i.VolumeML)
		if i.SucrosePct != nil {
			text += fmt.Sprintf(" or %g mL of sucrose %.1f %% by mass", m.SolventML, *i.SucrosePct)
		}
		would = append(would, text)
	}
	return finding.Finding{Code: "fill-implied", Severity: finding.Doubt,
		Found: fmt.Sprintf("%g g %s %s, but %g g of solids and %s of %s weigh %.1f g by the density table; %g g would be, %s",
			r.Implied[0].FillG, verb, m.ID, m.SolidsG, volume(m), m.SolventWords(), r.WeighIn.SumG, r.Implied[0].FillG, strings.Join(would, "; ")),
		Want: fmt.Sprintf("a total fill within %g g of solids and solvent", m.ToleranceFillG), Do: "settle on the method sheet which of solids, volume, strength and fill is meant before results are compared"}
}

// weighed judges what was weighed in by the moisture known now.
func (r *Result) weighed(l *finding.List, m method.Method) {
	w := r.AsWeighed
	if w == nil {
		return
	}
	found := fmt.Sprintf("%.3f g of dry solids as weighed, %+.1f %%", w.SolidsG, w.SolidsOffPct)
	if w.ShareOffPct != nil {
		found += fmt.Sprintf("; their share of the slurry %+.1f %%", *w.ShareOffPct)
	}
	f := finding.Finding{Code: "solids-as-weighed", Severity: finding.Note, Found: found + ", " + slurry.Within}
	if w.Verdict != slurry.Within {
		f = finding.Finding{Code: "solids-off", Severity: finding.Doubt, Found: found, Want: fmt.Sprintf("%.3f g of method %s within %g %%", w.WantG, m.ID, m.ToleranceSolidsPct),
			Do: "repeat the run with the flour weighed in for this moisture; no viscosity is corrected"}
	}
	if w.Verdict == slurry.Refused {
		f.Severity = finding.Refused
	}
	l.Add(f)
}

// boiling says how the programme stands to the boiling point.
func boiling(r *Result, m method.Method) finding.List {
	b, l := r.Boiling, finding.List(nil)
	if strings.HasSuffix(r.PressureFrom, "assumed") {
		l.Add(finding.Finding{Code: "pressure-assumed", Severity: finding.Note, Found: "no altitude or pressure: sea level is assumed, where the slurry boils at " + fmt.Sprintf("%.1f °C", b.PointC),
			Do: "give --pressure at the bench (not reduced to sea level) or --altitude; a 95 °C hold in water boils above about 1490 m"})
	}
	where := fmt.Sprintf("%s, %.0f hPa", r.PressureFrom, b.PressureHPa)
	switch {
	case r.Capped:
		l.Add(finding.Finding{Code: "programme-capped", Severity: finding.Doubt, Found: fmt.Sprintf("the programme of %s reaches %.1f °C and its slurry boils at %.1f °C (%s): it is held at %.1f °C", m.ID, b.HottestC, b.PointC, where, b.LimitC),
			Want: "the method's own programme", Do: "make a method of its own of the capped programme: its runs are never pooled with uncapped ones"})
	case b.Verdict == slurry.Close:
		l.Add(finding.Finding{Code: "programme-near-boiling", Severity: finding.Doubt, Found: fmt.Sprintf("the programme of %s reaches %.1f °C, and its slurry boils at %.1f °C (%s)", m.ID, b.HottestC, b.PointC, where),
			Want: fmt.Sprintf("at most %.1f °C", b.LimitC), Do: "measure the pressure at the bench and give it with --pressure, or add --cap"})
	}
	return l
}
