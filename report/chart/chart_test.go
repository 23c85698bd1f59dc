package chart

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "rewrite the golden files; the run still fails")

// golden compares with testdata/name; what was got stays beside it as *.got.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	want, err := os.ReadFile(path)
	if err == nil && bytes.Equal(got, want) {
		os.Remove(path + ".got")
		return
	}
	if err := os.MkdirAll("testdata", 0o755); err != nil {
		t.Fatal(err)
	}
	target := path + ".got"
	if *update {
		target = path
	}
	if err := os.WriteFile(target, got, 0o644); err != nil {
		t.Fatal(err)
	}
	t.Errorf("%s differs; wrote %s: look at it before you commit it", path, target)
}

func wellFormed(svg []byte) error {
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := d.Token(); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// draw fails the test unless f gives well-formed SVG.
func draw(t testing.TB, f Figure) string {
	t.Helper()
	b, err := SVG(f)
	if err != nil {
		t.Fatalf("%s: %v", f.ID, err)
	}
	if err := wellFormed(b); err != nil {
		t.Fatalf("%s: not well-formed: %v", f.ID, err)
	}
	return string(b)
}

func TestSamplesAgainstGolden(t *testing.T) {
	for _, f := range samples() {
		t.Run(f.ID, func(t *testing.T) { golden(t, f.ID+".svg", []byte(draw(t, f))) })
	}
}

func TestSameFigureSameBytes(t *testing.T) {
	for _, f := range samples() {
		if first, second := draw(t, f), draw(t, f); first != second {
			t.Errorf("%s: two drawings differ", f.ID)
		}
	}
}

func TestFigureSurvivesJSON(t *testing.T) {
	for _, f := range samples() {
		b, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		var back Figure
		if err := json.Unmarshal(b, &back); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(f, back) {
			t.Errorf("%s changed by a JSON round trip", f.ID)
		}
		if draw(t, f) != draw(t, back) {
			t.Errorf("%s draws otherwise after a JSON round trip", f.ID)
		}
	}
}

// A page embeds many figures: nothing in one may reach into another or outside.
func TestSVGStandsAlone(t *testing.T) {
	for _, f := range samples() {
		s := draw(t, f)
		for _, unwanted := range []string{" id=", "style", "<script", "url(", "href", "<?xml", "NaN", "Inf"} {
			if strings.Contains(s, unwanted) {
				t.Errorf("%s: contains %q", f.ID, unwanted)
			}
		}
		for _, wanted := range []string{`role="img"`, "<title>" + f.Title + "</title>", "<desc>" + f.Description + "</desc>", "viewBox=", "sans-serif"} {
			if !strings.Contains(s, wanted) {
				t.Errorf("%s: lacks %q", f.ID, wanted)
			}
		}
		if n := strings.Count(s, "http"); n != 1 || !strings.Contains(s, `xmlns="http://www.w3.org/2000/svg"`) {
			t.Errorf("%s: %d addresses, want the SVG namespace only", f.ID, n)
		}
	}
}

// Every colour that figures use must have its dark counterpart in DarkStyle.
func TestDarkStyleKnowsEveryColour(t *testing.T) {
	colour := regexp.MustCompile(`(fill|stroke)="(#[0-9A-F]{6})"`)
	found := 0
	for _, f := range samples() {
		for _, m := range colour.FindAllStringSubmatch(draw(t, f), -1) {
			found++
			if !strings.Contains(DarkStyle(), "["+m[1]+`="`+m[2]+`"]`) {
				t.Fatalf("%s: %s has no dark counterpart", f.ID, m[0])
			}
		}
	}
	if found == 0 {
		t.Fatal("no colour found in any sample")
	}
}

func TestEveryAxisIsNamedWithItsUnit(t *testing.T) {
	for _, f := range samples() {
		s := draw(t, f)
		for i, p := range f.Panels {
			if !strings.Contains(s, ">"+p.Y.Title()+"<") {
				t.Errorf("%s: panel %d: no y title %q", f.ID, i+1, p.Y.Title())
			}
			if !strings.Contains(s, ">"+p.X.Title()+"<") {
				t.Errorf("%s: panel %d: no x title %q", f.ID, i+1, p.X.Title())
			}
		}
	}
}

// plain is a figure that Check accepts; cases below break it.
func plain() Figure {
	return Figure{ID: "plain", Title: "t", Description: "d", Panels: []Panel{{
		X: Axis{Label: "time", Unit: "min"}, Y: Axis{Label: "viscosity", Unit: "mPa·s"},
		Series: []Series{{Name: "lot 12", Style: StyleLine, X: []float64{1, 2, 3}, Y: []float64{4, 5, 6}}},
		Bands:  []Band{{Name: "interval", X: []float64{1, 3}, Low: []float64{3, 5}, High: []float64{5, 7}}},
	}}}
}

func TestCheckNamesFigurePanelAndPart(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	cases := []struct {
		name  string
		spoil func(p *Panel)
		part  string
		found string
	}{
		{"NaN in y", func(p *Panel) { p.Series[0].Y[1] = nan }, `series "lot 12"`, "value 2 of Y is NaN"},
		{"Inf in x", func(p *Panel) { p.Series[0].X[2] = inf }, `series "lot 12"`, "value 3 of X is +Inf"},
		{"beyond any measurement", func(p *Panel) { p.Series[0].X[2] = 1e16 }, `series "lot 12"`, "value 3 of X is 1e+16"},
		{"empty series", func(p *Panel) { p.Series = append(p.Series, Series{Style: StylePoints}) }, "series 2", "0 values in X"},
		{"lengths differ", func(p *Panel) { p.Series[0].Y = p.Series[0].Y[:2] }, `series "lot 12"`, "2 values in Y"},
		{"labels differ", func(p *Panel) { p.Series[0].Labels = []string{"a"} }, `series "lot 12"`, "1 labels"},
		{"low without high", func(p *Panel) { p.Series[0].Low = []float64{1, 1, 1} }, `series "lot 12"`, "0 values in High"},
		{"interval upside down", func(p *Panel) { p.Bands[0].Low[1] = 9 }, `band "interval"`, "interval 2 from 9 to 7"},
		{"NaN in a band", func(p *Panel) { p.Bands[0].High[0] = nan }, `band "interval"`, "value 1 of High is NaN"},
		{"style", func(p *Panel) { p.Series[0].Style = "pie" }, `series "lot 12"`, `style "pie"`},
		{"bar width", func(p *Panel) { p.Series[0].Width = -1 }, `series "lot 12"`, "bar width -1"},
		{"no label", func(p *Panel) { p.X.Label = " " }, "x axis", "no label"},
		{"axis ends", func(p *Panel) { lo, hi := 3.5, 3.0; p.Y.Min, p.Y.Max = &lo, &hi }, "y axis", "Min 3.5 and Max 3"},
		{"axis end NaN", func(p *Panel) { p.Y.Max = &nan }, "y axis", "value 1 of Min or Max is NaN"},
		{"mark", func(p *Panel) { p.Marks = []Mark{{X: 1, Y: nan, Label: "peak"}} }, `mark "peak"`, "value 2 of its place is NaN"},
		{"reference line", func(p *Panel) { p.HLines = []Line{{At: nan}} }, "reference line 1", "value 1 of its place is NaN"},
		{"no such category", func(p *Panel) { p.X.Ticks = []string{"a", "b"} }, `series "lot 12"`, "value 2 of X is 2"},
		{"nothing to draw", func(p *Panel) { p.Series, p.Bands = nil, nil }, "", "neither series nor band"},
		{"height", func(p *Panel) { p.Height = nan }, "", "height NaN"},
		{"identity over categories", func(p *Panel) { p.Identity, p.X.Ticks = true, []string{"a", "b", "c", "d"} }, "", "an identity line over categories"},
	}
	if err := Check(plain()); err != nil {
		t.Fatalf("the unspoilt figure is refused: %v", err)
	}
	for _, c := range cases {
		f := plain()
		c.spoil(&f.Panels[0])
		_, err := SVG(f)
		var fault *DataError
		if !errors.As(err, &fault) {
			t.Errorf("%s: error %v, want a *DataError", c.name, err)
			continue
		}
		if fault.Figure != "plain" || fault.Panel != 1 || fault.Part != c.part || fault.Found != c.found || fault.Want == "" {
			t.Errorf("%s: %+v, want part %q, found %q", c.name, *fault, c.part, c.found)
		}
		for _, word := range []string{"plain", "panel 1", c.part, c.found} {
			if !strings.Contains(err.Error(), word) {
				t.Errorf("%s: message %q lacks %q", c.name, err, word)
			}
		}
	}
	if _, err := SVG(Figure{ID: "empty"}); err == nil || !strings.Contains(err.Error(), `figure "empty": no panel`) {
		t.Errorf("figure without panels: %v", err)
	}
}

func TestTextCannotBreakOut(t *testing.T) {
	const evil = "</title><script>alert(1)</script>\"'&\x00\x1b\xff"
	f := plain()
	p := &f.Panels[0]
	f.Title, f.Description, p.Title, p.X.Label, p.X.Unit, p.Y.Label = evil, evil, evil, evil, evil, evil
	p.Series[0].Name, p.Series[0].Labels, p.Bands[0].Name = evil, []string{evil, "", evil}, evil
	p.Marks = []Mark{{2, 5, evil}}
	p.HLines, p.VLines = []Line{{At: 5, Label: evil}}, []Line{{At: 2, Label: evil}}
	s := draw(t, f)
	if strings.Contains(s, "<script") || strings.Contains(s, "</title><s") {
		t.Error("a text became markup")
	}
}

// Nothing that is drawn may leave the canvas: the axes reach over all data.
func TestNothingLeavesTheCanvas(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		number := rapid.Custom(func(t *rapid.T) float64 {
			return rapid.Float64Range(-1, 1).Draw(t, "mantissa") * math.Pow(10, float64(rapid.IntRange(-300, 14).Draw(t, "power")))
		})
		n := rapid.IntRange(1, 8).Draw(rt, "n")
		numbers := func(name string) []float64 { return rapid.SliceOfN(number, n, n).Draw(rt, name) }
		low, high := numbers("low"), numbers("high")
		for i := range low {
			low[i], high[i] = min(low[i], high[i]), max(low[i], high[i])
		}
		style := rapid.SampledFrom([]string{StyleLine, StylePoints, StyleBars}).Draw(rt, "style")
		p := Panel{X: Axis{Label: "x"}, Y: Axis{Label: "y"}, Identity: rapid.Bool().Draw(rt, "identity"),
			Series: []Series{{Name: "s", Style: style, X: numbers("x"), Y: numbers("y"), Low: low, High: high, Ink: rapid.Int().Draw(rt, "ink")}},
			Marks:  []Mark{{number.Draw(rt, "mx"), number.Draw(rt, "my"), "mark"}},
			HLines: []Line{{At: number.Draw(rt, "h"), Label: "limit"}}, VLines: []Line{{At: number.Draw(rt, "v"), Label: "limit"}}}
		f := Figure{ID: "any", Panels: []Panel{p, p}, ShareX: rapid.Bool().Draw(rt, "share"), Columns: rapid.IntRange(-1, 3).Draw(rt, "columns")}
		for _, c := range arrange(f).cells {
			s := c.Series[0]
			for i := range s.X {
				for _, v := range []float64{s.Y[i], s.Low[i], s.High[i]} {
					x, y := c.x.At(s.X[i]), c.y.At(v)
					if !(x >= c.area.A.X-1e-6 && x <= c.area.B.X+1e-6 && y >= c.area.A.Y-1e-6 && y <= c.area.B.Y+1e-6) {
						rt.Fatalf("point %d at %g, %g lies outside %v", i, x, y, c.area)
					}
				}
			}
		}
		b, err := SVG(f)
		if err != nil {
			rt.Fatal(err)
		}
		if err := wellFormed(b); err != nil {
			rt.Fatal(err)
		}
		for _, word := range []string{"NaN", "Inf"} {
			if bytes.Contains(b, []byte(word)) {
				rt.Fatalf("the drawing contains %s", word)
			}
		}
	})
}

