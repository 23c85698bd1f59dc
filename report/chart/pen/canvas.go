// Package pen draws lines, areas, glyphs and words to scale as SVG, in our own
// inks.
//
//  1. Extent, Scale and Ticks turn values into places on a canvas.
//  2. A Canvas takes shapes and words at these places.
//  3. Canvas.SVG returns one svg element: no id, no style sheet, no script, no
//     reference, so that any number of them stand in one page; the same calls
//     give the same bytes.
//
// It knows no figure and no data. Places are in units of the canvas, x to the
// right and y downwards from the top left; they must be finite.
package pen

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"regexp"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Point is a place on a canvas.
type Point struct{ X, Y float64 }

// Canvas collects what is drawn. Shapes go through gonum's SVG canvas; words
// are kept apart and laid over them, because they need anchors that hold
// whatever font the reader has.
type Canvas struct {
	shapes         *vgsvg.Canvas
	words          bytes.Buffer
	width, height  float64
	drawn, written []func(Painter) // for Replay
}

// New returns an empty canvas of a size above zero.
func New(width, height float64) *Canvas {
	return &Canvas{shapes: vgsvg.New(vg.Length(width), vg.Length(height)), width: width, height: height}
}

func (c *Canvas) place(p Point) vg.Point {
	return vg.Point{X: vg.Length(p.X), Y: vg.Length(c.height - p.Y)}
}

func (c *Canvas) path(closed bool, points []Point) vg.Path {
	var path vg.Path
	for i, p := range points {
		if i == 0 {
			path.Move(c.place(p))
		} else {
			path.Line(c.place(p))
		}
	}
	if closed {
		path.Close()
	}
	return path
}

func (c *Canvas) stroke(path vg.Path, t Tint, width float64, dash []float64) {
	var pattern []vg.Length
	for _, d := range dash {
		pattern = append(pattern, vg.Length(d))
	}
	c.shapes.SetColor(t)
	c.shapes.SetLineWidth(vg.Length(width))
	c.shapes.SetLineDash(pattern, 0)
	c.shapes.Stroke(path)
}

// Line joins the points.
func (c *Canvas) Line(t Tint, width float64, dash []float64, points ...Point) {
	c.stroke(c.path(false, points), t, width, dash)
	c.drawn = append(c.drawn, func(p Painter) { p.Stroke(points, false, t, width, dash) })
}

// Fill fills the area that the points go round.
func (c *Canvas) Fill(t Tint, points ...Point) {
	c.shapes.SetColor(t)
	c.shapes.Fill(c.path(true, points))
	c.drawn = append(c.drawn, func(p Painter) { p.Fill(points, t) })
}

// Rect fills an upright rectangle between two opposite corners.
func (c *Canvas) Rect(t Tint, a, b Point) {
	c.Fill(t, a, Point{b.X, a.Y}, b, Point{a.X, b.Y})
}

// Glyph draws one mark of a series: filled with a rim of paper, so that marks
// which overlap stay countable, or hollow.
func (c *Canvas) Glyph(s Shape, t Tint, at Point, radius float64) {
	path, corners := c.circle(at, radius*s.size), round(at, radius*s.size)
	if s.corners > 0 {
		corners = nil
		for i := range s.corners {
			angle := 2 * math.Pi * (s.turn + float64(i)/float64(s.corners))
			corners = append(corners, Point{at.X + radius*s.size*math.Cos(angle), at.Y - radius*s.size*math.Sin(angle)})
		}
		path = c.path(true, corners)
	}
	inside, rim, width := t, Paper, 0.8
	if s.hollow {
		inside, rim, width = Paper, t, 1.4
	}
	c.shapes.SetColor(inside)
	c.shapes.Fill(path)
	c.stroke(path, rim, width, nil)
	c.drawn = append(c.drawn, func(p Painter) {
		p.Fill(corners, inside)
		p.Stroke(corners, true, rim, width, nil)
	})
}

