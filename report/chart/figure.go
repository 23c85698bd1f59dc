// Package chart holds figures as data and draws them.
//
//  1. A builder fills a Figure: panels, axes with label and unit, series,
//     bands, reference lines, marks. It is plain data and survives JSON.
//  2. Check refuses what cannot be drawn honestly: NaN, Inf, empty series,
//     unequal lengths, an interval that is upside down, an axis without a label.
//  3. SVG lays the panels out and draws them; the same Figure gives the same
//     bytes on every machine.
//
// The package knows no study and computes no statistic: a line, a band or an
// interval is drawn from the numbers it is given. Axes always reach over all
// that is drawn, so nothing is cut off unseen.
package chart

// Styles of a Series.
const (
	// StyleLine joins the points in the order given.
	StyleLine = "line"
	// StylePoints draws one glyph a point, with an interval if Low and High are given.
	StylePoints = "points"
	// StyleBars draws one bar a point, from zero.
	StyleBars = "bars"
)

// Figure is one picture with its words. ID is a short name (letters, digits,
// hyphens) used as an anchor; Title says what is shown and Description says
// in a sentence or two what is to be seen, for readers who cannot see it.
type Figure struct {
	ID          string  `json:"id"`
	Title       string  `json:"title"`
	Description string  `json:"description"`
	Panels      []Panel `json:"panels"`
	// ShareX gives all panels one x axis: equal range, labelled under the last one.
	ShareX bool `json:"share_x,omitempty"`
	// Columns puts panels side by side, row by row; 0 and 1 stack them.
	Columns int `json:"columns,omitempty"`
}

// Panel is one pair of axes and what is drawn on them. The drawing order is
// bands, reference lines, series, marks.
type Panel struct {
	Title  string   `json:"title,omitempty"`
	X      Axis     `json:"x"`
	Y      Axis     `json:"y"`
	Series []Series `json:"series,omitempty"`
	Bands  []Band   `json:"bands,omitempty"`
	Marks  []Mark   `json:"marks,omitempty"`
	HLines []Line   `json:"hlines,omitempty"`
	VLines []Line   `json:"vlines,omitempty"`
	// Identity draws y = x and gives both axes one range and one scale.
	Identity bool `json:"identity,omitempty"`
	// Height of the data area in units of which a full-width figure has 640; 0 chooses one.
	Height float64 `json:"height,omitempty"`
}

// Axis names what is measured. Min and Max widen the axis beyond the data;
// they never hide data. With Ticks the axis carries categories: category i
// stands at the value i, on a y axis from the top downwards.
type Axis struct {
	Label string   `json:"label"`
	Unit  string   `json:"unit,omitempty"`
	Min   *float64 `json:"min,omitempty"`
	Max   *float64 `json:"max,omitempty"`
	Ticks []string `json:"ticks,omitempty"`
}

// Title is the axis's text: "viscosity, mPa·s".
func (a Axis) Title() string {
	if a.Unit == "" {
		return a.Label
	}
	return a.Label + ", " + a.Unit
}

// Series is one set of points. Y runs along X; Low and High, if given, are the
// ends of each point's interval along the axis that carries numbers: y, or x
// where the y axis carries categories. Labels (one a point) are shown on
// pointing at it; for a label that must be printed use a Mark.
type Series struct {
	// Name appears in the legend; series of one name appear once; without a name in none.
	Name   string    `json:"name,omitempty"`
	Style  string    `json:"style"`
	X      []float64 `json:"x"`
	Y      []float64 `json:"y"`
	Low    []float64 `json:"low,omitempty"`
	High   []float64 `json:"high,omitempty"`
	Labels []string  `json:"labels,omitempty"`
	// Ink chooses colour, dash and glyph together, from 0; any number is valid.
	Ink int `json:"ink"`
	// Faint draws a background series: thin and pale.
	Faint bool `json:"faint,omitempty"`
	// Width of a bar in units of x; 0 chooses one from the spacing.
	Width float64 `json:"width,omitempty"`
}

// Band is an area between Low and High along X, such as an interval around a line.
type Band struct {
	Name string    `json:"name,omitempty"`
	X    []float64 `json:"x"`
	Low  []float64 `json:"low"`
	High []float64 `json:"high"`
	Ink  int       `json:"ink"`
	// Hatched draws slanting lines instead of a tint: an area of which nothing is known.
	Hatched bool `json:"hatched,omitempty"`
	// Strong tints twice as dark, to be told from a band beside it in grey too.
	Strong bool `json:"strong,omitempty"`
}

// Line is a straight reference line across the panel at one value, with a label
// at its end. Strong lines are solid, others dashed.
type Line struct {
	At     float64 `json:"at"`
	Label  string  `json:"label,omitempty"`
	Strong bool    `json:"strong,omitempty"`
}

// Mark points at one place of the panel and prints a label there.
type Mark struct {
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	Label string  `json:"label"`
}
