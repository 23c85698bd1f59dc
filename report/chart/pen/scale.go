package pen

import (
	"math"
	"strconv"
	"strings"
)

// Extent is a range of values. The zero Extent covers nothing.
type Extent struct {
	Low, High float64
	filled    bool
}

// Cover widens the extent to hold the values.
func (e *Extent) Cover(values ...float64) {
	for _, v := range values {
		if !e.filled {
			e.Low, e.High, e.filled = v, v, true
		}
		e.Low, e.High = min(e.Low, v), max(e.High, v)
	}
}

// Width is the difference of the ends.
func (e Extent) Width() float64 { return e.High - e.Low }

// Narrow reports that the ends are equal but for rounding, so that the extent
// gives no scale.
func (e Extent) Narrow() bool {
	return e.Width() <= 1e-9*max(math.Abs(e.Low), math.Abs(e.High))
}

// Scale maps values linearly: Low to From, High to To.
type Scale struct {
	Extent
	From, To float64
}

// At is a value's place.
func (s Scale) At(v float64) float64 {
	return s.From + (v-s.Low)/s.Width()*(s.To-s.From)
}

// Tick is one labelled place of an axis.
type Tick struct {
	At   float64
	Text string
}

// Ticks returns round values inside an extent that is not narrow: steps of 1,
// 2, 2.5 or 5 times a power of ten, at a distance as near as can be to
// want ticks, and two at least.
func Ticks(e Extent, want int) []Tick {
	want = max(want, 2)
	for {
		out := ticks(e, e.Width()/float64(want))
		if len(out) >= 2 {
			return out
		}
		want++
	}
}

// Categories returns one tick for each name, at 0, 1, 2 and so on.
func Categories(names []string) []Tick {
	out := make([]Tick, len(names))
	for i, n := range names {
		out[i] = Tick{float64(i), n}
	}
	return out
}

func ticks(e Extent, ideal float64) []Tick {
	power := math.Floor(math.Log10(ideal))
	step, decimals, off := 0.0, 0, math.Inf(1)
	for _, m := range []struct {
		times    float64
		decimals int
	}{{1, 0}, {2, 0}, {2.5, 1}, {5, 0}, {10, -1}} {
		s := m.times * math.Pow(10, power)
		if d := math.Abs(math.Log(s / ideal)); d < off {
			step, decimals, off = s, max(0, m.decimals-int(power)), d
		}
	}
	var out []Tick
	first, last := math.Ceil(e.Low/step-1e-6), math.Floor(e.High/step+1e-6)
	for i := 0.0; first+i <= last; i++ {
		v := (first + i) * step
		if first+i == 0 {
			v = 0 // not −0
		}
		text := strconv.FormatFloat(v, 'f', decimals, 64)
		if power < -5 || math.Abs(v) >= 1e7 {
			text = strconv.FormatFloat(v, 'g', 4, 64)
		}
		out = append(out, Tick{v, strings.Replace(text, "-", "−", 1)})
	}
	return out
}

// thin drops points of a line that lie closer than a tolerance to the line
// without them (Douglas and Peucker, Cartographica 10, 1973), so that fifty
// curves of a thousand points do not make a page of megabytes. The ends stay;
// what is returned may share memory with line.
func thin(line []Point, tolerance float64) []Point {
	if len(line) < 3 {
		return line
	}
	keep := make([]bool, len(line))
	keep[0], keep[len(line)-1] = true, true
	open := [][2]int{{0, len(line) - 1}}
	for len(open) > 0 {
		from, to := open[len(open)-1][0], open[len(open)-1][1]
		open = open[:len(open)-1]
		far, at := tolerance, -1
		for i := from + 1; i < to; i++ {
			if d := distance(line[i], line[from], line[to]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			open = append(open, [2]int{from, at}, [2]int{at, to})
		}
	}
	var out []Point
	for i, p := range line {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// distance from p to the stretch between a and b.
func distance(p, a, b Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if length := dx*dx + dy*dy; length > 0 {
		t = min(1, max(0, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/length))
	}
	return math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy)
}

// Dense puts points on a line at most a distance apart.
func Dense(line []Point, apart float64) []Point {
	var out []Point
	for i, p := range line {
		if i > 0 {
			q := line[i-1]
			n := math.Ceil(math.Hypot(p.X-q.X, p.Y-q.Y) / apart)
			for k := 1.0; k < n; k++ {
				out = append(out, Point{q.X + k/n*(p.X-q.X), q.Y + k/n*(p.Y-q.Y)})
			}
		}
		out = append(out, p)
	}
	return out
}