func TestSharedXAxesAreAligned(t *testing.T) {
	f := samples()[0]
	strip := &f.Panels[1].Series[0]
	strip.X, strip.Y = strip.X[:100], strip.Y[:100]
	l := arrange(f)
	a, b := l.cells[0], l.cells[1]
	if a.x != b.x {
		t.Errorf("x scales differ: %+v and %+v", a.x, b.x)
	}
	if a.labelX || !b.labelX {
		t.Error("the x axis must be labelled under the last panel only")
	}
	if a.area.B.Y >= b.area.A.Y {
		t.Error("the panels overlap")
	}
}

func TestIdentityPanelIsSquareWithEqualAxes(t *testing.T) {
	for _, f := range samples() {
		for _, c := range arrange(f).cells {
			if !c.Identity {
				continue
			}
			width, height := c.area.B.X-c.area.A.X, c.area.B.Y-c.area.A.Y
			if math.Abs(width-height) > 1e-9 || c.x.Low != c.y.Low || c.x.High != c.y.High {
				t.Errorf("%s: %g × %g, x %v, y %v", f.ID, width, height, c.x.Extent, c.y.Extent)
			}
		}
	}
}

func TestLegendStandsBelowTheData(t *testing.T) {
	text := regexp.MustCompile(`<text x="([\d.-]+)" y="([\d.-]+)"[^>]*>([^<]*)</text>`)
	for _, f := range samples() {
		bottom := 0.0
		names := map[string]bool{}
		for _, c := range arrange(f).cells {
			if f.ShareX || len(legendsOf(f)) == 1 {
				bottom = max(bottom, c.area.B.Y)
			}
			for _, s := range c.Series {
				names[s.Name] = s.Name != ""
			}
		}
		seen := 0
		for _, m := range text.FindAllStringSubmatch(draw(t, f), -1) {
			if y, _ := strconv.ParseFloat(m[2], 64); names[m[3]] {
				seen++
				if y <= bottom {
					t.Errorf("%s: legend %q at y %g, the data end at %g", f.ID, m[3], y, bottom)
				}
			}
		}
		want := 0
		for _, named := range names {
			if named {
				want++
			}
		}
		if seen < want {
			t.Errorf("%s: %d legend entries, want %d", f.ID, seen, want)
		}
	}
}

