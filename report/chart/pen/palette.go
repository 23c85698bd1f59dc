package pen

import (
	"fmt"
	"strings"
)

// Tint is a colour on white paper together with what it becomes on a dark page.
type Tint struct {
	light, dark string  // "#RRGGBB"
	opacity     float64 // 0 means 1
}

// Faded is the same tint, partly transparent; opacity runs from above 0 to 1.
func (t Tint) Faded(opacity float64) Tint {
	t.opacity = opacity
	return t
}

// RGBA makes a Tint a color.Color. The SVG encoder divides by the opacity and
// truncates, so the shares are rounded up here: the file then carries exactly
// the colour that was named, by which DarkStyle finds it again.
func (t Tint) RGBA() (r, g, b, a uint32) {
	var red, green, blue uint32
	fmt.Sscanf(t.light, "#%02X%02X%02X", &red, &green, &blue)
	share := uint32(255)
	if t.opacity > 0 {
		share = uint32(255*t.opacity + 0.5)
	}
	up := func(v uint32) uint32 { return v*257*share/255 + 1 }
	return up(red), up(green), up(blue), share * 257
}

// The inks: chosen by us so that any two differ in lightness or hue for people
// with any of the common colour vision defects, the first three are well apart
// in greyscale, and each has a contrast of at least 3:1 to its ground, light
// and dark. A test measures it. Dash and glyph repeat the distinction.
var inks = []Tint{
	{light: "#12424A", dark: "#9FDCE2"}, // deep teal
	{light: "#B87A14", dark: "#D99A2B"}, // ochre
	{light: "#A03A72", dark: "#D873A8"}, // mulberry
	{light: "#5577B5", dark: "#7F9FE8"}, // cornflower
	{light: "#3B2414", dark: "#F6E7CE"}, // bark
	{light: "#566420", dark: "#77A06A"}, // olive
}

// The tints of all that is not data.
var (
	Paper = Tint{light: "#FFFFFF", dark: "#191E23"}
	Words = Tint{light: "#1E2429", dark: "#E8EAED"}
	Quiet = Tint{light: "#545D66", dark: "#A9B2BC"} // axes, reference lines, tick labels
	Grid  = Tint{light: "#E1E4E8", dark: "#343C44"}
)

// dashes are the line patterns that go with the inks: lengths of line and gap.
var dashes = [][]float64{nil, {7, 3}, {2, 2.4}, {10, 3, 2, 3}, {4, 2}, {1.2, 3.2}}

// Shape is a glyph's outline.
type Shape struct {
	corners int     // 0 is a circle
	turn    float64 // of the first corner, in turns from the right, anticlockwise
	size    float64 // radius relative to the circle's, for equal visual weight
	hollow  bool    // filled with paper
}

var shapes = []Shape{
	{corners: 0, size: 1},
	{corners: 4, turn: 1.0 / 8, size: 1.25, hollow: true},
	{corners: 3, turn: 1.0 / 4, size: 1.4},
	{corners: 4, turn: 0, size: 1.4, hollow: true},
	{corners: 4, turn: 1.0 / 8, size: 1.2},
	{corners: 3, turn: 3.0 / 4, size: 1.45, hollow: true},
}

// Ink is the tint of ink i; any number is valid, six differ.
func Ink(i int) Tint { return inks[wrap(i, len(inks))] }

// Dash is the line pattern of ink i, nil for a solid line. Dash and Glyph move
// on by one each time the inks start anew, so that no combination comes back
// before 36 inks.
func Dash(i int) []float64 { return dashes[turned(i)] }

// glyph is the shape of ink i.
func glyph(i int) Shape { return shapes[turned(i)] }

func turned(i int) int { return wrap(wrap(i, 36)+wrap(i, 36)/6, 6) }

func wrap(i, n int) int { return ((i % n) + n) % n }

// DarkStyle is the CSS that turns figures embedded in a page to its dark look.
// A figure that stands alone stays as on white paper.
func DarkStyle() string {
	var b strings.Builder
	for _, t := range append([]Tint{Paper, Words, Quiet, Grid}, inks...) {
		for _, property := range []string{"fill", "stroke"} {
			fmt.Fprintf(&b, ".chart [%s=\"%s\"]{%[1]s:%[3]s}\n", property, t.light, t.dark)
		}
	}
	return b.String()
}
