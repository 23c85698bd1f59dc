package window

import (
	"math"
	"slices"
)

// Map is a window over two features, on a grid of X by Y. P is the probability at
// X[i], Y[j], absent where no lots stand around: outside their convex hull. Zones
// are its stretches along Y for each X, Contours the lines of equal probability.
type Map struct {
	X        []float64    `json:"x"`
	Y        []float64    `json:"y"`
	P        [][]*float64 `json:"p"` // [x][y]
	Hull     []Spot       `json:"hull"`
	Zones    [][]Stretch  `json:"zones"` // of each X
	Contours []Contour    `json:"contours"`
	Best     Spot         `json:"best"`
	BestP    float64      `json:"best_p"`
}

// Spot is a place on the map.
type Spot struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// Contour is a line on which the probability is P.
type Contour struct {
	P    float64 `json:"p"`
	Line []Spot  `json:"line"`
}

const cells = 48 // of a map, on either side

// Map works the grid out over the range of a Surface's two features, with contours
// at 0.2, 0.5, 0.8 and at the thresholds. It returns a *ValueError for thresholds that Check
// refuses, and At's errors.
func (s *Surface) Map(t Thresholds) (*Map, error) {
	if err := t.Check(); err != nil {
		return nil, err
	}
	if len(s.by) != 2 {
		return nil, &ValueError{"chosen features", "one", "two for a map"}
	}
	_, z := s.Lots()
	m := &Map{X: grid(z[0]), Y: grid(z[1]), Hull: hull(z[0], z[1]), BestP: -1, Contours: []Contour{}}
	m.P = make([][]*float64, len(m.X))
	for i, x := range m.X {
		m.P[i] = make([]*float64, len(m.Y))
		for j, y := range m.Y {
			if !m.Known(x, y) {
				continue
			}
			at, err := s.At(x, y)
			if err != nil {
				return nil, err
			}
			m.P[i][j] = &at.P
			if at.P > m.BestP {
				m.Best, m.BestP = Spot{x, y}, at.P
			}
		}
		column, err := s.column(m, i, t)
		if err != nil {
			return nil, err
		}
		m.Zones = append(m.Zones, column)
	}
	levels := []float64{0.2, 0.5, 0.8, t.Acceptable, t.Target}
	slices.Sort(levels)
	for _, p := range slices.Compact(levels) {
		for _, line := range m.contour(p) {
			m.Contours = append(m.Contours, Contour{p, line})
		}
	}
	return m, nil
}

func grid(values []float64) []float64 {
	low, high := slices.Min(values), slices.Max(values)
	out := make([]float64, cells+1)
	for i := range out {
		out[i] = low + (high-low)*float64(i)/cells
	}
	out[cells] = high
	return out
}

// column gives the zones along Y at X[i], from edge to edge of the hull.
func (s *Surface) column(m *Map, i int, t Thresholds) ([]Stretch, error) {
	out := stretches(m.Y, m.P[i], t)
	low, high := m.KnownAt(m.X[i])
	if low > high { // by rounding beyond the outermost lot
		return out, nil
	}
	if len(out) > 0 {
		out[0].From, out[len(out)-1].To = min(low, out[0].To), max(high, out[len(out)-1].From)
		return out, nil
	}
	at, err := s.At(m.X[i], low+(high-low)/2)
	return []Stretch{{t.Zone(at.P), low, high}}, err
}

// stretches are the zones along one column of the grid, edges between grid points
// by proportion; what is not known is left out.
func stretches(y []float64, p []*float64, t Thresholds) []Stretch {
	out := []Stretch{}
	for j := range y {
		if p[j] == nil {
			continue
		}
		zone := t.Zone(*p[j])
		if j == 0 || p[j-1] == nil {
			out = append(out, Stretch{zone, y[j], y[j]})
			continue
		}
		last := &out[len(out)-1]
		for last.Zone != zone {
			level, next := t.Target, Acceptable
			switch a := *p[j-1]; {
			case last.Zone == OutOfBounds: // rising
				level = t.Acceptable
			case last.Zone == Acceptable && a < *p[j]: // rising
				next = Target
			case last.Zone == Acceptable: // falling
				level, next = t.Acceptable, OutOfBounds
			}
			last.To = y[j-1] + (y[j]-y[j-1])*(level-*p[j-1])/(*p[j]-*p[j-1])
			out = append(out, Stretch{next, last.To, last.To})
			last = &out[len(out)-1]
		}
		last.To = y[j]
	}
	return out
}

// hull is the convex hull of points, counter-clockwise (Andrew's monotone chain).
func hull(x, y []float64) []Spot {
	points := make([]Spot, len(x))
	for i := range x {
		points[i] = Spot{x[i], y[i]}
	}
	slices.SortFunc(points, func(a, b Spot) int {
		switch {
		case a.X < b.X || a.X == b.X && a.Y < b.Y:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	half := func(points []Spot) []Spot {
		var chain []Spot
		for _, p := range points {
			for len(chain) > 1 && turn(chain[len(chain)-2], chain[len(chain)-1], p) <= 0 {
				chain = chain[:len(chain)-1]
			}
			chain = append(chain, p)
		}
		return chain[:len(chain)-1]
	}
	lower := half(points)
	slices.Reverse(points)
	return append(lower, half(points)...)
}

// turn is above 0 where a, b, c turn left.
func turn(a, b, c Spot) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }

// Known reports whether lots stand around a place: it lies in their convex hull.
func (m *Map) Known(x, y float64) bool {
	// What rounding makes of a lot on the edge is inside.
	width, height := m.X[cells]-m.X[0], m.Y[cells]-m.Y[0]
	for i, a := range m.Hull {
		b := m.Hull[(i+1)%len(m.Hull)]
		if turn(a, b, Spot{x, y}) < -1e-9*width*height {
			return false
		}
	}
	return true
}

// KnownAt is the range of Y in which lots stand around at x, which must lie in the
// range of X.
func (m *Map) KnownAt(x float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i, a := range m.Hull {
		b := m.Hull[(i+1)%len(m.Hull)]
		if x < min(a.X, b.X) || x > max(a.X, b.X) {
			continue
		}
		ends := []float64{a.Y, b.Y}
		if a.X != b.X {
			y := a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)
			ends = []float64{y}
		}
		for _, y := range ends {
			low, high = min(low, y), max(high, y)
		}
	}
	return low, high
}

// Zone is the zone of a lot at a place: not known outside the lots.
func (m *Map) Zone(s *Surface, t Thresholds, x, y float64) (zone string, p float64, err error) {
	if !m.Known(x, y) {
		return NotKnown, 0, nil
	}
	at, err := s.At(x, y)
	return t.Zone(at.P), at.P, err
}