func TestSeriesOfOneNameShareAnEntry(t *testing.T) {
	got := legendOf([]Panel{{Series: []Series{
		{Name: "control run", Style: StyleLine}, {Name: "control run", Style: StylePoints}, {Name: "other", Style: StyleLine, Ink: 1}, {Style: StyleLine}}}})
	if len(got) != 2 || !got[0].Line || !got[0].Glyph || got[1].Name != "other" {
		t.Errorf("legend %+v", got)
	}
}

func TestBarsStandOnZero(t *testing.T) {
	p := Panel{X: Axis{Label: "x"}, Y: Axis{Label: "y"}, Series: []Series{{Style: StyleBars, X: []float64{1, 2}, Y: []float64{90, 100}}}}
	_, y := extents(p)
	if y.Low != 0 || y.High <= 100 {
		t.Errorf("bars of 90 and 100 on an axis from %g to %g", y.Low, y.High)
	}
	p.Y.Ticks = []string{"a", "b", "c"}
	p.Series[0].X, p.Series[0].Y = []float64{90, 100}, []float64{0, 2}
	x, _ := extents(p)
	if x.Low != 0 {
		t.Errorf("lying bars start at %g", x.Low)
	}
}

func TestAxisEndsWidenAndNeverHide(t *testing.T) {
	lo, hi := 4.5, 20.0
	p := plain().Panels[0]
	p.Y.Min, p.Y.Max = &lo, &hi
	_, y := extents(p)
	if y.Low > 3 || y.High != 20 {
		t.Errorf("y from %g to %g; want all data (3 to 7) and 20", y.Low, y.High)
	}
}

// A hatched area draws slanting lines inside itself only, and has a legend's sample.
func TestHatchedBand(t *testing.T) {
	f := Figure{ID: "hatch", Title: "t", Description: "d", Panels: []Panel{{X: Axis{Label: "x"}, Y: Axis{Label: "y"},
		Bands: []Band{{Name: "not known", X: []float64{0, 1, 2}, Low: []float64{0, 0, 0}, High: []float64{1, 2, 1}, Hatched: true}}}}}
	hatched, err := SVG(f)
	if err != nil {
		t.Fatal(err)
	}
	f.Panels[0].Bands[0].Hatched = false
	plain, err := SVG(f)
	if err != nil {
		t.Fatal(err)
	}
	lines := func(svg []byte) int { return bytes.Count(svg, []byte("<path")) }
	if lines(hatched) < lines(plain)+20 || !bytes.Contains(hatched, []byte("not known")) {
		t.Errorf("%d paths hatched, %d plain", lines(hatched), lines(plain))
	}
}
