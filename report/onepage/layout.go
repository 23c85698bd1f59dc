package onepage

import (
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"

	"flourcast/report/chart"
	"flourcast/report/chart/pen"
	"flourcast/report/document"
)

// pt is a point in mm.
const pt = 25.4 / 72

// layout writes documents into a PDF, a page each.
type layout struct {
	pdf   *fpdf.Fpdf
	paper Paper
	size  float64 // of the type, points
	y     float64 // mm from the top
	left  float64
	width float64
	err   error
}

func newLayout(paper Paper) *layout {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: paper.Width, Ht: paper.Height}})
	pdf.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCatalogSort(true)
	pdf.SetCellMargin(0)
	return &layout{pdf: pdf, paper: paper, left: margin, width: paper.Width - 2*margin}
}

// Size is the largest type, in points, at which the document fits its page. The error
// is *TooLongError, or of a figure that cannot be drawn.
func Size(d document.Document, paper Paper) (float64, error) {
	l := newLayout(paper)
	for _, size := range sizes {
		l.document(d, size)
		if l.err != nil {
			return 0, l.err
		}
		if l.y <= paper.Height-margin {
			return size, nil
		}
	}
	return 0, &TooLongError{d.Title, paper.Name}
}

// document sets one document on a new page.
func (l *layout) document(d document.Document, size float64) {
	l.pdf.AddPage()
	l.y, l.size = margin, size
	l.pdf.SetTextColor(0, 0, 0)
	l.pdf.SetDrawColor(0, 0, 0)
	if d.Notice != "" {
		l.box(document.Callout{Title: d.Notice}, 1.2)
	}
	l.text(d.Title, "B", 1.55, l.left, l.width, "L")
	if d.Subtitle != "" {
		l.text(d.Subtitle, "", 1, l.left, l.width, "L")
	}
	var meta []string
	for _, m := range d.Meta {
		meta = append(meta, m.Name+": "+m.Value)
	}
	if len(meta) > 0 {
		l.text(strings.Join(meta, " · "), "", 1, l.left, l.width, "L")
	}
	for _, s := range d.Sections {
		if s.Heading != "" {
			l.y += 0.55 * l.em()
			l.rule(0.7)
			l.y += 0.2 * l.em()
			l.text(s.Heading, "B", 1.08, l.left, l.width, "L")
		}
		for _, block := range s.Blocks {
			l.y += 0.2 * l.em()
			switch k := block.(type) {
			case document.Paragraph:
				l.text(string(k), "", 1, l.left, l.width, "L")
			case document.Callout:
				thick := 0.8
				if k.Kind == document.Caution {
					thick = 2
				}
				l.box(k, thick)
			case document.Picture:
				l.picture(k)
			case *document.Table:
				l.table(k)
			}
		}
	}
}

// em is the size of the type in mm.
func (l *layout) em() float64 { return l.size * pt }

// leading is the height of a line by the size of its type.
const leading = 1.24

// lines breaks a text for a width.
func (l *layout) lines(s, style string, scale, width float64) []string {
	l.pdf.SetFont("sans", style, l.size*scale)
	if s == "" {
		return []string{""}
	}
	return l.pdf.SplitText(s, width)
}

// text sets a text at the current height and moves below it.
func (l *layout) text(s, style string, scale, x, width float64, align string) {
	for _, line := range l.lines(s, style, scale, width) {
		l.pdf.SetXY(x, l.y)
		l.pdf.CellFormat(width, leading*scale*l.em(), line, "", 0, align, false, 0, "")
		l.y += leading * scale * l.em()
	}
}

func (l *layout) rule(points float64) {
	l.pdf.SetLineWidth(points * pt)
	l.pdf.Line(l.left, l.y, l.left+l.width, l.y)
}

