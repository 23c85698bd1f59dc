// Package method holds test protocols as data.
//
//  1. A protocol is one small TOML file: weigh-in, its basis and what it keeps
//     constant, solvent and strength, speeds, temperature programme, onset
//     criterion, tolerances, source, caution. docs/methods.md lists every key.
//  2. Parse reads one, whoever wrote it, by the same rules: unknown keys and
//     impossible figures are refused with the line to mend.
//  3. Builtin and Lookup serve the embedded protocols; a laboratory's own come
//     in through Parse or Open.
//  4. Cautions names what of a protocol can hurt people or the drain.
//
// It knows protocols, not runs: whether a curve kept to its programme is
// dataset/pasting's business. Runs of two protocols that Differs tells apart
// never share a column. Only pasting protocols are read for now.
package method

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"flourcast/dataset/trait"
)

// Pasting is the family of pasting protocols.
const Pasting = "pasting"

// Method is one protocol. Figures that a protocol does not state are absent:
// SolventML or SolventG, TotalFillG, QuotedFillG, StirRPM and TestRPM are then
// 0, which Parse refuses as a stated figure; so is an absent Strength's Value.
type Method struct {
	ID, Label, Family string
	// Product is the product class that the protocol is made for; "" is any.
	Product string
	Solvent trait.Solvent
	// SolventStrength in words, "silver nitrate 12 mmol/L": as the file writes
	// it, or made of Strength. Two strengths are two methods.
	SolventStrength string
	Strength        Strength
	// SolidsG is the flour weighed in, g, on SolidsBasis: "as is", "dry", or a
	// moisture such as "14 %".
	SolidsG     float64
	SolidsBasis string
	// The solvent is either measured out, SolventML, at SolventC in °C, or
	// weighed out, SolventG.
	SolventML, SolventG, SolventC float64
	// TotalFillG is flour and solvent together, g. QuotedFillG is a total fill
	// that others quote for the method: compared, never weighed in by.
	TotalFillG, QuotedFillG float64
	// Constant is what stays the same when the flour's moisture changes; see Keeps.
	Constant Convention
	// StirRPM is the speed of the first StirS seconds, TestRPM the speed after.
	StirRPM, StirS, TestRPM float64
	// Programme is the temperature programme, times strictly rising; straight
	// lines between the points.
	Programme []Point
	// ToleranceC is how far, in °C, a measured temperature may lie from the
	// programme before it is doubted.
	ToleranceC float64
	// ToleranceRatePct is how far a heating or cooling rate, ToleranceRPMPct how
	// far the speed may lie from the method's, % of it; ToleranceS is by how much
	// the hot hold may be longer or shorter, s.
	ToleranceRatePct, ToleranceRPMPct, ToleranceS float64
	// ToleranceSolidsPct and RefuseSolidsPct are how far, in % of the method's
	// dry solids, those as weighed may lie off before a run is doubted, and
	// before it is refused. ToleranceFillG is how far, in g, a stated total fill
	// may lie from solids and solvent.
	ToleranceSolidsPct, RefuseSolidsPct, ToleranceFillG float64

	Onset Onset
	// ViscosityAtC are the temperatures, °C, at which the viscosity on heating is
	// a feature: some of 60, 65 … 95.
	ViscosityAtC []float64
	// Example marks a protocol that shows the form only and is to be replaced
	// by the laboratory's own record.
	Example bool
	// Source says whence the figures come; Caution what can hurt people.
	Source, Caution string
}

// Point is one corner of a temperature programme.
type Point struct {
	TimeS        float64 `toml:"time_s" json:"time_s"`
	TemperatureC float64 `toml:"temperature_C" json:"temperature_C"`
}

// Onset is the criterion of the pasting temperature: viscosity rises by at
// least RiseMPas within WithinS seconds, and keeps on rising. At says which
// moment of that first window gives the temperature: "end", "middle" or "start".
type Onset struct {
	RiseMPas float64 `toml:"rise_mPas" json:"rise_mPas"`
	WithinS  float64 `toml:"within_s" json:"within_s"`
	At       string  `toml:"at" json:"at"`
}

// Defaults for what a protocol leaves out.
const (
	DefaultStirS      = 10.0 // s, of the general profiles, from memory
	DefaultToleranceC = 2.0  // °C, ours: wide, it catches a wrong programme and not a tired heater

	// Of the conduct of a run, ours: about what a sound block and drive keep to.
	DefaultToleranceRatePct = 10.0 // %
	DefaultToleranceRPMPct  = 2.0  // %
	DefaultToleranceS       = 15.0 // s

	DefaultSolventC = 20.0 // °C, the usual calibration temperature of glassware

	// Of the weigh-in, ours. Viscosity rises three to five times as steeply as
	// solids do (from memory), so 1 % of solids is as much as good duplicates
	// differ, and 3 % as much as lots do.
	DefaultToleranceSolidsPct = 1.0
	DefaultRefuseSolidsPct    = 3.0
	DefaultToleranceFillG     = 0.1
)

// defaultViscosityAtC is 65, 75 and 85 °C: below, about and above where most
// wheat starch pastes in water. Ours.
func defaultViscosityAtC() []float64 { return []float64{65, 75, 85} }

// DefaultOnset is 24 mPa·s within 6 s, at the end of the window (from memory:
// the usual threshold of the general profiles; Bao 2008, Rice Science 15:69-72,
// notes that it reads higher than the true onset).
func DefaultOnset() Onset { return Onset{RiseMPas: 24, WithinS: 6, At: "end"} }

