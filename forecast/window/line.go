package window

import (
	"math"
	"slices"
)

// Stretch is a part of a feature's calibrated range that lies in one zone.
type Stretch struct {
	Zone string  `json:"zone"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// Point is what may be expected at one value of the feature. Low and High are the
// value ± 1.645 SD, within which about 90 % of lots lie.
type Point struct {
	X     float64 `json:"x"`
	P     float64 `json:"p"`
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Line is a window over one feature. From and To are the calibrated range, beyond
// which nothing is known; Stretches cover it in order. Best is where the
// probability is highest.
type Line struct {
	From      float64   `json:"from"`
	To        float64   `json:"to"`
	Best      Point     `json:"best"`
	Stretches []Stretch `json:"stretches"`
	Points    []Point   `json:"points"`
}

const steps = 120 // of a line, over the calibrated range

// Line walks the calibrated range of a Surface over one feature. It returns a
// *ValueError for thresholds that Check refuses, and At's errors.
func (s *Surface) Line(t Thresholds) (*Line, error) {
	if err := t.Check(); err != nil {
		return nil, err
	}
	if len(s.by) != 1 {
		return nil, &ValueError{"chosen features", "two", "one for a line"}
	}
	_, z := s.Lots()
	l := &Line{From: slices.Min(z[0]), To: slices.Max(z[0])}
	for i := range steps + 1 {
		p, err := s.point(l.From + (l.To-l.From)*float64(i)/steps)
		if err != nil {
			return nil, err
		}
		l.Points = append(l.Points, p)
		if i == 0 || p.P > l.Best.P {
			l.Best = p
		}
	}
	from := l.From
	for i := 1; i <= steps; i++ {
		a, b := l.Points[i-1], l.Points[i]
		for zone := t.Zone(a.P); zone != t.Zone(b.P); zone = t.Zone(a.P) {
			// A step may pass two thresholds: take the one nearer to a.
			edge, err := s.edge(a.X, b.X, t)
			if err != nil {
				return nil, err
			}
			l.Stretches = append(l.Stretches, Stretch{zone, from, edge.X})
			from, a = edge.X, edge
		}
	}
	l.Stretches = append(l.Stretches, Stretch{t.Zone(l.Points[steps].P), from, l.To})
	return l, nil
}

func (s *Surface) point(x float64) (Point, error) {
	at, err := s.At(x)
	const ninety = 1.6448536269514722 // normal quantile of 0.95
	return Point{x, at.P, at.Value, at.Value - ninety*at.SD, at.Value + ninety*at.SD}, err
}

// edge is the first point beyond a, towards b, that lies in another zone than a.
func (s *Surface) edge(a, b float64, t Thresholds) (Point, error) {
	first, err := s.point(a)
	if err != nil {
		return first, err
	}
	out, err := s.point(b)
	for err == nil && math.Abs(b-a) > 1e-9*(math.Abs(a)+math.Abs(b)) {
		half := a + (b-a)/2
		var p Point
		if p, err = s.point(half); t.Zone(p.P) == t.Zone(first.P) {
			a = half
		} else {
			b, out = half, p
		}
	}
	return out, err
}

// Zone is the zone of a lot whose feature is x: not known beyond the calibrated range.
func (l *Line) Zone(s *Surface, t Thresholds, x float64) (zone string, p float64, err error) {
	if x < l.From || x > l.To {
		return NotKnown, 0, nil
	}
	at, err := s.At(x)
	return t.Zone(at.P), at.P, err
}
