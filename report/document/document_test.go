package document

import (
	"bytes"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
	"flourcast/report/chart"
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

func textOf(t testing.TB, d Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := Text(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func htmlOf(t testing.TB, d Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func csvOf(t testing.TB, x *Table) string {
	t.Helper()
	var b bytes.Buffer
	if err := CSV(&b, x); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func coefficients() *Table { return sample().Sections[1].Blocks[1].(*Table) }

func TestGoldens(t *testing.T) {
	golden(t, "document.txt", []byte(textOf(t, sample())))
	golden(t, "document.html", []byte(htmlOf(t, sample())))
	golden(t, "coefficients.csv", []byte(csvOf(t, coefficients())))
}

func TestSameDocumentSameBytes(t *testing.T) {
	a, b := sample(), sample()
	if textOf(t, a) != textOf(t, b) || htmlOf(t, a) != htmlOf(t, b) {
		t.Error("two runs differ")
	}
}

// One hostile text in every place that holds text must stay text.
func TestHostileTextStaysText(t *testing.T) {
	h := htmlOf(t, sample())
	if n := strings.Count(h, "&lt;script&gt;"); n < 60 {
		t.Fatalf("the hostile name appears %d times; the sample no longer tests anything", n)
	}
	all := Document{Title: evil, Subtitle: evil, Notice: evil, Meta: []Pair{{evil, evil}}, Sections: []Section{{evil, evil, []Block{
		Paragraph(evil), Callout{Kind: Kind(`x" onmouseover="alert(1)`), Title: evil, Text: evil},
		Findings{{Code: evil, Severity: finding.Doubt, At: finding.Place{File: evil, Row: 1, Column: evil}, Found: evil, Want: evil, Do: evil}},
		&Table{ID: evil, Caption: evil, Columns: []Column{{Heading: evil, Unit: evil}, {Heading: evil}}, Rows: [][]Cell{{Words(evil, 0), Words(evil)}}, Notes: []string{evil, evil + "2"}},
		Picture{chart.Figure{ID: evil, Title: evil, Description: evil, Panels: []chart.Panel{{Title: evil, X: chart.Axis{Label: evil, Unit: evil}, Y: chart.Axis{Label: evil, Ticks: []string{evil}},
			Series: []chart.Series{{Name: evil, Style: chart.StyleBars, X: []float64{1}, Y: []float64{0}, Labels: []string{evil}}}}}}, evil},
	}}}}
	h += htmlOf(t, all)
	for _, bad := range []string{"<script", "javascript:", `" onmouseover`} {
		if strings.Contains(strings.ToLower(h), bad) {
			t.Errorf("the page contains %s", bad)
		}
	}
	if !strings.Contains(h, `content="default-src 'none'; style-src 'unsafe-inline'"`) {
		t.Error("the page lacks its policy")
	}
}

func TestPageAsksForNothingOutside(t *testing.T) {
	h := htmlOf(t, sample())
	for _, bad := range []string{"http:", "https:", "//", "url(", "@import", "<link", "<img", "<iframe", "<script", " src=", "srcset"} {
		if strings.Contains(strings.ToLower(h), bad) {
			at := strings.Index(strings.ToLower(h), bad)
			t.Errorf("the page contains %q: …%s…", bad, h[max(0, at-40):min(len(h), at+40)])
		}
	}
}

func TestPageIsAccessible(t *testing.T) {
	h := htmlOf(t, sample())
	for _, want := range []string{`<html lang="en">`, `<a class="skip" href="#main">`, `<main id="main">`, "<header>", "<nav aria-labelledby", `<th scope="col"`, `<th scope="row"`,
		"<figcaption>", `role="img"`, `<caption>`, `name="viewport"`, "<title>Hardness"} {
		if !strings.Contains(h, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(h, -1) {
		if ids[m[1]] {
			t.Errorf("id %q is used twice", m[1])
		}
		ids[m[1]] = true
	}
	links := regexp.MustCompile(`(?:href|aria-labelledby)="#?([^"]*)"`).FindAllStringSubmatch(h, -1)
	if len(links) < 10 {
		t.Errorf("%d links and labels", len(links))
	}
	for _, m := range links {
		if !ids[m[1]] {
			t.Errorf("nothing has the id %q", m[1])
		}
	}
}

func TestNoticeComesFirstEverywhere(t *testing.T) {
	d := sample()
	if s := textOf(t, d); !strings.HasPrefix(s, "!! "+d.Notice) {
		t.Errorf("text starts %q", s[:60])
	}
	h := htmlOf(t, d)
	if at, title := strings.Index(h, d.Notice), strings.Index(h, "<h1>"); at < 0 || at > title {
		t.Errorf("notice at %d, title at %d", at, title)
	}
}

func TestTextLinesFit(t *testing.T) {
	for i, l := range strings.Split(textOf(t, sample()), "\n") {
		if width(l) > lineWidth {
			t.Errorf("line %d takes %d columns: %s", i+1, width(l), l)
		}
		if l != strings.TrimRight(l, " ") {
			t.Errorf("line %d ends in spaces", i+1)
		}
	}
}

// In a Right column every number ends in the same terminal column, whatever
// footnotes and wide characters stand in the row.
func TestNumbersAreAligned(t *testing.T) {
	s := textOf(t, Document{Sections: []Section{{"", "s", []Block{coefficients()}}}})
	ends := map[int]bool{}
	found := 0
	for _, number := range []string{"−0.21", "−0.18", "10.50", "0.04"} {
		for _, l := range strings.Split(s, "\n") {
			if at := strings.Index(l, number); at >= 0 {
				ends[width(l[:at+len(number)])] = true
				found++
				break
			}
		}
	}
	if found != 4 || len(ends) != 1 {
		t.Errorf("%d numbers end in columns %v:\n%s", found, ends, s)
	}
	if h := htmlOf(t, sample()); !regexp.MustCompile(`<td class="right token">−0\.21<sup>`).MatchString(h) {
		t.Error("the page does not align −0.21 to the right")
	}
}

func TestFootnotesMerge(t *testing.T) {
	f := footnotesOf(coefficients())
	want := []footnote{{1, "Jackknife over lots; assumes t with m − 1 degrees."}, {2, "Moves with the peak."}, {0, "Values per standard deviation of the calibration lots."}}
	if fmt.Sprint(f.texts) != fmt.Sprint(want) {
		t.Errorf("got %v", f.texts)
	}
	if got := f.numbers(Words("x", 2, 1, 0)); fmt.Sprint(got) != "[1 2]" {
		t.Errorf("numbers %v, want [1 2]", got)
	}
}

func TestCSVGivesBackEveryBit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64().Filter(func(v float64) bool { return v-v == 0 }), 1, 6).Draw(rt, "values")
		text := rapid.String().Draw(rt, "text")
		x := &Table{Columns: []Column{{Heading: "lot"}, {Heading: "hardness", Unit: "N", Name: "hardness_N", Align: Right}}}
		for _, v := range values {
			x.Rows = append(x.Rows, []Cell{Words(text), Number(v, "rounded")})
		}
		var b bytes.Buffer
		if err := CSV(&b, x); err != nil {
			rt.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil || len(rows) != len(values)+1 || rows[0][1] != "hardness_N" {
			rt.Fatalf("%v: %v", err, rows)
		}
		for i, v := range values {
			back, err := strconv.ParseFloat(rows[i+1][1], 64)
			if err != nil || math.Float64bits(back) != math.Float64bits(v) {
				rt.Fatalf("%g came back as %s", v, rows[i+1][1])
			}
			if text != "–" && rows[i+1][0] != strings.ReplaceAll(text, "\r\n", "\n") {
				rt.Fatalf("%q came back as %q", text, rows[i+1][0])
			}
		}
	})
}

func TestAbsentIsEmptyInCSV(t *testing.T) {
	x := &Table{Columns: []Column{{Heading: "lot"}, {Heading: "a"}, {Heading: "b"}}, Rows: [][]Cell{{Words("0012"), Words("–")}}}
	if got, want := csvOf(t, x), "lot,a,b\n0012,,\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestRefusesWhatCannotBeShown(t *testing.T) {
	nan := math.NaN()
	one := []Column{{Heading: "hardness"}}
	broken := chart.Figure{ID: "f", Panels: []chart.Panel{{X: chart.Axis{Label: "x"}, Y: chart.Axis{Label: "y"},
		Series: []chart.Series{{Name: "lot 7", Style: chart.StyleLine, X: []float64{1}, Y: []float64{nan}}}}}}
	cases := []struct {
		name  string
		block Block
		want  []string
	}{
		{"too many cells", &Table{ID: "t", Columns: one, Rows: [][]Cell{{Words("a")}, {Words("a"), Words("b")}}}, []string{`table "t", row 2`, "2 cells"}},
		{"no such note", &Table{ID: "t", Columns: one, Rows: [][]Cell{{Words("a", 1)}}, Notes: []string{"n"}}, []string{`column "hardness"`, "note 1", "0 to 0"}},
		{"negative note", &Table{ID: "t", Columns: one, Rows: [][]Cell{{Words("a", -1)}}, Notes: []string{"n"}}, []string{"note -1"}},
		{"NaN", &Table{ID: "t", Columns: one, Rows: [][]Cell{{{Value: &nan}}}}, []string{"NaN", "finite"}},
		{"NaN in a figure", Picture{Figure: broken}, []string{`section "s"`, `series "lot 7"`, "NaN"}},
	}
	for _, c := range cases {
		d := Document{Title: "t", Sections: []Section{{"", "s", []Block{c.block}}}}
		for face, write := range map[string]func(*bytes.Buffer) error{
			"text": func(b *bytes.Buffer) error { return Text(b, d) }, "page": func(b *bytes.Buffer) error { return HTML(b, d) }} {
			var b bytes.Buffer
			err := write(&b)
			if err == nil || b.Len() > 0 {
				t.Errorf("%s, %s: error %v, %d bytes written", c.name, face, err, b.Len())
				continue
			}
			for _, w := range c.want {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%s, %s: %q lacks %q", c.name, face, err, w)
				}
			}
		}
	}
	if err := CSV(&bytes.Buffer{}, cases[1].block.(*Table)); err == nil || !strings.Contains(err.Error(), "note 1") {
		t.Errorf("CSV of a table with a note that is not there: %v", err)
	}
	var fault *chart.DataError
	if err := HTML(&bytes.Buffer{}, Document{Sections: []Section{{"", "s", []Block{Picture{Figure: broken}}}}}); !errors.As(err, &fault) {
		t.Errorf("%v is no *chart.DataError", err)
	}
}

func TestTerminalGetsNoControlCharacters(t *testing.T) {
	const nasty = "lot\x1b[2J\x07\u202eabc\nnext\xff"
	d := Document{Title: nasty, Subtitle: nasty, Notice: nasty, Meta: []Pair{{nasty, nasty}}, Sections: []Section{{nasty, nasty, []Block{
		Paragraph(nasty), Callout{Caution, nasty, nasty}, Findings{{Code: "c", Severity: finding.Doubt, Found: nasty}},
		&Table{Caption: nasty, Columns: []Column{{Heading: nasty}}, Rows: [][]Cell{{Words(nasty, 0)}}, Notes: []string{nasty}}}}}}
	for _, r := range textOf(t, d) {
		if r != '\n' && (r < ' ' || r == 0x7f || r == '\u202e') {
			t.Errorf("%U reaches the terminal", r)
		}
	}
}

func TestTextTablesOfAnyShape(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		cell := rapid.StringMatching(`[a-zäµ粘 ]{0,60}`)
		x := &Table{ID: "any"}
		for range rapid.IntRange(1, 25).Draw(rt, "columns") {
			x.Columns = append(x.Columns, Column{Heading: rapid.StringMatching(`[a-z]{1,12}( [a-z]{1,12}){0,3}`).Draw(rt, "heading"), Align: Align(rapid.IntRange(0, 2).Draw(rt, "align"))})
		}
		var words []string
		for range rapid.IntRange(0, 4).Draw(rt, "rows") {
			var row []Cell
			for i, c := range x.Columns {
				s := cell.Draw(rt, "cell")
				if c.Align != Left {
					s = s[:0] + "1.25"
				}
				if i > 0 {
					words = append(words, strings.Fields(s)...)
				}
				row = append(row, Words(s))
			}
			x.Rows = append(x.Rows, row)
		}
		s := textOf(t, Document{Sections: []Section{{"", "s", []Block{x}}}})
		for _, l := range strings.Split(s, "\n") {
			if width(l) > lineWidth {
				rt.Fatalf("%d columns: %s", width(l), l)
			}
		}
		letters := func(s string) int { return len(strings.NewReplacer(" ", "", "\n", "", "─", "").Replace(s)) }
		if got, want := letters(s), letters(strings.Join(words, "")); got < want {
			rt.Fatalf("%d letters of %d are shown:\n%s", got, want, s)
		}
	})
}

func TestWrap(t *testing.T) {
	cases := []struct {
		text string
		to   int
		want string
	}{
		{"", 10, ""},
		{"one two three", 7, "one two|three"},
		{"viscosity", 4, "visc|osit|y"},
		{"a viscosity", 5, "a|visco|sity"},
		{"粘度粘度", 4, "粘度|粘度"},
		{"x", 0, "x"},
		{"models/soft-bite-hardness.json", 17, "models/soft-bite-|hardness.json"},
		{"a-very", 5, "a-ver|y"},
	}
	for _, c := range cases {
		if got := strings.Join(wrap(c.text, c.to), "|"); got != c.want {
			t.Errorf("%q to %d: %q, want %q", c.text, c.to, got, c.want)
		}
	}
}

func TestManyFindingsAreCutInTheTerminalOnly(t *testing.T) {
	var l Findings
	for i := range 45 {
		l = append(l, finding.Finding{Code: "unit-unknown", Severity: finding.Refused, Found: fmt.Sprintf("finding number %d.", i)})
	}
	d := Document{Sections: []Section{{"", "s", []Block{l}}}}
	if s := textOf(t, d); strings.Count(s, "finding number") != shownFindings || !strings.Contains(s, "15 more refused") {
		t.Errorf("the terminal shows:\n%s", s)
	}
	if h := htmlOf(t, d); strings.Count(h, "finding number") != 45 {
		t.Error("the page does not list all findings")
	}
}

// Colours of the page against their grounds: WCAG 2.1, 1.4.3, at least 4.5:1.
func TestPageContrast(t *testing.T) {
	blocks := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(pageStyle, -1)
	if len(blocks) < 2 {
		t.Fatal("no colours found in page.css")
	}
	for i, look := range []string{"light", "dark"} {
		colour := map[string]float64{}
		for _, m := range regexp.MustCompile(`--([a-z-]+): #([0-9a-f]{6})`).FindAllStringSubmatch(blocks[i][1], -1) {
			n, err := strconv.ParseUint(m[2], 16, 32)
			if err != nil {
				t.Fatal(err)
			}
			l := 0.0
			for k, weight := range []float64{0.2126, 0.7152, 0.0722} {
				c := float64(n>>(16-8*k)&255) / 255
				if c <= 0.04045 {
					c /= 12.92
				} else {
					c = math.Pow((c+0.055)/1.055, 2.4)
				}
				l += weight * c
			}
			colour[m[1]] = l
		}
		for _, pair := range [][2]string{{"words", "page"}, {"words", "sheet"}, {"words", "faint"}, {"words", "caution-ground"}, {"words", "answer-ground"}, {"quiet", "page"}, {"quiet", "sheet"}, {"quiet", "faint"},
			{"accent", "page"}, {"accent", "sheet"}, {"accent", "answer-ground"}, {"caution", "caution-ground"}, {"caution", "sheet"}, {"refused", "sheet"}} {
			a, okA := colour[pair[0]]
			b, okB := colour[pair[1]]
			if c := (max(a, b) + 0.05) / (min(a, b) + 0.05); !okA || !okB || c < 4.5 {
				t.Errorf("%s: %s on %s: %.2f", look, pair[0], pair[1], c)
			}
		}
	}
}
