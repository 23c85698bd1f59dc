package pen

import (
	"cmp"
	"math"
	"slices"
)

// Weights of what stands for data.
const (
	radius   = 3.2 // of a glyph
	strong   = 1.7 // a line
	thinLine = 0.9 // a faint line
)

// Look is how a series is drawn: its ink, and strong or faint. Faint lines are
// solid, since many of them together read better so.
type Look struct {
	Ink   int
	Faint bool
}

// Tint is the look's colour.
func (l Look) Tint() Tint {
	if l.Faint {
		return Ink(l.Ink).Faded(0.4)
	}
	return Ink(l.Ink)
}

// Curve draws a line in a look, thinned to what can be seen.
func (c *Canvas) Curve(l Look, points ...Point) {
	if l.Faint {
		c.Line(l.Tint(), thinLine, nil, thin(points, 0.1)...)
	} else {
		c.Line(l.Tint(), strong, Dash(l.Ink), thin(points, 0.1)...)
	}
}

// Dot draws a glyph in a look.
func (c *Canvas) Dot(l Look, at Point) { c.Glyph(glyph(l.Ink), l.Tint(), at, radius) }

// Band fills the area between two lines and dots its edges, which stay visible
// where bands overlap or are printed in grey; a strong one is twice as dark.
func (c *Canvas) Band(ink int, strong bool, low, high []Point) {
	low, high = thin(low, 0.1), thin(high, 0.1)
	for _, edge := range [][]Point{low, high} {
		c.Line(Ink(ink).Faded(0.6), 0.7, Dash(2), edge...)
	}
	around := slices.Clone(low)
	slices.Reverse(around)
	opacity := 0.16
	if strong {
		opacity = 0.34
	}
	c.Fill(Ink(ink).Faded(opacity), append(around, high...)...)
}

// hatching is how far apart slanting lines stand, measured along x.
const hatching = 7.0

// Hatch fills the area between two lines with slanting lines, which meet those of
// areas beside it.
func (c *Canvas) Hatch(low, high []Point) {
	around := slices.Clone(low)
	for i := len(high) - 1; i >= 0; i-- {
		around = append(around, high[i])
	}
	first, last := math.Inf(1), math.Inf(-1) // of x + y, which is the same all along a line
	for _, p := range around {
		first, last = min(first, p.X+p.Y), max(last, p.X+p.Y)
	}
	for at := math.Ceil(first/hatching) * hatching; at < last; at += hatching {
		var crossings []Point
		for i, a := range around {
			b := around[(i+1)%len(around)]
			u, v := a.X+a.Y-at, b.X+b.Y-at
			if (u < 0) == (v < 0) {
				continue
			}
			share := u / (u - v)
			crossings = append(crossings, Point{a.X + share*(b.X-a.X), a.Y + share*(b.Y-a.Y)})
		}
		slices.SortFunc(crossings, func(a, b Point) int { return cmp.Compare(a.X, b.X) })
		for i := 0; i+1 < len(crossings); i += 2 {
			c.Line(Quiet.Faded(0.6), 0.7, nil, crossings[i], crossings[i+1])
		}
	}
}

// Whisker draws an interval: a line with a short bar across each end. across
// is half of that bar.
func (c *Canvas) Whisker(t Tint, a, b, across Point) {
	c.Line(t, 1.2, nil, a, b)
	for _, e := range []Point{a, b} {
		c.Line(t, 1.2, nil, Point{e.X - across.X, e.Y - across.Y}, Point{e.X + across.X, e.Y + across.Y})
	}
}

// Entry is one line of a legend: a name and what it looks like.
type Entry struct {
	Name string
	Look
	Line, Glyph, Whisker, Bar bool
	Band, Hatched, Strong     bool
	Identity                  bool
}

// Legend is entries in rows.
type Legend struct {
	Size float64 // of the words
	Row  float64 // height of a row
	rows []legendRow
}

type legendRow struct {
	entries []Entry
	at      []float64 // left ends
	y       float64   // baseline
}

const sample = 28.0 // width of a legend's sample with the space after it

// Add sets entries into rows between left and right, downwards from top, and
// returns where they end.
func (l *Legend) Add(entries []Entry, left, right, top float64) float64 {
	at, open := left, false
	for _, e := range entries {
		e.Name = Cut(e.Name, l.Size, right-left-sample)
		need := sample + Width(e.Name, l.Size)
		if !open || at+need > right {
			top, at, open = top+l.Row, left, true
			l.rows = append(l.rows, legendRow{y: top})
		}
		r := &l.rows[len(l.rows)-1]
		r.entries, r.at = append(r.entries, e), append(r.at, at)
		at += need + 18
	}
	return top
}

// Draw puts one sample and name per entry on the canvas.
func (l *Legend) Draw(c *Canvas) {
	for _, r := range l.rows {
		for i, e := range r.entries {
			c.sample(e, r.at[i], r.y-4)
			c.Text(Point{r.at[i] + sample, r.y}, Start, Font{Size: l.Size, Tint: Words}, e.Name)
		}
	}
}

func (c *Canvas) sample(e Entry, x, y float64) {
	a, b := Point{x, y}, Point{x + sample - 6, y}
	switch {
	case e.Band:
		c.Band(e.Ink, e.Strong, []Point{{a.X, y + 5}, {b.X, y + 5}}, []Point{{a.X, y - 5}, {b.X, y - 5}})
	case e.Hatched:
		c.Hatch([]Point{{a.X, y + 5}, {b.X, y + 5}}, []Point{{a.X, y - 5}, {b.X, y - 5}})
	case e.Identity:
		c.Line(Quiet, 1, Dash(1), a, b)
	case e.Bar:
		c.Rect(e.Tint(), Point{a.X + 4, y - 5}, Point{b.X - 4, y + 5})
	}
	if e.Line {
		c.Curve(e.Look, a, b)
	}
	if e.Whisker {
		c.Line(e.Tint(), 1.2, nil, a, b)
	}
	if e.Glyph {
		c.Dot(e.Look, Point{(a.X + b.X) / 2, y})
	}
}
