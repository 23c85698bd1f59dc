package onepage

import (
	"bytes"
	"context"
	"errors"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flourcast/finding"
	"flourcast/report/chart"
	"flourcast/report/document"
)

var made = time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)

func options(p Paper) Options {
	return Options{Paper: p, Language: "en", Made: made, Program: "test", Browser: "none"}
}

// sample has every block that a page knows.
func sample(title string) document.Document {
	panel := chart.Panel{Height: 160, X: chart.Axis{Label: "time", Unit: "min"}, Y: chart.Axis{Label: "viscosity", Unit: "mPa·s"},
		Series: []chart.Series{{Name: "this lot", Style: chart.StyleLine, X: []float64{0, 1, 2}, Y: []float64{0, 3000, 2000}}, {Name: "points", Style: chart.StylePoints, Ink: 1, X: []float64{0, 1}, Y: []float64{10, 20}}},
		Bands:  []chart.Band{{Name: "others", X: []float64{0, 1, 2}, Low: []float64{0, 2000, 1000}, High: []float64{10, 4000, 3000}, Ink: 4}}}
	return document.Document{Title: title, Subtitle: "no certificate", Notice: "All invented ≤ 5 °C", Meta: []document.Pair{{Name: "for", Value: "Somebody & Söhne"}},
		Sections: []document.Section{
			{Blocks: []document.Block{document.Callout{Kind: document.Caution, Title: "Beware.", Text: "Of <this>."}}},
			{Heading: "Curve", Blocks: []document.Block{document.Picture{Figure: chart.Figure{ID: "c", Title: "Curve", Description: "d", Panels: []chart.Panel{panel}}, Caption: "what it is"}}},
			{Heading: "Figures", Blocks: []document.Block{document.Paragraph("a paragraph"), &document.Table{ID: "t", Caption: "a table", Columns: []document.Column{{Heading: "figure"}, {Heading: "this lot", Unit: "N", Align: document.Right}},
				Rows: [][]document.Cell{{document.Words("hardness"), document.Number(3.5, "3.50")}, {document.Words("shorter")}}}}},
		}}
}

func TestSameBytesAndOnePageEach(t *testing.T) {
	for _, paper := range []Paper{A4, Letter} {
		docs := []document.Document{sample("one"), sample("two")}
		var first []byte
		for range 2 {
			data, by, err := PDF(context.Background(), docs, options(paper))
			if err != nil || by != ByItself {
				t.Fatal(by, err)
			}
			if first == nil {
				first = data
			}
			if !bytes.Equal(first, data) {
				t.Error("the same documents give other bytes")
			}
		}
		if n := pages(first); n != 2 {
			t.Errorf("%s: %d pages, want 2", paper.Name, n)
		}
		if !bytes.Contains(first, []byte("D:20260304050607")) {
			t.Error("the date in the PDF is not the one given")
		}
	}
}

// The page holds every text of the document, and nothing runs in it.
func TestHTMLHoldsEveryText(t *testing.T) {
	docs := []document.Document{sample("one"), sample("two")}
	data, err := HTML(docs, options(Letter))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range texts(docs) {
		if !strings.Contains(html.UnescapeString(string(data)), s) {
			t.Errorf("the page lacks %q", s)
		}
	}
	for _, bad := range []string{"<script", "http://", "https://", "<this>", "url("} {
		if bytes.Contains(data, []byte(bad)) {
			t.Errorf("the page has %q", bad)
		}
	}
	if !bytes.Contains(data, []byte("size:215.9mm 279.4mm")) || bytes.Count(data, []byte("<article")) != 2 {
		t.Error("paper or pages are missing")
	}
}

// Both printers write the same words, where this machine has what it takes to look.
func TestBothPrintersSayTheSame(t *testing.T) {
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not here: TestHTMLHoldsEveryText looks at the words")
	}
	docs := []document.Document{sample("one")}
	o := options(A4)
	words := func(browser string) string {
		o.Browser = browser
		data, by, err := PDF(context.Background(), docs, o)
		if err != nil {
			t.Fatal(err)
		}
		if browser == "" && by != ByChromium {
			t.Skip("Chromium is not here")
		}
		if pages(data) != 1 || bytes.Count(data, []byte("D:20260304050607")) != 2 {
			t.Errorf("%s: %d pages, or a date of its own", by, pages(data))
		}
		path := filepath.Join(t.TempDir(), "x.pdf")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(reader, path, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(strings.Fields(string(out)), " ")
	}
	for _, browser := range []string{"none", ""} {
		got := words(browser)
		for _, s := range texts(docs) {
			if !strings.Contains(got, s) {
				t.Errorf("printed by %q: %q is missing in %s", browser, s, got)
			}
		}
	}
}

