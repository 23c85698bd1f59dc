package chart

import (
	"math"
	"slices"

	"flourcast/report/chart/pen"
)

// extents returns the x and y ranges of a panel: all that is drawn, widened by
// the axes' Min and Max and by some air.
func extents(p Panel) (x, y pen.Extent) {
	upright := p.Y.Ticks == nil // numbers run along y
	glyphs, bars := false, false
	along := &y
	if !upright {
		along = &x
	}
	for _, s := range p.Series {
		x.Cover(s.X...)
		y.Cover(s.Y...)
		along.Cover(s.Low...)
		along.Cover(s.High...)
		glyphs = glyphs || s.Style == StylePoints
		if s.Style == StyleBars {
			bars = true
			along.Cover(0)
			if upright {
				half := s.barWidth() / 2
				x.Cover(slices.Min(s.X)-half, slices.Max(s.X)+half)
			}
		}
	}
	for _, b := range p.Bands {
		x.Cover(b.X...)
		y.Cover(b.Low...)
		y.Cover(b.High...)
	}
	for _, m := range p.Marks {
		x.Cover(m.X)
		y.Cover(m.Y)
	}
	for _, l := range p.HLines {
		y.Cover(l.At)
	}
	for _, l := range p.VLines {
		x.Cover(l.At)
	}
	air := 0.0 // beside the data: a line may touch the ends, glyphs and whiskers not
	if glyphs || !upright {
		air = 0.04
	} else if bars {
		air = 0.015
	}
	x = widen(x, p.X, air, bars && !upright)
	y = widen(y, p.Y, 0.06, bars)
	if p.Identity {
		x.Cover(y.Low, y.High)
		y = x
	}
	return x, y
}

// widen extends a range by the axis's Min and Max, and by a share of air on the
// sides where neither these nor the foot of bars set the end. It never crosses
// zero for the sake of air alone, and the result always has a width.
func widen(e pen.Extent, a Axis, air float64, foot bool) pen.Extent {
	if n := len(a.Ticks); n > 0 {
		return pen.Extent{Low: -0.5, High: float64(n) - 0.5}
	}
	data := e
	for _, end := range []*float64{a.Min, a.Max} {
		if end != nil {
			e.Cover(*end)
		}
	}
	if e.Narrow() {
		half := 0.05 * max(math.Abs(e.Low), math.Abs(e.High))
		if half == 0 {
			half = 1
		}
		return pen.Extent{Low: e.Low - half, High: e.High + half}
	}
	by := air * e.Width()
	if !(a.Min != nil && e.Low == *a.Min) && !(foot && e.Low == 0) {
		e.Low -= by
	}
	if !(a.Max != nil && e.High == *a.Max) && !(foot && e.High == 0) {
		e.High += by
	}
	if data.Low >= 0 && (a.Min == nil || *a.Min >= 0) {
		e.Low = max(e.Low, 0)
	}
	if data.High <= 0 && (a.Max == nil || *a.Max <= 0) {
		e.High = min(e.High, 0)
	}
	return e
}
