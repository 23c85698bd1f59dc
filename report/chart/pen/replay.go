package pen

import (
	"fmt"
	"math"
	"slices"
)

// Painter is another sheet of paper for what a Canvas was told: a page of a PDF, say.
// Places are those of the Canvas; a dash of nil is a solid line.
type Painter interface {
	Stroke(points []Point, closed bool, t Tint, width float64, dash []float64)
	Fill(points []Point, t Tint)
	Words(at Point, a Anchor, f Font, s string)
}

// Replay gives a Painter all that was drawn, in order, words last as in the SVG. Tips
// are for screens and are left out.
func (c *Canvas) Replay(p Painter) {
	for _, draw := range slices.Concat(c.drawn, c.written) {
		draw(p)
	}
}

// Light is the tint on white paper: red, green, blue, and its opacity from 0 to 1.
func (t Tint) Light() (r, g, b uint8, opacity float64) {
	fmt.Sscanf(t.light, "#%02X%02X%02X", &r, &g, &b)
	if t.opacity == 0 {
		return r, g, b, 1
	}
	return r, g, b, t.opacity
}

// round is a circle as a Painter takes it, of so many corners that none is seen.
func round(at Point, radius float64) []Point {
	const corners = 32
	out := make([]Point, corners)
	for i := range out {
		angle := 2 * math.Pi * float64(i) / corners
		out[i] = Point{at.X + radius*math.Cos(angle), at.Y - radius*math.Sin(angle)}
	}
	return out
}
