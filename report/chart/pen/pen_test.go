package pen

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

type rgb [3]float64 // linear light, 0 to 1

func parse(t *testing.T, hex string) rgb {
	t.Helper()
	var v [3]int
	if n, err := fmt.Sscanf(hex, "#%02X%02X%02X", &v[0], &v[1], &v[2]); n != 3 || err != nil || len(hex) != 7 {
		t.Fatalf("colour %q: %v", hex, err)
	}
	var out rgb
	for i := range v {
		c := float64(v[i]) / 255
		if c <= 0.04045 {
			out[i] = c / 12.92
		} else {
			out[i] = math.Pow((c+0.055)/1.055, 2.4)
		}
	}
	return out
}

// luminance is the relative luminance of WCAG 2 (W3C, 2018).
func (c rgb) luminance() float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

func contrast(a, b rgb) float64 {
	x, y := a.luminance(), b.luminance()
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// lab is CIE L*a*b* for D65 from linear sRGB (IEC 61966-2-1).
func (c rgb) lab() (l, a, b float64) {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (841.0/108)*t + 4.0/29
	}
	x := f((0.4124564*c[0] + 0.3575761*c[1] + 0.1804375*c[2]) / 0.95047)
	y := f(0.2126729*c[0] + 0.7151522*c[1] + 0.0721750*c[2])
	z := f((0.0193339*c[0] + 0.1191920*c[1] + 0.9503041*c[2]) / 1.08883)
	return 116*y - 16, 500 * (x - y), 200 * (y - z)
}

// difference is the CIE 1994 colour difference with the factors for graphic arts.
func difference(p, q rgb) float64 {
	l1, a1, b1 := p.lab()
	l2, a2, b2 := q.lab()
	c1, c2 := math.Hypot(a1, b1), math.Hypot(a2, b2)
	dc := c1 - c2
	dh2 := max(0, (a1-a2)*(a1-a2)+(b1-b2)*(b1-b2)-dc*dc)
	s := math.Sqrt(c1 * c2)
	return math.Sqrt((l1-l2)*(l1-l2) + dc*dc/((1+0.045*s)*(1+0.045*s)) + dh2/((1+0.015*s)*(1+0.015*s)))
}

