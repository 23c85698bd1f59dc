package chart

import (
	"slices"

	"flourcast/report/chart/pen"
)

// Sizes, in units of which a full-width figure has 640: at A4 text width a unit
// is 0.75 of a printer's point, so that the smallest words print at 8 pt.
const (
	fullWidth = 640.0
	small     = 11.0 // tick and mark labels
	normal    = 11.5 // axis titles, legends
	large     = 12.5 // panel titles
	rowHeight = 17.0
	gap       = 14.0 // between panels
)

// cell is a panel with its place on the canvas.
type cell struct {
	Panel
	x, y           pen.Scale
	xTicks, yTicks []pen.Tick
	outer, head    float64    // left and top of the whole cell
	area           pen.Box    // where data are drawn
	labelX         bool       // tick labels and title stand under this panel
	flags          []pen.Flag // labels of vertical lines
}

// layout is a figure with every part in its place.
type layout struct {
	cells         []cell
	legend        pen.Legend
	width, height float64
}

// arrange places the parts of a checked figure.
func arrange(f Figure) layout {
	columns := min(max(1, f.Columns), len(f.Panels))
	l := layout{cells: make([]cell, len(f.Panels)), width: fullWidth, legend: pen.Legend{Size: normal, Row: rowHeight}}
	left, right := l.measure(f, columns)
	each := (fullWidth-gap*float64(columns-1))/float64(columns) - left - right
	if columns == 1 && !slices.ContainsFunc(f.Panels, func(p Panel) bool { return !p.Identity }) {
		each = min(each, areaHeight(f, 0, each))
		l.width = left + each + right
	}
	legends := legendsOf(f)
	top := 2.0
	for i := 0; i < len(l.cells); i += columns {
		line := l.cells[i:min(i+columns, len(l.cells))]
		head, below := 0.0, 0.0
		for j := range line {
			c := &line[j]
			c.outer, c.head = 1+float64(j)*(left+each+right+gap), top
			c.x.From = c.outer - 1 + left
			c.x.To = c.x.From + each
			head = max(head, c.headroom())
		}
		for j := range line {
			c := &line[j]
			c.area = pen.Box{A: pen.Point{X: c.x.From, Y: top + head}, B: pen.Point{X: c.x.To, Y: top + head + areaHeight(f, i+j, each)}}
			c.y.From, c.y.To = c.area.B.Y, c.area.A.Y
			if c.Y.Ticks != nil {
				c.y.From, c.y.To = c.area.A.Y, c.area.B.Y
			}
			c.xTicks = axisTicks(c.x.Extent, c.X, int(each/75))
			if c.Identity {
				c.xTicks = c.yTicks
			}
			under := c.area.B.Y + 8
			if c.labelX {
				under = c.area.B.Y + 36
			}
			if len(legends) > 1 {
				under = l.legend.Add(legends[i+j], c.x.From, c.x.To, under)
			}
			below = max(below, under)
		}
		top = below + gap
	}
	top -= gap
	if len(legends) == 1 {
		top = l.legend.Add(legends[0], left, l.width, top)
	}
	l.height = top + 5
	return l
}

// measure sets ranges and y ticks, and returns the room that they and the
// labels of horizontal lines need left and right of the data areas.
func (l *layout) measure(f Figure, columns int) (left, right float64) {
	var shared pen.Extent
	for i, p := range f.Panels {
		c := &l.cells[i]
		c.Panel = p
		c.x.Extent, c.y.Extent = extents(p)
		shared.Cover(c.x.Low, c.x.High)
	}
	left, right = 10, 14
	for i := range l.cells {
		c := &l.cells[i]
		if f.ShareX {
			c.x.Extent = shared
		}
		c.labelX = !f.ShareX || i+columns >= len(l.cells)
		height := areaHeight(f, i, fullWidth/float64(columns)-50)
		c.yTicks = axisTicks(c.y.Extent, c.Y, int(max(height/60, min(3, height/24))))
		for j := range c.yTicks {
			t := &c.yTicks[j]
			t.Text = pen.Cut(t.Text, small, 0.36*fullWidth/float64(columns))
			left = max(left, pen.Width(t.Text, small)+10)
		}
		for _, h := range c.HLines {
			right = max(right, pen.Width(h.Label, small)+10)
		}
	}
	return left, min(right, 0.3*fullWidth/float64(columns))
}

func axisTicks(e pen.Extent, a Axis, want int) []pen.Tick {
	if a.Ticks != nil {
		return pen.Categories(a.Ticks)
	}
	return pen.Ticks(e, want)
}

// areaHeight is the height of a data area: as asked for, or by what it holds.
func areaHeight(f Figure, i int, width float64) float64 {
	p := f.Panels[i]
	switch {
	case p.Identity && p.Height > 0:
		return min(width, p.Height) // square
	case p.Identity:
		return min(width, 380)
	case p.Height > 0:
		return p.Height
	case p.Y.Ticks != nil:
		return 24*float64(len(p.Y.Ticks)) + 8
	case f.Columns > 1:
		return 200
	case f.ShareX && i > 0:
		return 90
	}
	return 290
}

// headroom is the height of the titles and of the labels of vertical lines
// above the data area; it places the latter.
func (c *cell) headroom() float64 {
	for _, l := range c.VLines {
		if l.Label != "" {
			c.flags = append(c.flags, pen.Flag{At: c.x.At(l.At), Text: l.Label})
		}
	}
	height := rowHeight + 6 + 13*float64(pen.PlaceFlags(c.flags, c.x.From, c.x.To, small))
	if c.Title != "" {
		height += rowHeight + 2
	}
	return height
}
