package document

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"flourcast/finding"
	"flourcast/report/chart"
)

var (
	//go:embed page.html
	pageSource string
	//go:embed page.css
	pageStyle string

	page = template.Must(template.New("page").Parse(pageSource))
)

// HTML writes the document as one self-contained page: its style and figures
// are inside, it has no script, and a policy in its head forbids any and every
// request. It reads on a phone, on paper, in light and in dark. All text from
// data is escaped. Errors: a figure or table that cannot be shown rightly (then
// nothing is written), and those of w.
func HTML(w io.Writer, d Document) error {
	if err := check(d); err != nil {
		return err
	}
	v := pageView{Document: d,
		Style: template.CSS(strings.Replace(pageStyle, "/* figures */", chart.DarkStyle(), 1))}
	var err error
	if v.Chapters, err = chaptersOf(d, Links{}); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("document: filling the page: %w", err)
	}
	_, err = b.WriteTo(w)
	return err
}

// chaptersOf is everything below the head of a page, decided.
func chaptersOf(d Document, links Links) (out []chapterView, err error) {
	ids := anchors{"main": true, "contents": true}
	for i, s := range d.Sections {
		if i == 0 || s.Part == "" || s.Part != d.Sections[i-1].Part {
			out = append(out, chapterView{ID: ids.unique(s.Part), Name: s.Part})
		}
		section := sectionView{ID: ids.unique(s.Part + " " + s.Heading), Heading: s.Heading}
		for _, block := range s.Blocks {
			b, err := viewOf(block, ids)
			if err != nil {
				return nil, err
			}
			if b.Table != nil {
				links.into(b.Table)
			}
			section.Blocks = append(section.Blocks, b)
		}
		chapter := &out[len(out)-1]
		chapter.Sections = append(chapter.Sections, section)
	}
	return out, nil
}

// The views are what the template sees: everything decided, nothing escaped.
type pageView struct {
	Document
	Style    template.CSS
	Chapters []chapterView
}

// chapterView is the sections of one Part; without a name a single section.
type chapterView struct {
	ID, Name string
	Sections []sectionView
}

type sectionView struct {
	ID, Heading string
	Blocks      []blockView
}

// blockView has exactly one part.
type blockView struct {
	Paragraph Paragraph
	Callout   *calloutView
	Table     *tableView
	Findings  []findingView
	Nothing   string // instead of findings
	Figure    *figureView
}

type calloutView struct {
	Callout
	Label string
}

type tableView struct {
	*Table
	ID    string
	Rows  [][]cellView
	Notes []noteView
	CSV   string // address of the table as CSV, or empty
}

type cellView struct {
	Text  string
	Class string
	Head  bool   // the row's name
	Link  string // where it leads, or empty
	Notes []noteView
}

// noteView is a footnote or a reference to one.
type noteView struct {
	ID     string
	Number int
	Text   string
}

type findingView struct {
	finding.Finding
	Place string
}

type figureView struct {
	ID, Title, Caption string
	SVG                template.HTML
}

func viewOf(block Block, ids anchors) (blockView, error) {
	switch k := block.(type) {
	case Paragraph:
		return blockView{Paragraph: k}, nil
	case Callout:
		label := k.label()
		return blockView{Callout: &calloutView{k, strings.ToUpper(label[:1]) + label[1:]}}, nil
	case Findings:
		var v blockView
		for _, severity := range severities {
			for _, f := range finding.List(k).With(severity) {
				v.Findings = append(v.Findings, findingView{f, f.At.String()})
			}
		}
		if len(v.Findings) == 0 {
			v.Nothing = noFindings
		}
		return v, nil
	case Picture:
		svg, err := chart.SVG(k.Figure)
		if err != nil {
			return blockView{}, err
		}
		// Inside HTML an svg element needs no namespace.
		inline := strings.Replace(string(svg), ` xmlns="http://www.w3.org/2000/svg"`, "", 1)
		return blockView{Figure: &figureView{ids.unique(k.Figure.ID), k.Figure.Title, k.caption(), template.HTML(inline)}}, nil
	case *Table:
		return blockView{Table: viewOfTable(k, ids)}, nil
	}
	return blockView{}, fmt.Errorf("document: no face for a block of type %T", block)
}

// sentence is the length of a text from which its column needs room to read.
const sentence = 40

// token is the length up to which a word, such as a lot's name with hyphens,
// is not broken.
const token = 24

func viewOfTable(t *Table, ids anchors) *tableView {
	v := &tableView{Table: t, ID: ids.unique(t.ID)}
	notes := footnotesOf(t)
	id := func(number int) string { return fmt.Sprintf("%s-note-%d", v.ID, number) }
	classes := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		classes[i] = c.Align.String()
		if c.Align == Left && slices.ContainsFunc(t.Rows, func(row []Cell) bool { return i < len(row) && len(row[i].Text) > sentence }) {
			classes[i] = "left long"
		}
	}
	for _, row := range t.Rows {
		cells := make([]cellView, len(t.Columns))
		for i, c := range t.Columns {
			cells[i].Class = classes[i]
			cells[i].Head = i == 0 && c.Align == Left && len(t.Columns) > 1
			if i < len(row) {
				cells[i].Text = row[i].Text
				if len(row[i].Text) <= token && !strings.Contains(row[i].Text, " ") {
					cells[i].Class += " token"
				}
				for _, n := range notes.numbers(row[i]) {
					cells[i].Notes = append(cells[i].Notes, noteView{ID: id(n), Number: n})
				}
			}
		}
		v.Rows = append(v.Rows, cells)
	}
	for _, n := range notes.texts {
		v.Notes = append(v.Notes, noteView{id(n.number), n.number, n.text})
	}
	return v
}

// String is the alignment's name in the style sheet.
func (a Align) String() string { return [...]string{"left", "right", "center"}[a] }

// anchors are the ids already used on a page.
type anchors map[string]bool

// unique makes an id of letters, digits and hyphens that the page does not
// have yet.
func (a anchors) unique(text string) string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	base := strings.Join(words, "-")
	if base == "" {
		base = "part"
	}
	id := base
	for n := 2; a[id]; n++ {
		id = fmt.Sprintf("%s-%d", base, n)
	}
	a[id] = true
	return id
}
