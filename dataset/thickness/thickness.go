// Package thickness tells how force and work change with the thickness of the
// cooked strand, and corrects readings to a stated thickness.
//
//  1. Slopes estimates, for each product, protocol and reading, one common slope
//     within lots: each lot's own means are taken off first, so that how lots
//     differ plays no part.
//  2. Correct takes slope × (thickness − stated thickness) off each reading, where
//     the slope is known well enough.
//
// That the reading follows thickness along a straight line: Oh and others 1983,
// Cereal Chem 60:433 (2.25 to 2.85 mm). Ratios and scores are left alone. It
// refuses to correct by a slope that could be zero, and leaves a reading out
// whose thickness is not known: corrected and uncorrected ones do not mix.
package thickness

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

// ID is the trait of the thickness.
const ID = "thickness_mm"

// Limits, ours: with fewer degrees of freedom a slope is not told, and not used.
const (
	fewestToTell = 3
	fewestToUse  = 10
)

// Row is one reading: figures by trait id, thickness among them.
type Row struct {
	Lot, Product, Protocol string
	Values                 map[string]float64
}

// Slope is the slope of one reading within lots: PerMM in the reading's unit per
// mm, its standard error and 95 % interval (Student's t with Readings − Lots − 1
// degrees of freedom). Lots are those with two readings or more, Readings theirs;
// FromMM and ToMM the thicknesses seen. Corrected tells that readings were brought
// to AtMM.
type Slope struct {
	Product   string   `json:"product"`
	Protocol  string   `json:"protocol"`
	Response  string   `json:"response"`
	PerMM     float64  `json:"per_mm"`
	SE        float64  `json:"se"`
	Low       float64  `json:"low"`
	High      float64  `json:"high"`
	Lots      int      `json:"lots"`
	Readings  int      `json:"readings"`
	FromMM    float64  `json:"from_mm"`
	ToMM      float64  `json:"to_mm"`
	Corrected bool     `json:"corrected"`
	AtMM      *float64 `json:"at_mm,omitempty"`
}

// DF are the degrees of freedom of the slope.
func (s Slope) DF() int { return s.Readings - s.Lots - 1 }

type key struct{ product, protocol string }

// Slopes estimates every slope that rows allow: for products and protocols in
// order of appearance, readings in the glossary's order.
//
//	slope = Σ (x − x̄_lot)(y − ȳ_lot) / Σ (x − x̄_lot)²
//
// A product and protocol whose thickness does not vary within lots has none.
func Slopes(rows []Row) (out []Slope) {
	var keys []key
	of := map[key][]Row{}
	for _, r := range rows {
		k := key{r.Product, r.Protocol}
		if of[k] == nil {
			keys = append(keys, k)
		}
		of[k] = append(of[k], r)
	}
	for _, k := range keys {
		for t := range trait.Each() {
			if !moves(t) {
				continue
			}
			if s, ok := within(of[k], t.ID); ok {
				s.Product, s.Protocol, s.Response = k.product, k.protocol, t.ID
				out = append(out, s)
			}
		}
	}
	return out
}

// moves reports whether a reading is a force that the piece resists with, or what
// grows with one. How hard it sticks is not.
func moves(t trait.Trait) bool {
	return t.ID != "adhesive_force_N" && t.Role == trait.RoleResponse && t.Family == "texture" && slices.Contains([]string{"force", "work", "pressure"}, t.Dimension)
}

