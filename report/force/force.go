// Package force shows the forces of a document in gram-force instead of newtons, for
// people who think in it. Only what is shown changes: results and JSON stay in N.
//
//  1. Columns of tables in N, N·s, N·mm, or N per unit or SD of something, are converted
//     cell by cell, and so are the axes of pictures, with all that is drawn on them.
//  2. In sentences and in cells, "3.6 N" and "3.2 to 4.0 N" are converted where they
//     stand, to as many significant digits as were written.
//  3. Everything else, findings among it, and every document in N is handed on as it is.
//
// 1 gf = 9.80665 mN exactly (by definition). It refuses any other unit.
package force

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/chart"
	"flourcast/report/document"
)

// units are the units of force to choose from.
var units = []string{"N", "gf"}

// UnitError says which unit was asked for.
type UnitError struct{ Found string }

func (e *UnitError) Error() string {
	return fmt.Sprintf("force: found unit %q, expected %s", e.Found, strings.Join(units, " or "))
}

// Check returns a *UnitError unless the unit is one of units.
func Check(unit string) error {
	if !slices.Contains(units, unit) {
		return &UnitError{unit}
	}
	return nil
}

// shown are the units that hold a force, and what stands behind it.
var shown = map[string]string{"N": "", "N·s": "·s", "N·mm": "·mm", "N per unit": " per unit", "N per SD": " per SD"}