// box sets a callout: its title in bold, the text below, a frame round them.
func (l *layout) box(k document.Callout, thick float64) {
	const inner = 1.6
	top := l.y
	l.y += 0.25 * l.em()
	l.text(k.Title, "B", 1, l.left+inner, l.width-2*inner, "L")
	if k.Text != "" {
		l.text(k.Text, "", 1, l.left+inner, l.width-2*inner, "L")
	}
	l.y += 0.25 * l.em()
	l.pdf.SetLineWidth(thick * pt)
	l.pdf.Rect(l.left, top, l.width, l.y-top, "D")
	l.y += 0.15 * l.em()
}

// widths shares the page's width among the columns: what a column needs, and where
// that is too much the widest give way.
func (l *layout) widths(t *document.Table) []float64 {
	need, least := make([]float64, len(t.Columns)), make([]float64, len(t.Columns))
	measure := func(i int, s, style string) {
		l.pdf.SetFont("sans", style, l.size)
		need[i] = max(need[i], l.pdf.GetStringWidth(s)+gutter)
		for _, word := range strings.Fields(s) {
			least[i] = max(least[i], l.pdf.GetStringWidth(word)+gutter)
		}
	}
	for i, c := range t.Columns {
		measure(i, heading(c), "B")
		for _, row := range t.Rows {
			if i < len(row) {
				measure(i, row[i].Text, "")
			}
		}
	}
	total := func(cap float64) (sum float64) {
		for i := range need {
			sum += max(least[i], min(need[i], cap))
		}
		return sum
	}
	low, high := 0.0, l.width
	for range 40 { // the cap at which the columns fill the page
		if mid := (low + high) / 2; total(mid) > l.width {
			high = mid
		} else {
			low = mid
		}
	}
	for i := range need {
		need[i] = max(least[i], min(need[i], low))
	}
	if spare := l.width - total(low); spare > 0 {
		for i := range need {
			need[i] += spare / float64(len(need))
		}
	}
	return need
}

// gutter is the white between columns, in mm.
const gutter = 2.4

func heading(c document.Column) string {
	if c.Unit != "" {
		return c.Heading + ", " + c.Unit
	}
	return c.Heading
}

func (l *layout) table(t *document.Table) {
	if t.Caption != "" {
		l.text(t.Caption, "", 1, l.left, l.width, "L")
	}
	widths := l.widths(t)
	row := func(cells []string, style string, rule float64) {
		top, bottom, x := l.y+0.1*l.em(), l.y, l.left
		for i, c := range t.Columns {
			s := ""
			if i < len(cells) {
				s = cells[i]
			}
			l.y = top
			l.text(s, style, 1, x, widths[i]-gutter, map[document.Align]string{document.Left: "L", document.Right: "R", document.Center: "C"}[c.Align])
			bottom, x = max(bottom, l.y), x+widths[i]
		}
		l.y = bottom + 0.1*l.em()
		l.rule(rule)
	}
	var heads []string
	for _, c := range t.Columns {
		heads = append(heads, heading(c))
	}
	row(heads, "B", 0.8)
	for _, r := range t.Rows {
		var texts []string
		for _, c := range r {
			texts = append(texts, c.Text)
		}
		row(texts, "", 0.3)
	}
	l.y += 0.15 * l.em()
}

// tallest is how high a picture may be, by the size of the type: as in page.css.
const tallest = 18

func (l *layout) picture(k document.Picture) {
	err := chart.Paint(k.Figure, func(width, height float64) (pen.Painter, error) {
		scale := min(l.width/width, tallest*l.em()/height)
		p := &painter{l, l.left + (l.width-scale*width)/2, l.y, scale}
		l.y += scale * height
		return p, nil
	})
	if l.err == nil {
		l.err = err
	}
	if k.Caption != "" {
		l.text(k.Caption, "", 1, l.left, l.width, "L")
	}
}

// painter draws a figure into a page.
type painter struct {
	l           *layout
	x, y, scale float64
}

