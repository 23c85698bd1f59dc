package chart

import (
	"math"
	"slices"

	"flourcast/report/chart/pen"
)

func (s Series) look() pen.Look { return pen.Look{Ink: s.Ink, Faint: s.Faint} }

// barWidth is the width of a series' bars in units of x: as asked for, or four
// fifths of the closest spacing.
func (s Series) barWidth() float64 {
	if s.Width > 0 {
		return s.Width
	}
	x := slices.Clone(s.X)
	slices.Sort(x)
	closest := math.Inf(1)
	for i := 1; i < len(x); i++ {
		if d := x[i] - x[i-1]; d > 0 {
			closest = min(closest, d)
		}
	}
	if math.IsInf(closest, 1) {
		closest = 1
	}
	return 0.8 * closest
}

// bars draws the series that are bars, side by side where there are several.
func (d drawing) bars() {
	var sets []Series
	for _, s := range d.Series {
		if s.Style == StyleBars {
			sets = append(sets, s)
		}
	}
	for i, s := range sets {
		width := s.barWidth()
		if d.Y.Ticks != nil && s.Width == 0 {
			width = 0.7
		}
		share := width / float64(len(sets))
		shift := -width/2 + share*float64(i)
		for j := range s.X {
			a, b := d.point(s.X[j]+shift, 0), d.point(s.X[j]+shift+share, s.Y[j])
			free := pen.Point{X: (a.X + b.X) / 2, Y: b.Y}
			if d.Y.Ticks != nil {
				a, b = d.point(0, s.Y[j]+shift), d.point(s.X[j], s.Y[j]+shift+share)
				free = pen.Point{X: b.X, Y: (a.Y + b.Y) / 2}
			}
			d.Rect(s.look().Tint(), a, b)
			d.Line(pen.Paper, 0.8, nil, a, pen.Point{X: a.X, Y: b.Y}, b, pen.Point{X: b.X, Y: a.Y}, a)
			d.extras(s, j, free, pen.Words)
		}
	}
}

// series draws lines and points.
func (d drawing) series() {
	for _, s := range d.Series {
		if s.Style == StyleBars {
			continue
		}
		at := make([]pen.Point, len(s.X))
		for i := range s.X {
			at[i] = d.point(s.X[i], s.Y[i])
		}
		if s.Style == StyleLine {
			d.Curve(s.look(), at...)
		}
		for i := range at {
			d.extras(s, i, at[i], s.look().Tint())
		}
		if s.Style == StylePoints {
			for _, p := range at {
				d.Dot(s.look(), p)
			}
		}
	}
}

// extras draws the interval of point i, and its label on pointing.
func (d drawing) extras(s Series, i int, at pen.Point, ink pen.Tint) {
	if s.Low != nil && d.Y.Ticks != nil {
		d.Whisker(ink, pen.Point{X: d.x.At(s.Low[i]), Y: at.Y}, pen.Point{X: d.x.At(s.High[i]), Y: at.Y}, pen.Point{Y: 3})
	} else if s.Low != nil {
		d.Whisker(ink, pen.Point{X: at.X, Y: d.y.At(s.Low[i])}, pen.Point{X: at.X, Y: d.y.At(s.High[i])}, pen.Point{X: 3})
	}
	if s.Labels != nil && s.Labels[i] != "" {
		d.Tip(at, s.Labels[i])
	}
}

// marks rings each marked place and sets its label where it covers least.
func (d drawing) marks() {
	labels := pen.Labels{Area: d.area, Size: small}
	for _, s := range d.Series {
		var at []pen.Point
		for i := range s.X {
			at = append(at, d.point(s.X[i], s.Y[i]))
		}
		if s.Style == StyleLine {
			at = pen.Dense(at, 4)
		}
		labels.Data = append(labels.Data, at...)
	}
	for _, m := range d.Marks {
		at := d.point(m.X, m.Y)
		labels.Taken = append(labels.Taken, pen.Box{A: pen.Point{X: at.X - 5, Y: at.Y - 5}, B: pen.Point{X: at.X + 5, Y: at.Y + 5}})
	}
	for _, m := range d.Marks {
		labels.Mark(d.Canvas, d.point(m.X, m.Y), m.Label)
	}
}