// within is the common slope of a reading on thickness within lots.
func within(rows []Row, id string) (s Slope, ok bool) {
	var lots []string
	x, y := map[string][]float64{}, map[string][]float64{}
	for _, r := range rows {
		thick, ok1 := r.Values[ID]
		v, ok2 := r.Values[id]
		if !ok1 || !ok2 {
			continue
		}
		if x[r.Lot] == nil {
			lots = append(lots, r.Lot)
		}
		x[r.Lot], y[r.Lot] = append(x[r.Lot], thick), append(y[r.Lot], v)
	}
	s.FromMM, s.ToMM = math.Inf(1), math.Inf(-1)
	var sxx, sxy, syy, size float64
	for _, lot := range lots {
		xs, ys := x[lot], y[lot]
		if len(xs) < 2 {
			continue
		}
		s.Lots++
		s.Readings += len(xs)
		mx, my := mean(xs), mean(ys)
		for i := range xs {
			dx, dy := xs[i]-mx, ys[i]-my
			sxx, sxy, syy, size = sxx+dx*dx, sxy+dx*dy, syy+dy*dy, size+xs[i]*xs[i]
			s.FromMM, s.ToMM = min(s.FromMM, xs[i]), max(s.ToMM, xs[i])
		}
	}
	if s.DF() < fewestToTell || sxx <= 1e-12*size {
		return Slope{}, false
	}
	s.PerMM = sxy / sxx
	s.SE = math.Sqrt(max(syy-s.PerMM*sxy, 0) / float64(s.DF()) / sxx)
	reach := distuv.StudentsT{Sigma: 1, Nu: float64(s.DF())}.Quantile(0.975) * s.SE
	s.Low, s.High = s.PerMM-reach, s.PerMM+reach
	return s, true
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// Correct is Slopes, and brings the readings of rows to a thickness, in their
// Values: y − slope·(x − atMM). A reading whose slope is known from fewer than 10
// degrees of freedom, or whose interval holds zero, stays as it is, with a doubt;
// one without a thickness is taken out, with a doubt, where others are corrected.
func Correct(rows []Row, atMM float64) ([]Slope, finding.List) {
	slopes := Slopes(rows)
	var fl finding.List
	column := finding.Place{Column: ID}
	for i := range slopes {
		s := &slopes[i]
		what := fmt.Sprintf("%s of %s by protocol %q", trait.Label(s.Response), s.Product, s.Protocol)
		if s.DF() < fewestToUse || (s.Low <= 0 && s.High >= 0) {
			fl.Add(finding.Finding{Code: "thickness-not-corrected", Severity: finding.Doubt, At: column, Found: fmt.Sprintf("%s: slope %.3g per mm within lots (%.3g to %.3g) from %d readings of %d lots", what, s.PerMM, s.Low, s.High, s.Readings, s.Lots),
				Want: fmt.Sprintf("an interval without zero and %d degrees of freedom", fewestToUse), Do: "measure more pieces of different thickness of each lot; the readings were left as they are"})
			continue
		}
		if atMM < s.FromMM || atMM > s.ToMM {
			fl.Add(finding.Finding{Code: "thickness-beyond", Severity: finding.Doubt, At: column, Found: fmt.Sprintf("%s: brought to %g mm", what, atMM), Want: fmt.Sprintf("a thickness among those seen, %.3g to %.3g mm", s.FromMM, s.ToMM), Do: "choose a thickness within the range"})
		}
		s.Corrected, s.AtMM = true, &atMM
		without := 0
		for _, r := range rows {
			v, there := r.Values[s.Response]
			if !there || r.Product != s.Product || r.Protocol != s.Protocol {
				continue
			}
			if thick, ok := r.Values[ID]; ok {
				r.Values[s.Response] = v - s.PerMM*(thick-atMM)
			} else {
				delete(r.Values, s.Response)
				without++
			}
		}
		if without > 0 {
			fl.Add(finding.Finding{Code: "thickness-missing", Severity: finding.Doubt, At: column, Found: fmt.Sprintf("%s: %d readings without a thickness, left out", what, without), Want: "a thickness for every reading", Do: "measure it, or join without a correction"})
		}
	}
	if len(slopes) == 0 {
		fl.Add(finding.Finding{Code: "thickness-not-corrected", Severity: finding.Doubt, At: column, Found: "no slope: thickness is not there, or does not vary within lots", Want: "several pieces of each lot with their thickness", Do: "measure the thickness of each piece; the readings were left as they are"})
	}
	return slopes, fl
}
