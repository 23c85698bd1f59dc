package chart

import (
	"fmt"
	"math"
	"strings"
)

// largest is the largest magnitude that an axis is drawn for; anything beyond
// it is a fault in the data, not a measurement.
const largest = 1e15

// DataError says which part of which figure cannot be drawn, and why.
type DataError struct {
	Figure string // the figure's ID
	Panel  int    // from 1; 0 is the whole figure
	Part   string // "series \"hardness\"", "x axis"; empty: the whole panel
	Found  string
	Want   string
}

// Error is the fault in one line: figure, panel, part, found, expected.
func (e *DataError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "chart: figure %q", e.Figure)
	if e.Panel > 0 {
		fmt.Fprintf(&b, ", panel %d", e.Panel)
	}
	if e.Part != "" {
		b.WriteString(", " + e.Part)
	}
	fmt.Fprintf(&b, ": %s; expected %s", e.Found, e.Want)
	return b.String()
}

// Check returns a *DataError for the first thing in f that cannot be drawn
// honestly, or nil: no panel, nothing in a panel, an empty series, lengths that
// differ, NaN or Inf or a magnitude beyond 1e15, an interval whose low end is
// above its high end, an axis without a label or with Min above Max, a
// value that has no category, a style that does not exist.
func Check(f Figure) error {
	c := checker{figure: f.ID}
	if len(f.Panels) == 0 {
		c.fail("no panel", "at least one")
	}
	for i, p := range f.Panels {
		c.panel = i + 1
		c.checkPanel(p)
	}
	if c.first == nil {
		return nil
	}
	return c.first
}

// checker keeps the first fault and where it stands.
type checker struct {
	figure string
	panel  int
	part   string
	first  *DataError
}

func (c *checker) fail(found, want string) {
	if c.first == nil {
		c.first = &DataError{c.figure, c.panel, c.part, found, want}
	}
}

func (c *checker) in(kind string, i int, name string) {
	c.part = fmt.Sprintf("%s %d", kind, i+1)
	if name != "" {
		c.part = fmt.Sprintf("%s %q", kind, name)
	}
}

func (c *checker) checkPanel(p Panel) {
	c.part = "x axis"
	c.checkAxis(p.X)
	c.part = "y axis"
	c.checkAxis(p.Y)
	c.part = ""
	if len(p.Series)+len(p.Bands) == 0 {
		c.fail("neither series nor band", "something to draw")
	}
	if p.Height != 0 && !(p.Height >= 20 && p.Height <= 4000) {
		c.fail(fmt.Sprintf("height %g", p.Height), "20 to 4000, or 0 to choose one")
	}
	if p.Identity && len(p.X.Ticks)+len(p.Y.Ticks) > 0 {
		c.fail("an identity line over categories", "two axes with numbers")
	}
	for i, s := range p.Series {
		c.in("series", i, s.Name)
		c.checkSeries(p, s)
	}
	for i, b := range p.Bands {
		c.in("band", i, b.Name)
		c.numbers("X", b.X, max(1, len(b.X)))
		c.interval(b.Low, b.High, len(b.X))
	}
	for i, m := range p.Marks {
		c.in("mark", i, m.Label)
		c.numbers("its place", []float64{m.X, m.Y}, 2)
	}
	for _, lines := range [][]Line{p.HLines, p.VLines} {
		for i, l := range lines {
			c.in("reference line", i, l.Label)
			c.numbers("its place", []float64{l.At}, 1)
		}
	}
}

func (c *checker) checkSeries(p Panel, s Series) {
	if s.Style != StyleLine && s.Style != StylePoints && s.Style != StyleBars {
		c.fail(fmt.Sprintf("style %q", s.Style), "line, points or bars")
	}
	n := len(s.X)
	c.numbers("X", s.X, max(1, n))
	c.numbers("Y", s.Y, n)
	if s.Low != nil || s.High != nil {
		c.interval(s.Low, s.High, n)
	}
	if s.Labels != nil && len(s.Labels) != n {
		c.fail(fmt.Sprintf("%d labels", len(s.Labels)), fmt.Sprintf("%d, one a point", n))
	}
	c.numbers("the bars' width", []float64{s.Width}, 1)
	if s.Width < 0 {
		c.fail(fmt.Sprintf("bar width %g", s.Width), "a width above 0, or 0 to choose one")
	}
	c.categories("X", s.X, p.X.Ticks)
	c.categories("Y", s.Y, p.Y.Ticks)
}

func (c *checker) checkAxis(a Axis) {
	if strings.TrimSpace(a.Label) == "" {
		c.fail("no label", "what is measured, with its unit")
	}
	for _, end := range []*float64{a.Min, a.Max} {
		if end != nil {
			c.numbers("Min or Max", []float64{*end}, 1)
		}
	}
	if a.Min != nil && a.Max != nil && *a.Min > *a.Max {
		c.fail(fmt.Sprintf("Min %g and Max %g", *a.Min, *a.Max), "Min not above Max")
	}
}

// numbers wants n finite values.
func (c *checker) numbers(what string, values []float64, n int) {
	if len(values) != n {
		c.fail(fmt.Sprintf("%d values in %s", len(values), what), fmt.Sprintf("%d; leave out a series without data", n))
	}
	for i, v := range values {
		if !(math.Abs(v) <= largest) {
			c.fail(fmt.Sprintf("value %d of %s is %g", i+1, what, v), "a finite number of at most 1e15; leave out points without a value")
			return
		}
	}
}

func (c *checker) interval(low, high []float64, n int) {
	c.numbers("Low", low, n)
	c.numbers("High", high, n)
	for i := range min(len(low), len(high)) {
		if low[i] > high[i] {
			c.fail(fmt.Sprintf("interval %d from %g to %g", i+1, low[i], high[i]), "Low not above High")
			return
		}
	}
}

func (c *checker) categories(what string, values []float64, ticks []string) {
	if ticks == nil {
		return
	}
	for i, v := range values {
		if v < -0.5 || v > float64(len(ticks))-0.5 {
			c.fail(fmt.Sprintf("value %d of %s is %g", i+1, what, v), fmt.Sprintf("the number of one of %d categories, from 0", len(ticks)))
			return
		}
	}
}