// Full protanopia, deuteranopia and tritanopia as 3 × 3 matrices on linear RGB:
// Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15, 2009,
// severity 1 (figures from memory of their published table).
var sights = map[string][3]rgb{
	"full":         {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

func seen(m [3]rgb, c rgb) rgb {
	var out rgb
	for i := range m {
		out[i] = min(1, max(0, m[i][0]*c[0]+m[i][1]*c[1]+m[i][2]*c[2]))
	}
	return out
}

func TestInksDifferForEverySight(t *testing.T) {
	// A difference of about 2 is just seen by a trained eye; 9 is plain at a glance (common practice, no source).
	const plain = 9
	for sight, m := range sights {
		for i := range inks {
			for j := range i {
				for look, pair := range map[string][2]string{"light": {inks[i].light, inks[j].light}, "dark": {inks[i].dark, inks[j].dark}} {
					if d := difference(seen(m, parse(t, pair[0])), seen(m, parse(t, pair[1]))); d < plain {
						t.Errorf("%s, %s: inks %d and %d differ by %.1f, want %d", sight, look, i, j, d, plain)
					}
				}
			}
		}
	}
}

func TestContrast(t *testing.T) {
	// WCAG 2.1: 3:1 for graphics (1.4.11), 4.5:1 for text (1.4.3).
	for i, ink := range inks {
		if c := contrast(parse(t, ink.light), parse(t, Paper.light)); c < 3 {
			t.Errorf("ink %d on paper: %.2f", i, c)
		}
		if c := contrast(parse(t, ink.dark), parse(t, Paper.dark)); c < 3 {
			t.Errorf("ink %d on a dark page: %.2f", i, c)
		}
	}
	for _, words := range []Tint{Words, Quiet} {
		if c := contrast(parse(t, words.light), parse(t, Paper.light)); c < 4.5 {
			t.Errorf("words %s: %.2f", words.light, c)
		}
		if c := contrast(parse(t, words.dark), parse(t, Paper.dark)); c < 4.5 {
			t.Errorf("words %s: %.2f", words.dark, c)
		}
	}
}

func TestDarkStyleTurnsEveryTint(t *testing.T) {
	css := DarkStyle()
	for _, tint := range append([]Tint{Paper, Words, Quiet, Grid}, inks...) {
		for _, p := range []string{"fill", "stroke"} {
			if rule := ".chart [" + p + `="` + tint.light + `"]{` + p + ":" + tint.dark + "}"; !strings.Contains(css, rule) {
				t.Errorf("the dark style lacks %s", rule)
			}
		}
	}
}

func TestFirstInksDifferInGrey(t *testing.T) {
	for i := range 3 {
		for j := range i {
			a, _, _ := parse(t, inks[i].light).lab()
			b, _, _ := parse(t, inks[j].light).lab()
			if math.Abs(a-b) < 12 {
				t.Errorf("inks %d and %d: lightness %.0f and %.0f", i, j, a, b)
			}
		}
	}
}

func TestInkDashAndGlyphDoNotComeBackTogether(t *testing.T) {
	type look struct {
		ink   string
		dash  string
		glyph Shape
	}
	seen := map[look]int{}
	for i := range 36 {
		l := look{Ink(i).light, fmt.Sprint(Dash(i)), glyph(i)}
		if j, twice := seen[l]; twice {
			t.Errorf("inks %d and %d look the same", j, i)
		}
		seen[l] = i
	}
	for _, i := range []int{-1, -37, math.MinInt, math.MaxInt} {
		Ink(i)
		Dash(i)
		glyph(i)
	}
}

func TestTicks(t *testing.T) {
	cases := []struct {
		low, high float64
		want      int
		text      string
	}{
		{0, 10, 5, "0 2 4 6 8 10"},
		{0, 13, 7, "0 2 4 6 8 10 12"},
		{-0.32, 0.27, 4, "−0.2 0.0 0.2"},
		{2.14, 4.9, 6, "2.5 3.0 3.5 4.0 4.5"},
		{0, 1, 4, "0.00 0.25 0.50 0.75 1.00"},
		{45, 98, 1, "50 75"},
		{1e-9, 4e-9, 4, "1e−09 2e−09 3e−09 4e−09"},
		{0, 3e8, 3, "0 1e+08 2e+08 3e+08"},
	}
	for _, c := range cases {
		var got []string
		for _, tick := range Ticks(Extent{Low: c.low, High: c.high}, c.want) {
			got = append(got, tick.Text)
		}
		if s := strings.Join(got, " "); s != c.text {
			t.Errorf("%g to %g: %s, want %s", c.low, c.high, s, c.text)
		}
	}
}

func TestTicksStayInsideAndRise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1e15, 1e15).Draw(t, "low")
		e := Extent{Low: low, High: low + rapid.Float64Range(1e-6, 1).Draw(t, "share")*max(1e-3, math.Abs(low))}
		want := rapid.IntRange(-2, 20).Draw(t, "want")
		ticks := Ticks(e, want)
		if len(ticks) < 2 || len(ticks) > 2*max(want, 2)+4 {
			t.Fatalf("%d ticks, wanted about %d", len(ticks), want)
		}
		for i, tick := range ticks {
			if tick.At < e.Low-1e-6*e.Width() || tick.At > e.High+1e-6*e.Width() {
				t.Fatalf("tick %g outside %g to %g", tick.At, e.Low, e.High)
			}
			if i > 0 && tick.At <= ticks[i-1].At {
				t.Fatalf("tick %g after %g", tick.At, ticks[i-1].At)
			}
		}
	})
}

func TestThinKeepsTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		point := rapid.Custom(func(t *rapid.T) Point {
			return Point{rapid.Float64Range(0, 9).Draw(t, "x"), rapid.Float64Range(0, 9).Draw(t, "y")}
		})
		line := rapid.SliceOfN(point, 2, 40).Draw(t, "line")
		tolerance := rapid.Float64Range(0, 2).Draw(t, "tolerance")
		thin := thin(line, tolerance)
		if thin[0] != line[0] || thin[len(thin)-1] != line[len(line)-1] {
			t.Fatal("an end is gone")
		}
		for _, p := range line {
			closest := math.Inf(1)
			for i := 1; i < len(thin); i++ {
				closest = min(closest, distance(p, thin[i-1], thin[i]))
			}
			if closest > tolerance+1e-9 {
				t.Fatalf("%v is %g away from the thinned line, tolerance %g", p, closest, tolerance)
			}
		}
	})
	straight := []Point{{0, 0}, {1, 1}, {2, 2}, {3, 3}, {4, 0}}
	if got, want := thin(straight, 0.1), []Point{{0, 0}, {3, 3}, {4, 0}}; !reflect.DeepEqual(got, want) {
		t.Errorf("thinned %v, want %v", got, want)
	}
}