func (p *painter) at(q pen.Point) (x, y float64) { return p.x + p.scale*q.X, p.y + p.scale*q.Y }

func (p *painter) path(points []pen.Point, closed bool) {
	for i, q := range points {
		x, y := p.at(q)
		if i == 0 {
			p.l.pdf.MoveTo(x, y)
		} else {
			p.l.pdf.LineTo(x, y)
		}
	}
	if closed {
		p.l.pdf.ClosePath()
	}
}

func (p *painter) tint(t pen.Tint, set func(r, g, b int)) {
	r, g, b, opacity := t.Light()
	set(int(r), int(g), int(b))
	p.l.pdf.SetAlpha(opacity, "Normal")
}

func (p *painter) Stroke(points []pen.Point, closed bool, t pen.Tint, width float64, dash []float64) {
	p.tint(t, p.l.pdf.SetDrawColor)
	p.l.pdf.SetLineWidth(p.scale * width)
	var pattern []float64
	for _, d := range dash {
		pattern = append(pattern, p.scale*d)
	}
	p.l.pdf.SetDashPattern(pattern, 0)
	p.path(points, closed)
	p.l.pdf.DrawPath("D")
	p.reset()
}

func (p *painter) Fill(points []pen.Point, t pen.Tint) {
	p.tint(t, p.l.pdf.SetFillColor)
	p.path(points, true)
	p.l.pdf.DrawPath("F")
	p.reset()
}

func (p *painter) Words(at pen.Point, a pen.Anchor, f pen.Font, s string) {
	style := ""
	if f.Bold {
		style = "B"
	}
	p.tint(f.Tint, p.l.pdf.SetTextColor)
	p.l.pdf.SetFont("sans", style, f.Size*p.scale/pt)
	x, y := p.at(at)
	switch w := p.l.pdf.GetStringWidth(s); a {
	case pen.Middle:
		x -= w / 2
	case pen.End:
		x -= w
	}
	p.l.pdf.Text(x, y, s)
	p.reset()
}

func (p *painter) reset() {
	p.l.pdf.SetAlpha(1, "Normal")
	p.l.pdf.SetDashPattern(nil, 0)
	p.l.pdf.SetDrawColor(0, 0, 0)
	p.l.pdf.SetTextColor(0, 0, 0)
}

// unknown is the first character of the documents that the built-in font lacks.
func unknown(docs []document.Document) error {
	font, err := sfnt.Parse(liberationsansregular.TTF)
	if err != nil {
		return err
	}
	var b sfnt.Buffer
	for _, s := range texts(docs) {
		for _, r := range s {
			if g, err := font.GlyphIndex(&b, r); err != nil || g == 0 {
				return &CharacterError{r}
			}
		}
	}
	return nil
}

// texts are all texts of documents, those of figures included as far as a person's
// names may stand in them.
func texts(docs []document.Document) (out []string) {
	for _, d := range docs {
		out = append(out, d.Title, d.Subtitle, d.Notice)
		for _, m := range d.Meta {
			out = append(out, m.Name, m.Value)
		}
		for _, s := range d.Sections {
			out = append(out, s.Heading)
			for _, block := range s.Blocks {
				switch k := block.(type) {
				case document.Paragraph:
					out = append(out, string(k))
				case document.Callout:
					out = append(out, k.Title, k.Text)
				case document.Picture:
					out = append(out, k.Caption)
					for _, p := range k.Figure.Panels {
						out = append(out, p.Title, p.X.Title(), p.Y.Title())
						for _, s := range p.Series {
							out = append(out, s.Name)
						}
						for _, b := range p.Bands {
							out = append(out, b.Name)
						}
					}
				case *document.Table:
					out = append(out, k.Caption)
					for _, c := range k.Columns {
						out = append(out, heading(c))
					}
					for _, row := range k.Rows {
						for _, c := range row {
							out = append(out, c.Text)
						}
					}
				}
			}
		}
	}
	return out
}