// Unknown is a method of which only the name is known: no programme, no
// solvent, the default onset. Its curves are staged by measured temperature.
func Unknown(id string) Method {
	return Method{ID: id, Label: id, Family: Pasting, StirS: DefaultStirS, SolventC: DefaultSolventC, ToleranceC: DefaultToleranceC,
		ToleranceRatePct: DefaultToleranceRatePct, ToleranceRPMPct: DefaultToleranceRPMPct, ToleranceS: DefaultToleranceS, ViscosityAtC: defaultViscosityAtC(),
		ToleranceSolidsPct: DefaultToleranceSolidsPct, RefuseSolidsPct: DefaultRefuseSolidsPct, ToleranceFillG: DefaultToleranceFillG, Onset: DefaultOnset()}
}

// HasProgramme reports whether the temperature programme is known.
func (m Method) HasProgramme() bool { return len(m.Programme) >= 2 }

// StaysHot reports that the programme is known and never cools: the test ends hot, as
// that of the stirring number does.
func (m Method) StaysHot() bool {
	for i := 1; i < len(m.Programme); i++ {
		if m.Programme[i].TemperatureC < m.Programme[i-1].TemperatureC {
			return false
		}
	}
	return m.HasProgramme()
}

// TemperatureAt is the programme's temperature, °C, at a time, s: straight
// lines between points, the first point's before it and the last point's after
// it. It panics when the method has no programme; ask HasProgramme first.
func (m Method) TemperatureAt(timeS float64) float64 {
	if !m.HasProgramme() {
		panic("method: TemperatureAt of a method without a programme")
	}
	p := m.Programme
	return between(p, sort.Search(len(p), func(i int) bool { return p[i].TimeS > timeS }), timeS)
}

// TemperaturesAt is TemperatureAt of many times, which do not fall.
func (m Method) TemperaturesAt(timesS []float64) []float64 {
	if !m.HasProgramme() {
		panic("method: TemperaturesAt of a method without a programme")
	}
	out := make([]float64, len(timesS))
	i := 0
	for k, t := range timesS {
		for i < len(m.Programme) && m.Programme[i].TimeS <= t {
			i++
		}
		out[k] = between(m.Programme, i, t)
	}
	return out
}

// between is the temperature of a programme at a time, of whose points i is the first
// behind it.
func between(p []Point, i int, timeS float64) float64 {
	switch {
	case i == 0:
		return p[0].TemperatureC
	case i == len(p):
		return p[len(p)-1].TemperatureC
	}
	a, b := p[i-1], p[i]
	share := (timeS - a.TimeS) / (b.TimeS - a.TimeS)
	return a.TemperatureC + share*(b.TemperatureC-a.TemperatureC)
}

// DurationS is how long the programme runs, s; 0 when it is not known.
func (m Method) DurationS() float64 {
	if !m.HasProgramme() {
		return 0
	}
	return m.Programme[len(m.Programme)-1].TimeS
}

// Differs names what keeps runs of two methods out of one column: solids and
// their basis, solvent and its strength, volume, mass or fill and which of them
// is constant, speeds, programme, onset criterion. Tolerances, and the temperature
// at which a solvent is measured out (0.2 % of its mass), do not. nil means that the two are one protocol under two names.
func (m Method) Differs(o Method) []string {
	var out []string
	add := func(name string, differs bool) {
		if differs {
			out = append(out, name)
		}
	}
	add("solids_g", m.SolidsG != o.SolidsG)
	add("solids_basis", m.SolidsBasis != o.SolidsBasis)
	add("solvent", m.Solvent != o.Solvent)
	add("solvent_strength", m.SolventStrength != o.SolventStrength)
	add("solvent_mL", m.SolventML != o.SolventML)
	add("solvent_g", m.SolventG != o.SolventG)
	add("total_fill_g", m.TotalFillG != o.TotalFillG)
	mine, _ := m.Keeps()
	theirs, _ := o.Keeps()
	add("constant", mine != theirs)
	add("stir_rpm", m.StirRPM != o.StirRPM)
	add("stir_s", m.StirS != o.StirS)
	add("test_rpm", m.TestRPM != o.TestRPM)
	add("programme", !sameProgramme(m.Programme, o.Programme))
	add("onset", m.Onset != o.Onset)
	return out
}

func sameProgramme(a, b []Point) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// String is the weigh-in in one line, for notes and reports.
func (m Method) String() string {
	var parts []string
	if m.SolidsG > 0 {
		parts = append(parts, fmt.Sprintf("%g g (%s basis)", m.SolidsG, m.SolidsBasis))
	}
	if m.SolventML > 0 {
		parts = append(parts, fmt.Sprintf("%g mL %s", m.SolventML, m.SolventWords()))
	}
	if m.SolventG > 0 {
		parts = append(parts, fmt.Sprintf("%g g %s", m.SolventG, m.SolventWords()))
	}
	if m.TotalFillG > 0 {
		parts = append(parts, fmt.Sprintf("total fill %g g", m.TotalFillG))
	}
	if m.TestRPM > 0 {
		parts = append(parts, fmt.Sprintf("%g rpm", m.TestRPM))
	}
	if d := m.DurationS(); d > 0 {
		parts = append(parts, fmt.Sprintf("%g min", math.Round(d/6)/10))
	}
	if len(parts) == 0 {
		return m.ID
	}
	return m.ID + ": " + strings.Join(parts, ", ")
}