func TestDense(t *testing.T) {
	got := Dense([]Point{{0, 0}, {10, 0}, {10, 1}}, 4)
	if len(got) != 5 {
		t.Fatalf("%v", got)
	}
	for i := 1; i < len(got); i++ {
		if d := math.Hypot(got[i].X-got[i-1].X, got[i].Y-got[i-1].Y); d > 4+1e-9 {
			t.Errorf("step %d is %g long", i, d)
		}
	}
}

func TestFlagsDoNotCollide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		flags := make([]Flag, rapid.IntRange(0, 8).Draw(t, "n"))
		for i := range flags {
			flags[i] = Flag{At: rapid.Float64Range(0, 300).Draw(t, "at"), Text: strings.Repeat("m", rapid.IntRange(1, 40).Draw(t, "length"))}
		}
		rows := PlaceFlags(flags, 0, 300, 11)
		for i, a := range flags {
			half := Width(a.Text, 11) / 2
			if a.At-half < -1e-9 || a.At+half > 300+1e-9 || a.Row >= rows {
				t.Fatalf("flag %+v leaves 0 to 300 in %d rows", a, rows)
			}
			for _, b := range flags[:i] {
				if a.Row == b.Row && math.Abs(a.At-b.At) < half+Width(b.Text, 11)/2 {
					t.Fatalf("%+v covers %+v", a, b)
				}
			}
		}
	})
}

func TestLabelsKeepApartAndInside(t *testing.T) {
	l := Labels{Size: 11, Area: Box{Point{0, 0}, Point{400, 300}}}
	places := []Point{{200, 150}, {205, 150}, {200, 155}, {2, 2}, {398, 298}}
	for _, p := range places {
		l.place(p, 70, 14)
	}
	for i, a := range l.Taken {
		if a.A.X < 0 || a.A.Y < 0 || a.B.X > 400 || a.B.Y > 300 {
			t.Errorf("label %d leaves the area: %v", i, a)
		}
		for _, b := range l.Taken[:i] {
			if a.over(b) {
				t.Errorf("%v covers %v", a, b)
			}
		}
	}
}

func TestLabelAvoidsData(t *testing.T) {
	l := Labels{Size: 11, Area: Box{Point{0, 0}, Point{400, 300}}, Data: Dense([]Point{{0, 140}, {400, 140}}, 4)}
	if b := l.place(Point{200, 150}, 70, 14); b.over(Box{Point{0, 139}, Point{400, 141}}) {
		t.Errorf("the label at %v covers the line", b)
	}
}

func TestCut(t *testing.T) {
	if got := Cut("short", 11, 200); got != "short" {
		t.Errorf("%q", got)
	}
	long := strings.Repeat("viscosity ", 20)
	for _, width := range []float64{0, 5, 30, 120} {
		got := Cut(long, 11, width)
		if !strings.HasSuffix(got, "…") || width >= 30 && Width(got, 11) > width {
			t.Errorf("width %g: %q is %g wide", width, got, Width(got, 11))
		}
	}
}

// Widths by hand from the advance widths of the metric-compatible faces, in
// thousandths of the size: digit 556, comma 278, capital N 722 (Adobe Core 14
// AFM files, Helvetica).
func TestWidth(t *testing.T) {
	for text, want := range map[string]float64{"1234": 4 * 556, "N": 722, "0,0": 556 + 278 + 556} {
		if got := Width(text, 1000); math.Abs(got-want) > 1 {
			t.Errorf("%q: %g, want %g", text, got, want)
		}
	}
}

func TestLegendBreaksIntoRowsInside(t *testing.T) {
	var entries []Entry
	for i := range 9 {
		entries = append(entries, Entry{Name: fmt.Sprintf("crop year %d", 2020+i), Glyph: true})
	}
	l := Legend{Size: 11, Row: 17}
	bottom := l.Add(entries, 10, 300, 50)
	if want := 50 + 17*float64(len(l.rows)); bottom != want || len(l.rows) < 2 {
		t.Errorf("%d rows end at %g, want %g", len(l.rows), bottom, want)
	}
	n := 0
	for _, r := range l.rows {
		for i, e := range r.entries {
			n++
			if r.at[i] < 10 || r.at[i]+sample+Width(e.Name, 11) > 300 {
				t.Errorf("%q stands at %g", e.Name, r.at[i])
			}
		}
	}
	if n != 9 {
		t.Errorf("%d entries of 9", n)
	}
	if got := l.Add(nil, 10, 300, bottom); got != bottom {
		t.Errorf("no entries took %g", got-bottom)
	}
}