// Ring draws a circle that is not filled.
func (c *Canvas) Ring(t Tint, width float64, at Point, radius float64) {
	c.stroke(c.circle(at, radius), t, width, nil)
	c.drawn = append(c.drawn, func(p Painter) { p.Stroke(round(at, radius), true, t, width, nil) })
}

func (c *Canvas) circle(at Point, radius float64) vg.Path {
	var path vg.Path
	path.Move(c.place(Point{at.X + radius, at.Y}))
	path.Arc(c.place(at), vg.Length(radius), 0, 2*math.Pi)
	path.Close()
	return path
}

// Anchor is the part of a text that stands at its point.
type Anchor string

// Anchors.
const (
	Start  Anchor = "start"
	Middle Anchor = "middle"
	End    Anchor = "end"
)

// Font is how a text is written.
type Font struct {
	Size float64
	Tint Tint
	Bold bool
}

// Text writes on a baseline.
func (c *Canvas) Text(at Point, a Anchor, f Font, s string) {
	more := ""
	if f.Bold {
		more += ` font-weight="bold"`
	}
	if a != Start {
		more += fmt.Sprintf(` text-anchor="%s"`, a)
	}
	fmt.Fprintf(&c.words, `<text x="%s" y="%s" font-size="%g" fill="%s"%s>%s</text>`+"\n",
		short(at.X), short(at.Y), f.Size, f.Tint.light, more, escape(s))
	c.written = append(c.written, func(p Painter) { p.Words(at, a, f, s) })
}

// Tip shows a text while one points at the place.
func (c *Canvas) Tip(at Point, s string) {
	fmt.Fprintf(&c.words, `<circle cx="%s" cy="%s" r="6" fill-opacity="0"><title>%s</title></circle>`+"\n",
		short(at.X), short(at.Y), escape(s))
}

// zoom is the size of a canvas unit on a screen, in pixels.
const zoom = 1.15

// SVG returns all that was drawn, on a sheet of paper, with a title and a
// description for those who listen to it. It scales by its viewBox.
func (c *Canvas) SVG(title, description string) ([]byte, error) {
	group, err := c.group()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	w, h := short(c.width), short(c.height)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" width="%s" height="%s" viewBox="0 0 %s %s" `,
		short(zoom*c.width), short(zoom*c.height), w, h)
	fmt.Fprintf(&b, `font-family="Liberation Sans, Arial, Helvetica, sans-serif">`+"\n")
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n", escape(title), escape(description))
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="%s"/>`+"\n", w, h, Paper.light)
	b.Write(group)
	b.Write(c.words.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes(), nil
}

var styleAttribute = regexp.MustCompile(`style="([^"]*)"`)

// group is what the shape canvas wrote, without its svg element. Styles become
// attributes: a page's style sheet may then override them, and a page that
// forbids inline styles still shows the colours.
func (c *Canvas) group() ([]byte, error) {
	var b bytes.Buffer
	if _, err := c.shapes.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("pen: writing the canvas: %w", err)
	}
	_, body, found := bytes.Cut(b.Bytes(), []byte("<g "))
	if !found {
		return nil, fmt.Errorf("pen: the canvas wrote no group")
	}
	body = bytes.TrimSuffix(body, []byte("</svg>\n"))
	body = styleAttribute.ReplaceAllFunc(body, func(m []byte) []byte {
		var out []string
		for _, rule := range strings.Split(string(m[len(`style="`):len(m)-1]), ";") {
			property, value, _ := strings.Cut(rule, ":")
			out = append(out, property+`="`+value+`"`)
		}
		return []byte(strings.Join(out, " "))
	})
	return append([]byte("<g "), body...), nil
}

// escape makes any text safe inside an element, and legal XML: control
// characters become spaces.
func escape(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0xfffe || r == 0xffff {
			return ' '
		}
		return r
	}, s))
}

// short writes a coordinate to a tenth of a unit.
func short(v float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0")
}