// In is the document with its forces in the unit, one of units; d itself is not
// changed. It panics on another unit.
func In(d document.Document, unit string) document.Document {
	if err := Check(unit); err != nil {
		panic(err.Error())
	}
	if unit == "N" {
		return d
	}
	d.Title, d.Subtitle = sentence(d.Title), sentence(d.Subtitle)
	d.Meta = slices.Clone(d.Meta)
	for i := range d.Meta {
		d.Meta[i].Value = sentence(d.Meta[i].Value)
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
			case document.Paragraph:
				s.Blocks[k] = document.Paragraph(sentence(string(b)))
			case document.Callout:
				b.Title, b.Text = sentence(b.Title), sentence(b.Text)
				s.Blocks[k] = b
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

// text is v with as many significant digits as the text of the same force in N has.
func text(v float64, newton string) string {
	mantissa, _, _ := strings.Cut(newton, "e")
	digits := len(strings.TrimLeft(strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, mantissa), "0"))
	decimals := 0
	if v != 0 {
		decimals = max(0, digits-1-int(math.Floor(math.Log10(math.Abs(v)))))
	}
	return strings.Replace(strconv.FormatFloat(v, 'f', decimals, 64), "-", "−", 1)
}

const figureForm = `[−+-]?\d+(?:\.\d+)?(?:e[−-]?\d+)?`

// stated is a figure, or a range of two, with the unit behind it.
var stated = regexp.MustCompile(`(` + figureForm + `)( to )?(` + figureForm + `)? N\b`)

// sentence converts the forces that a text states with their unit. A minus sign may
// be the true one.
func sentence(s string) string {
	return stated.ReplaceAllStringFunc(s, func(found string) string {
		m := stated.FindStringSubmatch(found)
		from, ok := converted(m[1])
		to, okTo := converted(m[3])
		switch {
		case m[2] == "" && m[3] == "" && ok:
			return from + " gf"
		case m[2] != "" && ok && okTo:
			return from + m[2] + to + " gf"
		}
		return found
	})
}

var anyFigure = regexp.MustCompile(figureForm)

// everyFigure converts all figures of a cell of forces: one, or one with its interval.
func everyFigure(s string) string {
	return anyFigure.ReplaceAllStringFunc(s, func(found string) string {
		if gram, ok := converted(found); ok {
			return gram
		}
		return found
	})
}

// converted is a force in gf; ok is false for no figure, or one too large.
func converted(newton string) (gram string, ok bool) {
	v, err := strconv.ParseFloat(strings.ReplaceAll(newton, "−", "-"), 64)
	if err != nil {
		return "", false
	}
	gram = text(gf(v), newton)
	if strings.HasPrefix(newton, "+") {
		gram = "+" + gram
	}
	return gram, true
}

func table(t *document.Table) *document.Table {
	out := *t
	out.Caption = sentence(t.Caption)
	out.Columns, out.Rows, out.Notes = slices.Clone(t.Columns), make([][]document.Cell, len(t.Rows)), slices.Clone(t.Notes)
	for i := range out.Notes {
		out.Notes[i] = sentence(out.Notes[i])
	}
	for j := range out.Columns {
		out.Columns[j].Heading = sentence(out.Columns[j].Heading)
	}
	for i, row := range t.Rows {
		out.Rows[i] = slices.Clone(row)
		for j, c := range row {
			out.Rows[i][j].Text = sentence(c.Text)
		}
	}
	if behind, is := shown[t.Unit]; is {
		out.Unit = "gf" + behind
		out.Caption = strings.TrimSuffix(out.Caption, t.Unit) + out.Unit
	}
	for j, c := range t.Columns {
		unit := c.Unit
		if unit == "" && c.Align == document.Right {
			unit = t.Unit
		}
		behind, is := shown[unit]
		if !is {
			continue
		}
		if c.Unit != "" {
			out.Columns[j].Unit = "gf" + behind
		}
		out.Columns[j].Name = strings.Replace(c.Name, "_N", "_gf", 1)
		for i, row := range out.Rows {
			if row[j].Value != nil {
				v := gf(*row[j].Value)
				row[j] = document.Number(v, everyFigure(t.Rows[i][j].Text), row[j].Notes...)
			}
		}
	}
	return &out
}

func figure(f chart.Figure) chart.Figure {
	f.Title, f.Description = sentence(f.Title), sentence(f.Description)
	f.Panels = slices.Clone(f.Panels)
	for i := range f.Panels {
		p := &f.Panels[i]
		x, y := axis(&p.X), axis(&p.Y)
		if !x && !y {
			continue
		}
		ends := y // of intervals, which lie along y, or along x where y has categories
		if len(p.Y.Ticks) > 0 {
			ends = x
		}
		p.Series, p.Bands, p.Marks = slices.Clone(p.Series), slices.Clone(p.Bands), slices.Clone(p.Marks)
		p.HLines, p.VLines = lines(p.HLines, y), lines(p.VLines, x)
		for k := range p.Series {
			s := &p.Series[k]
			s.X, s.Y, s.Low, s.High = all(s.X, x), all(s.Y, y), all(s.Low, ends), all(s.High, ends)
			if x {
				s.Width = gf(s.Width)
			}
		}
		for k := range p.Bands {
			b := &p.Bands[k]
			b.X, b.Low, b.High = all(b.X, x), all(b.Low, y), all(b.High, y)
		}
		for k := range p.Marks {
			m := &p.Marks[k]
			m.Label = sentence(m.Label)
			if x {
				m.X = gf(m.X)
			}
			if y {
				m.Y = gf(m.Y)
			}
		}
	}
	return f
}

// axis converts an axis of force; is says that it was one.
func axis(a *chart.Axis) (is bool) {
	behind, is := shown[a.Unit]
	if !is {
		return false
	}
	a.Unit = "gf" + behind
	for _, end := range []**float64{&a.Min, &a.Max} {
		if *end != nil {
			v := gf(**end)
			*end = &v
		}
	}
	return true
}

func lines(l []chart.Line, force bool) []chart.Line {
	l = slices.Clone(l)
	for k := range l {
		l[k].Label = sentence(l[k].Label)
		if force {
			l[k].At = gf(l[k].At)
		}
	}
	return l
}

// all are the figures in gf where they are forces, else as they are.
func all(v []float64, force bool) []float64 {
	if v == nil || !force {
		return v
	}
	out := make([]float64, len(v))
	for i := range v {
		out[i] = gf(v[i])
	}
	return out
}
