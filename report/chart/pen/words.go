package pen

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"sync"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
)

// sans is loaded on first use.
var sans = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

// Width is a text's width at a font size, in the sans-serif face whose widths
// are those of the first fonts that Canvas.SVG names.
func Width(s string, size float64) float64 {
	face := sans().Lookup(font.Font{Typeface: "Liberation", Variant: "Sans"}, vg.Length(size))
	return float64(face.Width(s))
}

// Cut shortens a text to a width and ends it with an ellipsis then.
func Cut(s string, size, width float64) string {
	if Width(s, size) <= width {
		return s
	}
	r := []rune(s)
	for len(r) > 1 && Width(string(r)+"…", size) > width {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ") + "…"
}

// Box is an upright rectangle: A is its top left corner, B its bottom right.
type Box struct{ A, B Point }

func (b Box) over(c Box) bool {
	return b.A.X < c.B.X && c.A.X < b.B.X && b.A.Y < c.B.Y && c.A.Y < b.B.Y
}

func (b Box) holds(p Point) bool {
	return p.X > b.A.X && p.X < b.B.X && p.Y > b.A.Y && p.Y < b.B.Y
}

// near is the point of the box that is closest to p.
func (b Box) near(p Point) Point {
	return Point{min(max(p.X, b.A.X), b.B.X), min(max(p.Y, b.A.Y), b.B.Y)}
}

// Labels finds places for labels inside an area.
type Labels struct {
	Size  float64 // of the words
	Area  Box
	Taken []Box   // what no label may cover
	Data  []Point // what labels should cover as little as possible
}

// Mark rings a place and sets its label beside it, with a leader where the
// label had to go far.
func (l *Labels) Mark(c *Canvas, at Point, text string) {
	const ring = 4.2
	c.Ring(Words, 1.3, at, ring)
	if text == "" {
		return
	}
	text = Cut(text, l.Size, l.Area.B.X-l.Area.A.X-12)
	box := l.place(at, Width(text, l.Size)+6, l.Size+3)
	near := box.near(at)
	if length := math.Hypot(near.X-at.X, near.Y-at.Y); length > 10 {
		c.Line(Quiet, 0.8, nil, Point{at.X + ring*(near.X-at.X)/length, at.Y + ring*(near.Y-at.Y)/length}, near)
	}
	c.Rect(Paper.Faded(0.85), box.A, box.B)
	c.Text(Point{(box.A.X + box.B.X) / 2, box.B.Y - 3}, Middle, Font{Size: l.Size, Tint: Words}, text)
}

// place returns a box of the given size near a point, at the first of some
// places around it where it covers least, and takes it.
func (l *Labels) place(at Point, width, height float64) Box {
	ways := []Point{{0, -1}, {1, -1}, {-1, -1}, {1, 0}, {-1, 0}, {1, 1}, {-1, 1}, {0, 1}}
	var best Box
	least := math.Inf(1)
	for _, far := range []float64{8, 16, 28, 44} {
		for _, way := range ways {
			centre := Point{at.X + way.X*(far+width/2), at.Y + way.Y*(far+height/2)}
			b := Box{Point{centre.X - width/2, centre.Y - height/2}, Point{centre.X + width/2, centre.Y + height/2}}
			if cost := l.cost(b) + far/4; cost < least {
				best, least = b, cost
			}
		}
	}
	l.Taken = append(l.Taken, best)
	return best
}

// cost weighs what a label would do: leaving the area is worst, then covering
// another label, then covering data.
func (l *Labels) cost(b Box) float64 {
	cost := 0.0
	if b.A.X < l.Area.A.X || b.B.X > l.Area.B.X || b.A.Y < l.Area.A.Y || b.B.Y > l.Area.B.Y {
		cost += 1000
	}
	for _, t := range l.Taken {
		if b.over(t) {
			cost += 300
		}
	}
	for _, p := range l.Data {
		if b.holds(p) {
			cost += 3
		}
	}
	return cost
}

// Flag is a label above a place on a horizontal line, in one of several rows
// (0 is the lowest) so that neighbours do not collide.
type Flag struct {
	At   float64
	Text string
	Row  int
}

// PlaceFlags sorts the flags by place, moves them inside left and right, gives
// each the first row where it fits, and returns the number of rows.
func PlaceFlags(flags []Flag, left, right, size float64) int {
	slices.SortStableFunc(flags, func(a, b Flag) int { return cmp.Compare(a.At, b.At) })
	var ends []float64 // of the last flag in each row
	for i := range flags {
		f := &flags[i]
		f.Text = Cut(f.Text, size, right-left)
		half := Width(f.Text, size) / 2
		f.At = min(max(f.At, left+half), right-half)
		f.Row = slices.IndexFunc(ends, func(e float64) bool { return e < f.At-half })
		if f.Row < 0 {
			f.Row, ends = len(ends), append(ends, 0)
		}
		ends[f.Row] = f.At + half + 8
	}
	return len(ends)
}