func TestLongerTextsGetSmallerTypeUntilRefused(t *testing.T) {
	last, refused := 100.0, false
	for n := 30; n < 90; n += 4 {
		d := sample("long")
		d.Sections = append(d.Sections[:1:1], d.Sections[2])
		for range n {
			d.Sections[1].Blocks = append(d.Sections[1].Blocks, document.Paragraph("one more line of some length that fills the page"))
		}
		size, err := Size(d, A4)
		var long *TooLongError
		switch {
		case errors.As(err, &long):
			refused = true
			if _, err := HTML([]document.Document{d}, options(A4)); !errors.As(err, &long) {
				t.Errorf("HTML of too long a document: %v", err)
			}
		case err != nil:
			t.Fatal(err)
		case refused || size > last:
			t.Errorf("%d lines at %g points, after %g", n, size, last)
		default:
			last = size
		}
	}
	if !refused || last > 9 {
		t.Errorf("refused %v, least size %g", refused, last)
	}
}

func TestRefused(t *testing.T) {
	with := func(b document.Block) []document.Document {
		return []document.Document{{Title: "x", Sections: []document.Section{{Blocks: []document.Block{b}}}}}
	}
	for hint, docs := range map[string][]document.Document{
		"no document": nil,
		"footnotes":   with(&document.Table{ID: "t", Columns: []document.Column{{Heading: "a"}}, Notes: []string{"n"}}),
		"no face":     with(document.Findings{finding.Finding{}}),
		"NaN":         with(document.Picture{Figure: chart.Figure{ID: "f"}}),
		"U+82B1":      with(document.Paragraph("花")),
	} {
		if _, _, err := PDF(context.Background(), docs, options(A4)); err == nil || hint != "NaN" && !strings.Contains(err.Error(), hint) {
			t.Errorf("%s: %v", hint, err)
		}
	}
	o := options(A4)
	o.Browser = "/no/such/browser"
	if _, _, err := PDF(context.Background(), []document.Document{sample("x")}, o); err == nil || !strings.Contains(err.Error(), "/no/such/browser") {
		t.Errorf("a browser that is not there: %v", err)
	}
	if _, ok := PaperNamed("a5"); ok {
		t.Error("a5 is no paper of ours")
	}
}

// Columns fill the page and none is narrower than its longest word, when there is room.
func TestColumnsFillThePage(t *testing.T) {
	l := newLayout(A4)
	l.document(document.Document{Title: "x"}, 8)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "columns")
		tab := &document.Table{}
		var row []document.Cell
		for range n {
			tab.Columns = append(tab.Columns, document.Column{Heading: rapid.StringMatching(`[a-z]{0,9}( [a-z]{1,9}){0,9}`).Draw(t, "heading")})
			row = append(row, document.Words(rapid.StringMatching(`[a-z]{0,9}( [a-z]{1,9}){0,30}`).Draw(t, "cell")))
		}
		tab.Rows = [][]document.Cell{row}
		sum := 0.0
		for _, w := range l.widths(tab) {
			sum += w
		}
		if sum < l.width-0.01 || sum > l.width+0.01 {
			t.Fatalf("columns take %g of %g mm", sum, l.width)
		}
	})
}

func TestDatesKeepTheirLength(t *testing.T) {
	in := []byte("/CreationDate (D:20261125150346+00'00')\n/ModDate (D:20261125150346+00'00')")
	want := "/CreationDate (D:20260304050607+00'00')\n/ModDate (D:20260304050607+00'00')"
	if got := string(dated(in, made)); got != want {
		t.Errorf("%s", got)
	}
	if odd := []byte("/ModDate (D:20261125150346Z)"); !bytes.Equal(dated(odd, made), odd) {
		t.Error("a date of another length was changed: addresses in the file move")
	}
}
