// Package weighing answers what to weigh in for a pasting test, and what a
// moisture that came later means for a run already made.
//
//  1. The method is found, by name or in the laboratory's own file.
//  2. Moisture is brought to % of the flour as it is.
//  3. dataset/slurry works out flour and solvent under both conventions, what a
//     quoted total fill implies, the solids as weighed, and where it boils.
//  4. What a person must know before using the figures becomes findings.
//
// It refuses, with a *job.RequestError, figures that cannot be, a solvent whose
// strength is no number, and a programme that would boil, unless capping it was
// asked for. It corrects no viscosity.
package weighing

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/slurry"
	"flourcast/finding"
	"flourcast/study/job"
)

// Bases of a moisture.
const (
	Wet = "wet" // % of the flour as it is
	Dry = "dry" // % of the dry matter
)

// Request says what is to be weighed in. nil is not given.
type Request struct {
	Method  string          // may be empty when Methods has just one
	Methods []method.Method // a laboratory's own, beside the built-ins

	MoisturePct   *float64 // needed
	MoistureBasis string   // Wet, Dry; "" is Wet
	SolidsG       *float64 // instead of the method's, on its basis

	// What was weighed in, when the moisture came later.
	FlourG, SolventG *float64

	// At most one of the two; neither is sea level.
	AltitudeM, PressureHPa *float64
	Cap                    bool // hold a programme that comes too close to boiling below it
}

// Result is what `weigh` prints.
type Result struct {
	Schema        string            `json:"schema"`
	Method        MethodFacts       `json:"method"`
	MoistureGiven Moisture          `json:"moisture_given"`
	Solvent       slurry.Solution   `json:"solvent"`
	WeighIn       slurry.Fills      `json:"weigh_in"`
	Readings      []slurry.Reading  `json:"readings"` // what an unclear strength may mean
	Implied       []slurry.Implied  `json:"implied_by_total_fill"`
	AsWeighed     *slurry.AsWeighed `json:"as_weighed"` // null unless asked for
	Boiling       slurry.Boiling    `json:"boiling"`
	PressureFrom  string            `json:"pressure_from"`
	Programme     []method.Point    `json:"programme"` // capped if Capped
	Capped        bool              `json:"programme_capped"`
	Cautions      []method.Caution  `json:"cautions"`
	Findings      finding.List      `json:"findings"`
}

// MethodFacts is the method as the weigh-in used it.
type MethodFacts struct {
	ID         string            `json:"id"`
	Label      string            `json:"label"`
	Product    string            `json:"product"`
	SolidsG    float64           `json:"solids_g"`
	Basis      string            `json:"solids_basis"`
	SolventML  *float64          `json:"solvent_mL"` // one of the two is null
	SolventG   *float64          `json:"solvent_g"`
	TotalFillG *float64          `json:"total_fill_g"` // null: not stated
	Constant   method.Convention `json:"constant"`
	Stated     bool              `json:"constant_is_stated"`
	Example    bool              `json:"example"`
	Source     string            `json:"source"`
}

// Moisture is a moisture as it was given.
type Moisture struct {
	Pct   float64 `json:"pct"`
	Basis string  `json:"basis"`
}

// Weigh works out a weigh-in. It returns a *job.RequestError for what it refuses.
func Weigh(_ context.Context, _ job.Env, q Request) (*Result, error) {
	own, err := q.method()
	if err != nil {
		return nil, err
	}
	moisture, given, err := q.moisture()
	if err != nil {
		return nil, err
	}
	m := own
	if q.SolidsG != nil {
		if m, err = slurry.WithSolids(own, *q.SolidsG); err != nil {
			return nil, asked(err)
		}
	}
	r := &Result{Schema: "flourcast.weigh/1", Method: factsOf(m), MoistureGiven: given, Readings: []slurry.Reading{}, Implied: []slurry.Implied{}, Cautions: m.Cautions()}
	if r.Solvent, err = slurry.Prepare(m); err != nil {
		return nil, asked(err)
	}
	if r.WeighIn, err = slurry.WeighIn(m, moisture); err != nil {
		return nil, asked(err)
	}
	r.Readings = append(r.Readings, slurry.Readings(m)...)
	if fill := questionable(m, r.WeighIn); fill > 0 {
		r.Implied = append(r.Implied, slurry.Imply(fill, m, r.WeighIn, r.Solvent)...)
	}
	if err := q.asWeighed(r, m); err != nil {
		return nil, err
	}
	if err := q.boil(r, m); err != nil {
		return nil, err
	}
	r.Findings = findings(r, own, m)
	return r, nil
}

// questionable is a total fill that does not go with solids and solvent: the
// method's own, or one that is quoted for it; 0 if there is none.
func questionable(m method.Method, f slurry.Fills) float64 {
	switch {
	case !f.Agrees:
		return m.TotalFillG
	case m.QuotedFillG > 0 && math.Abs(m.QuotedFillG-f.SumG) > m.ToleranceFillG:
		return m.QuotedFillG
	}
	return 0
}

