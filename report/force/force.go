// Package force shows the forces of a document in gram-force instead of newtons, for
// people who think in it. Only what is shown changes: results and JSON stay in N.
//
//  1. Columns of tables with the unit N, N·s or N·mm are converted, cell by cell, and
//     so are the axes of pictures, with all that is drawn on them.
//  2. Everything else, and every document in N, is handed on as it is.
//
// 1 gf = 9.80665 mN exactly (by definition). It refuses any other unit.
package force

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/chart"
	"flourcast/report/document"
)

// Units are the units of force to choose from.
var Units = []string{"N", "gf"}

// UnitError says which unit was asked for.
type UnitError struct{ Found string }

func (e *UnitError) Error() string {
	return fmt.Sprintf("force: found unit %q, expected %s", e.Found, strings.Join(Units, " or "))
}

// Check returns a *UnitError unless the unit is one of Units.
func Check(unit string) error {
	if !slices.Contains(Units, unit) {
		return &UnitError{unit}
	}
	return nil
}

// shown are the units that hold a force, and what stands behind it.
var shown = map[string]string{"N": "", "N·s": "·s", "N·mm": "·mm"}

// In is the document with its forces in the unit, one of Units; d itself is not
// changed. It panics on another unit.
func In(d document.Document, unit string) document.Document {
	if err := Check(unit); err != nil {
		panic(err.Error())
	}
	if unit == "N" {
		return d
	}
	d.Sections = slices.Clone(d.Sections)
	for i := range d.Sections {
		s := &d.Sections[i]
		s.Blocks = slices.Clone(s.Blocks)
		for k, b := range s.Blocks {
			switch b := b.(type) {
			case *document.Table:
				s.Blocks[k] = table(b)
			case document.Picture:
				s.Blocks[k] = document.Picture{Figure: figure(b.Figure)}
			}
		}
	}
	return d
}

func gf(newton float64) float64 {
	v, err := trait.Convert(newton, "N", "gf")
	if err != nil {
		panic("force: " + err.Error()) // both are units of the glossary
	}
	return v
}

// text is a force in gf: whole grams from 100, else two or three figures.
func text(v float64) string {
	switch a := max(v, -v); {
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 1:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2g", v)
}

func table(t *document.Table) *document.Table {
	out := *t
	out.Columns, out.Rows = slices.Clone(t.Columns), make([][]document.Cell, len(t.Rows))
	for i, row := range t.Rows {
		out.Rows[i] = slices.Clone(row)
	}
	for j, c := range t.Columns {
		behind, is := shown[c.Unit]
		if !is {
			continue
		}
		out.Columns[j].Unit = "gf" + behind
		out.Columns[j].Name = strings.Replace(c.Name, "_N", "_gf", 1)
		for _, row := range out.Rows {
			if row[j].Value != nil {
				v := gf(*row[j].Value)
				row[j] = document.Number(v, text(v), row[j].Notes...)
			}
		}
	}
	return &out
}

func figure(f chart.Figure) chart.Figure {
	f.Panels = slices.Clone(f.Panels)
	for i := range f.Panels {
		p := &f.Panels[i]
		behind, is := shown[p.Y.Unit]
		if !is {
			continue
		}
		p.Y.Unit = "gf" + behind
		p.Series, p.Bands, p.Marks, p.HLines = slices.Clone(p.Series), slices.Clone(p.Bands), slices.Clone(p.Marks), slices.Clone(p.HLines)
		for k := range p.Series {
			s := &p.Series[k]
			s.Y, s.Low, s.High = all(s.Y), all(s.Low), all(s.High)
		}
		for k := range p.Bands {
			p.Bands[k].Low, p.Bands[k].High = all(p.Bands[k].Low), all(p.Bands[k].High)
		}
		for k := range p.Marks {
			p.Marks[k].Y = gf(p.Marks[k].Y)
		}
		for k := range p.HLines {
			p.HLines[k].At = gf(p.HLines[k].At)
		}
	}
	return f
}

func all(v []float64) []float64 {
	if v == nil {
		return nil
	}
	out := make([]float64, len(v))
	for i := range v {
		out[i] = gf(v[i])
	}
	return out
}
