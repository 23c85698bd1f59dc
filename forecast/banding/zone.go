package banding

import (
	"fmt"
	"math"
	"slices"
)

// Interval is a dose with the ends of its interval. An end is nil where it lies
// beyond the tested doses.
type Interval struct {
	Value float64  `json:"value"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
}

// Optimum is the dose of the maximum, −b/2c, with Fieller's interval: the doses at
// which the slope cannot be told from none (Fieller 1954, J R Stat Soc B 16:175, from
// memory). It is finite, since the bend is shown at the same level.
func (c *Curve) Optimum() Interval {
	b, q := c.beta[1], c.beta[2]
	t2 := c.t() * c.t() * c.SD * c.SD
	// (b + 2qu)² ≤ t²·var(b + 2qu), a quadratic in u
	a0 := b*b - t2*c.cov.At(1, 1)
	a1 := 4 * (b*q - t2*c.cov.At(1, 2))
	a2 := 4 * (q*q - t2*c.cov.At(2, 2))
	root := math.Sqrt(math.Max(0, a1*a1-4*a2*a0))
	return Interval{c.dose(c.vertex()), c.inside((-a1 - root) / (2 * a2)), c.inside((-a1 + root) / (2 * a2))}
}

func (c *Curve) inside(u float64) *float64 {
	if u < -1 || u > 1 {
		return nil
	}
	v := c.dose(u)
	return &v
}

// Edges are the doses below and above the optimum at which the mean figure falls to
// the limit, with the doses whose mean cannot be told from the limit as their
// intervals (the band of the mean, inverted). An edge is nil where the mean is still
// above the limit at the last tested dose. The limit is taken as known. A limit above
// the maximum is an *Error.
func (c *Curve) Edges(limit float64) (below, above *Interval, err error) {
	top := c.vertex()
	most, _ := c.at(top)
	if math.IsNaN(limit) || !(limit < most) {
		return nil, nil, &Error{fmt.Sprintf("a limit of %.6g", limit), fmt.Sprintf("one below the maximum, %.6g", most), "state a limit that the flour can meet"}
	}
	half := math.Sqrt((most - limit) / -c.beta[2])
	return c.edge(top-half, top, -1, limit), c.edge(top+half, top, 1, limit), nil
}

// edge is the edge at u with the way to either side walked until the band of the mean
// leaves the limit: inwards as far as the optimum, outwards as far as was tested.
func (c *Curve) edge(u, top, outwards, limit float64) *Interval {
	if math.Abs(u) > 1 {
		return nil
	}
	out, in := c.walk(u, outwards, limit), c.walk(u, top, limit)
	if outwards < 0 {
		return &Interval{c.dose(u), out, in}
	}
	return &Interval{c.dose(u), in, out}
}

func (c *Curve) walk(from, to, limit float64) *float64 {
	beyond := func(u float64) bool {
		y, half := c.at(u)
		return math.Abs(y-limit) > half
	}
	before := from
	for i := 1; i <= steps; i++ {
		u := from + (to-from)*float64(i)/steps
		if !beyond(u) {
			before = u
			continue
		}
		for range 60 {
			if m := (before + u) / 2; beyond(m) {
				u = m
			} else {
				before = m
			}
		}
		v := c.dose(u)
		return &v
	}
	return nil
}

// Name says what a stretch of doses is.
type Name string

// Names of zones, by the mean figure of the flours tested.
const (
	OutOfBounds Name = "out of bounds" // its mean lies below the limit
	CannotTell  Name = "cannot tell"   // its mean cannot be told from the limit
	Acceptable  Name = "acceptable"    // its mean lies above the limit
	Optimum     Name = "optimum"       // acceptable, and the maximum may lie there
)

// Zone is a stretch of tested doses.
type Zone struct {
	Name Name    `json:"zone"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// Zones part the tested doses by optimum and edges, in order of the dose. Errors are
// those of Edges.
func (c *Curve) Zones(limit float64) ([]Zone, error) {
	below, above, err := c.Edges(limit)
	if err != nil {
		return nil, err
	}
	best := c.Optimum()
	cuts := []float64{c.Low, c.High}
	for _, i := range []*Interval{below, &best, above} {
		if i != nil {
			cuts = append(cuts, end(i.Low, c.Low), end(i.High, c.High))
		}
	}
	slices.Sort(cuts)
	in := func(i *Interval, d float64) bool {
		return i != nil && d >= end(i.Low, c.Low) && d <= end(i.High, c.High)
	}
	var out []Zone
	for k := 1; k < len(cuts); k++ {
		from, to := cuts[k-1], cuts[k]
		if to <= from {
			continue
		}
		name, d := Acceptable, (from+to)/2
		y, _, _ := c.Mean(d)
		switch {
		case in(below, d) || in(above, d):
			name = CannotTell
		case y < limit:
			name = OutOfBounds
		case in(&best, d):
			name = Optimum
		}
		if n := len(out); n > 0 && out[n-1].Name == name {
			out[n-1].To = to
			continue
		}
		out = append(out, Zone{name, from, to})
	}
	return out, nil
}

func end(v *float64, without float64) float64 {
	if v == nil {
		return without
	}
	return *v
}
