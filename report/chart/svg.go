package chart

import (
	"cmp"
	"math"
	"slices"

	"flourcast/report/chart/pen"
)

// SVG draws the figure as one svg element of at most 640 units' width, scaling
// by its viewBox, with title and description for screen readers. It has no
// ids, scripts, style sheets and references, so that any number of figures can
// stand in one page, and words use the reader's own sans-serif face. The same
// figure gives the same bytes. Errors: *DataError if Check refuses the figure.
func SVG(f Figure) ([]byte, error) {
	if err := Check(f); err != nil {
		return nil, err
	}
	canvas, _, _ := onCanvas(f)
	return canvas.SVG(f.Title, f.Description)
}

// Paint draws the figure on another sheet of paper than a screen's: p is made for the
// figure's width and height. Errors: *DataError if Check refuses the figure, and those
// of p.
func Paint(f Figure, p func(width, height float64) (pen.Painter, error)) error {
	if err := Check(f); err != nil {
		return err
	}
	canvas, width, height := onCanvas(f)
	paper, err := p(width, height)
	if err != nil {
		return err
	}
	canvas.Replay(paper)
	return nil
}

// onCanvas puts a checked figure on a canvas.
func onCanvas(f Figure) (canvas *pen.Canvas, width, height float64) {
	l := arrange(f)
	canvas = pen.New(l.width, l.height)
	for i := range l.cells {
		d := drawing{canvas, &l.cells[i]}
		d.grid()
		d.bands()
		d.bars()
		d.references()
		d.axes()
		d.series()
		d.marks()
	}
	l.legend.Draw(canvas)
	return canvas, l.width, l.height
}

// DarkStyle is the CSS that turns figures embedded in a page to its dark look.
// Put it inside the page's own condition, such as
//
//	@media screen and (prefers-color-scheme: dark) { … }
func DarkStyle() string { return pen.DarkStyle() }

// drawing is one panel on its way to the canvas.
type drawing struct {
	*pen.Canvas
	*cell
}

func (d drawing) point(x, y float64) pen.Point { return pen.Point{X: d.x.At(x), Y: d.y.At(y)} }

// across and up draw a line through the whole data area.
func (d drawing) across(t pen.Tint, width float64, dash []float64, y float64) {
	d.Line(t, width, dash, pen.Point{X: d.area.A.X, Y: y}, pen.Point{X: d.area.B.X, Y: y})
}

func (d drawing) up(t pen.Tint, width float64, dash []float64, x float64) {
	d.Line(t, width, dash, pen.Point{X: x, Y: d.area.A.Y}, pen.Point{X: x, Y: d.area.B.Y})
}

// grid draws pale lines along the axis by which values are read.
func (d drawing) grid() {
	if d.Y.Ticks == nil {
		for _, t := range d.yTicks {
			d.across(pen.Grid, 0.8, nil, d.y.At(t.At))
		}
	}
	if d.Y.Ticks != nil || d.Identity {
		for _, t := range d.xTicks {
			d.up(pen.Grid, 0.8, nil, d.x.At(t.At))
		}
	}
}

// axes draws titles, tick labels, the axis and the zero lines.
func (d drawing) axes() {
	if d.Y.Ticks == nil && d.y.Low < 0 && d.y.High > 0 {
		d.across(pen.Quiet, 0.9, nil, d.y.At(0))
	}
	if d.Y.Ticks != nil && d.x.Low <= 0 && d.x.High >= 0 {
		d.up(pen.Quiet, 0.9, nil, d.x.At(0))
	}
	d.across(pen.Quiet, 0.9, nil, d.area.B.Y)

	title := pen.Font{Size: normal, Tint: pen.Words}
	label := pen.Font{Size: small, Tint: pen.Quiet}
	y, room := d.head+13, d.area.B.X-d.outer
	if d.Title != "" {
		d.Text(pen.Point{X: d.outer, Y: y}, pen.Start, pen.Font{Size: large, Tint: pen.Words, Bold: true}, pen.Cut(d.Title, large, 0.95*room))
		y += rowHeight + 2
	}
	d.Text(pen.Point{X: d.outer, Y: y}, pen.Start, title, pen.Cut(d.Y.Title(), normal, room))
	for _, t := range d.yTicks {
		d.Text(pen.Point{X: d.area.A.X - 6, Y: d.y.At(t.At) + 4}, pen.End, label, t.Text)
	}
	slot := (d.area.B.X - d.area.A.X) / float64(max(1, len(d.X.Ticks)))
	for _, t := range d.xTicks {
		x, y := d.x.At(t.At), d.area.B.Y
		text := t.Text
		if d.X.Ticks != nil {
			text = pen.Cut(text, small, slot-4)
		} else {
			d.Line(pen.Quiet, 0.9, nil, pen.Point{X: x, Y: y}, pen.Point{X: x, Y: y + 4})
		}
		if d.labelX {
			d.Text(pen.Point{X: x, Y: y + 16}, pen.Middle, label, text)
		}
	}
	if d.labelX {
		d.Text(pen.Point{X: d.area.B.X, Y: d.area.B.Y + 31}, pen.End, title, pen.Cut(d.X.Title(), normal, room))
	}
}

func (d drawing) bands() {
	for _, b := range d.Bands {
		var low, high []pen.Point
		for i, x := range b.X {
			low, high = append(low, d.point(x, b.Low[i])), append(high, d.point(x, b.High[i]))
		}
		if b.Hatched {
			d.Hatch(low, high)
		} else {
			d.Band(b.Ink, b.Strong, low, high)
		}
	}
}

// references draws straight lines. Labels of horizontal ones stand to the
// right of the data area, moved apart where they are too close; labels of
// vertical ones above it.
func (d drawing) references() {
	if d.Identity {
		d.Line(pen.Quiet, 1, pen.Dash(1), d.point(d.x.Low, d.x.Low), d.point(d.x.High, d.x.High))
	}
	casing := slices.ContainsFunc(d.Series, func(s Series) bool { return s.Style == StyleBars })
	draw := func(l Line, along func(pen.Tint, float64, []float64, float64), at float64) {
		if casing { // dark bars would swallow the line
			along(pen.Paper, 2.6, nil, at)
		}
		if l.Strong {
			along(pen.Quiet, 1.4, nil, at)
		} else {
			along(pen.Quiet, 1, []float64{5, 3}, at)
		}
	}
	font := pen.Font{Size: small, Tint: pen.Words}
	lines := slices.Clone(d.HLines)
	slices.SortStableFunc(lines, func(a, b Line) int { return cmp.Compare(d.y.At(a.At), d.y.At(b.At)) })
	last := math.Inf(-1)
	for _, l := range lines {
		at := d.y.At(l.At)
		draw(l, d.across, at)
		if l.Label != "" {
			last = max(at+4, last+12)
			d.Text(pen.Point{X: d.area.B.X + 5, Y: last}, pen.Start, font, pen.Cut(l.Label, small, 0.28*fullWidth))
		}
	}
	for _, l := range d.VLines {
		draw(l, d.up, d.x.At(l.At))
	}
	for _, f := range d.flags {
		d.Text(pen.Point{X: f.At, Y: d.area.A.Y - 4 - 13*float64(f.Row)}, pen.Middle, font, f.Text)
	}
}