func (q Request) method() (method.Method, error) {
	id := q.Method
	if id == "" && len(q.Methods) == 1 {
		id = q.Methods[0].ID
	}
	known := append(slices.Clone(q.Methods), method.Builtin()...)
	var names []string
	for _, m := range known {
		if m.ID == id {
			return m, nil
		}
		names = append(names, m.ID)
	}
	found := fmt.Sprintf("method %q", id)
	if id == "" {
		found = "no method"
	}
	return method.Method{}, &job.RequestError{Found: found, Want: "one of " + strings.Join(names, ", "), Do: "name it with --method, or give your own file with --method-file"}
}

func (q Request) moisture() (pct float64, given Moisture, err error) {
	if q.MoisturePct == nil {
		return 0, given, &job.RequestError{Found: "no moisture", Want: "the flour's moisture in %", Do: "measure it and give it with --moisture"}
	}
	switch given = (Moisture{*q.MoisturePct, q.MoistureBasis}); q.MoistureBasis {
	case Dry:
		pct, err = slurry.WetMoisture(given.Pct)
		return pct, given, asked(err)
	case "", Wet:
		given.Basis = Wet
		return given.Pct, given, nil // WeighIn checks it
	}
	return 0, given, &job.RequestError{Found: fmt.Sprintf("moisture basis %q", q.MoistureBasis), Want: Wet + " (% of the flour as it is) or " + Dry + " (% of the dry matter)"}
}

func (q Request) asWeighed(r *Result, m method.Method) error {
	if q.FlourG == nil {
		if q.SolventG != nil {
			return &job.RequestError{Found: "solvent as weighed without flour as weighed", Want: "both, or the flour alone", Do: "add --weighed-flour"}
		}
		return nil
	}
	solvent := 0.0
	if q.SolventG != nil {
		solvent = *q.SolventG
		if solvent == 0 {
			return &job.RequestError{Found: "0 g of solvent as weighed", Want: "what was weighed in, g", Do: "leave --weighed-solvent out if it was not recorded"}
		}
	}
	w, err := slurry.Check(m, r.WeighIn.MoisturePct, *q.FlourG, solvent)
	r.AsWeighed = &w
	return asked(err)
}

// boil holds the programme against the boiling point at the laboratory.
func (q Request) boil(r *Result, m method.Method) error {
	hPa, headroom := 0.0, slurry.HeadroomAltitudeC
	switch {
	case q.AltitudeM != nil && q.PressureHPa != nil:
		return &job.RequestError{Found: "altitude and pressure", Want: "one of the two", Do: "give the pressure at the bench if you can measure it"}
	case q.PressureHPa != nil:
		hPa, headroom, r.PressureFrom = *q.PressureHPa, slurry.HeadroomMeasuredC, "pressure at the bench"
	default:
		altitude := 0.0
		r.PressureFrom = "standard atmosphere at sea level, assumed"
		if q.AltitudeM != nil {
			altitude = *q.AltitudeM
			r.PressureFrom = fmt.Sprintf("standard atmosphere at %g m", altitude)
		}
		var err error
		if hPa, err = slurry.Pressure(altitude); err != nil {
			return asked(err)
		}
	}
	b, err := slurry.Boil(m.Programme, r.WeighIn.Method.SucrosePct, hPa, headroom)
	if err != nil {
		return asked(err)
	}
	r.Boiling, r.Programme = b, m.Programme
	switch {
	case b.Verdict == slurry.Clear:
	case q.Cap:
		r.Programme, r.Capped = slurry.Cap(m.Programme, b.LimitC), true
	case b.Verdict == slurry.Boils:
		return &job.RequestError{
			Found: fmt.Sprintf("a programme that would boil: %s reaches %.1f °C, and its slurry boils at %.1f °C (%s, %.0f hPa)", m.ID, b.HottestC, b.PointC, r.PressureFrom, hPa),
			Want:  fmt.Sprintf("at most %.1f °C", b.LimitC),
			Do:    fmt.Sprintf("use a method with a cooler hold, or add --cap for the programme held at %.1f °C, which is a method of its own", b.LimitC)}
	}
	return nil
}

// asked turns what dataset/slurry refuses into a fault of the request.
func asked(err error) error {
	var r *slurry.RangeError
	var s *slurry.UnknownStrengthError
	switch {
	case errors.As(err, &r):
		return &job.RequestError{Found: fmt.Sprintf("%s of %g %s", r.What, r.Value, r.Unit), Want: fmt.Sprintf("%g to %g", r.Low, r.High), Do: r.Do}
	case errors.As(err, &s):
		return &job.RequestError{Found: fmt.Sprintf("the strength of the solvent of %s as %q", s.Method, s.Words), Want: "a number", Do: "put substance, strength and strength_unit into the method file instead of solvent_strength"}
	}
	return err
}

func factsOf(m method.Method) MethodFacts {
	c, stated := m.Keeps()
	return MethodFacts{ID: m.ID, Label: m.Label, Product: m.Product, SolidsG: m.SolidsG, Basis: m.SolidsBasis, SolventML: positive(m.SolventML), SolventG: positive(m.SolventG),
		TotalFillG: positive(m.TotalFillG), Constant: c, Stated: stated, Example: m.Example, Source: m.Source}
}

// positive is v, or nil for the 0 of a figure that a method does not state.
func positive(v float64) *float64 {
	if v <= 0 {
		return nil
	}
	return &v
}
