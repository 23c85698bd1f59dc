package document

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"flourcast/finding"
)

// lineWidth is the widest line of terminal text. Only a table that cannot be
// made narrower by wrapping words and splitting columns is wider.
const lineWidth = 100

// shownFindings is how many findings of one severity the terminal lists.
const shownFindings = 30

// Text writes the document for a terminal: lines of at most 100 columns,
// tables aligned by what characters really take, figures as their title and
// description. Control characters in data never reach the terminal. Errors:
// what HTML refuses, and those of w.
func Text(w io.Writer, d Document) error {
	if err := check(d); err != nil {
		return err
	}
	var b bytes.Buffer
	if d.Notice != "" {
		lines(&b, "!! ", "!! ", d.Notice)
		b.WriteByte('\n')
	}
	underlined(&b, d.Title, "═")
	if d.Subtitle != "" {
		lines(&b, "", "", d.Subtitle)
	}
	if len(d.Meta) > 0 {
		b.WriteByte('\n')
		widest := 0
		for _, p := range d.Meta {
			widest = max(widest, width(clean(p.Name)))
		}
		for _, p := range d.Meta {
			lines(&b, pad(clean(p.Name), widest, Left)+"  ", strings.Repeat(" ", widest+2), p.Value)
		}
	}
	part := ""
	for _, s := range d.Sections {
		b.WriteByte('\n')
		if s.Part != part && s.Part != "" {
			underlined(&b, s.Part, "═")
			b.WriteByte('\n')
		}
		part = s.Part
		underlined(&b, s.Heading, "─")
		for i, block := range s.Blocks {
			if i > 0 {
				b.WriteByte('\n')
			}
			textBlock(&b, block)
		}
	}
	_, err := b.WriteTo(w)
	return err
}

func textBlock(b *bytes.Buffer, block Block) {
	switch k := block.(type) {
	case Paragraph:
		lines(b, "", "", string(k))
	case Callout:
		title := strings.ToUpper(k.label())
		if k.Title != "" {
			title += ": " + k.Title
		}
		lines(b, "│ ", "│ ", title)
		lines(b, "│ ", "│ ", k.Text)
	case Findings:
		textFindings(b, finding.List(k))
	case Picture:
		lines(b, "Figure: ", "        ", k.Figure.Title+". "+k.caption())
	case *Table:
		textTable(b, k)
	}
}

func textFindings(b *bytes.Buffer, l finding.List) {
	for _, severity := range severities {
		group := l.With(severity)
		for _, f := range group[:min(len(group), shownFindings)] {
			lines(b, pad(string(severity), 8, Left), "        ", f.String())
		}
		if more := len(group) - shownFindings; more > 0 {
			lines(b, "        ", "", fmt.Sprintf("… and %d more %s; --json and the HTML report list them all", more, severity))
		}
	}
	if len(l) == 0 {
		lines(b, "", "", noFindings)
	}
}

// textTable writes a table; one that is too wide for a line is split into
// parts that repeat the first column.
func textTable(b *bytes.Buffer, t *Table) {
	if t.Caption != "" {
		lines(b, "", "", t.Caption)
	}
	notes := footnotesOf(t)
	columns := make([]textColumn, len(t.Columns))
	for i, c := range t.Columns {
		columns[i] = newTextColumn(t, notes, i, c)
	}
	for rest := columns; len(rest) > 0; {
		part := fit(rest, columns[0], len(rest) < len(columns))
		if len(rest) < len(columns) {
			b.WriteByte('\n')
			rest = rest[len(part)-1:]
		} else {
			rest = rest[len(part):]
		}
		writePart(b, part, len(t.Rows))
	}
	for _, n := range notes.texts {
		lines(b, n.mark(), strings.Repeat(" ", width(n.mark())), n.text)
	}
}

// textColumn is one column as lines of text.
type textColumn struct {
	align   Align
	heading string
	cells   []string
	marks   []string // footnote marks, written after the cells and aligned apart
	marked  int      // widest mark
	width   int      // with the marks
	least   int      // the narrowest width that wrapping allows
}

func newTextColumn(t *Table, notes footnotes, i int, c Column) textColumn {
	out := textColumn{align: c.Align, heading: clean(c.title())}
	word := 0 // the longest word
	for _, w := range strings.Fields(out.heading) {
		word = max(word, width(w))
	}
	for _, row := range t.Rows {
		cell, mark := "", ""
		if i < len(row) {
			cell, mark = clean(row[i].Text), notes.marks(row[i])
		}
		out.cells, out.marks = append(out.cells, cell), append(out.marks, mark)
		out.width, out.marked = max(out.width, width(cell)), max(out.marked, width(mark))
	}
	out.width = max(out.width, word) + out.marked
	out.least = out.width
	if c.Align == Left {
		out.least = min(out.width, max(14, word)+out.marked)
	}
	return out
}

// fit returns as many of the columns as a line can hold, at least one besides
// the repeated first, with the widths narrowed to the line.
func fit(rest []textColumn, first textColumn, again bool) []textColumn {
	var part []textColumn
	if again {
		part = append(part, first)
	}
	total := -2
	for _, c := range part {
		total += c.least + 2
	}
	for i, c := range rest {
		if total += c.least + 2; total > lineWidth && i > 0 {
			break
		}
		part = append(part, c)
	}
	for {
		total, widest := -2, -1
		for i, c := range part {
			total += c.width + 2
			if c.width > c.least && (widest < 0 || c.width > part[widest].width) {
				widest = i
			}
		}
		if total <= lineWidth || widest < 0 {
			return part
		}
		part[widest].width--
	}
}

func writePart(b *bytes.Buffer, part []textColumn, rows int) {
	headings := make([][]string, len(part))
	tallest := 0
	for i, c := range part {
		headings[i] = wrap(c.heading, c.width-c.marked)
		tallest = max(tallest, len(headings[i]))
	}
	for k := range tallest {
		writeLine(b, part, func(i int) (string, string) {
			from := tallest - len(headings[i]) // headings stand on the rule
			if k < from {
				return "", ""
			}
			return headings[i][k-from], ""
		})
	}
	writeLine(b, part, func(i int) (string, string) { return strings.Repeat("─", part[i].width-part[i].marked), "" })
	for r := range rows {
		cells := make([][]string, len(part))
		tallest := 1
		for i, c := range part {
			cells[i] = wrap(c.cells[r], c.width-c.marked)
			tallest = max(tallest, len(cells[i]))
		}
		for k := range tallest {
			writeLine(b, part, func(i int) (string, string) {
				text, mark := "", ""
				if k < len(cells[i]) {
					text = cells[i][k]
				}
				if k == max(0, len(cells[i])-1) {
					mark = part[i].marks[r]
				}
				return text, mark
			})
		}
	}
}

// writeLine writes one line of every column, without spaces at its end.
func writeLine(b *bytes.Buffer, part []textColumn, text func(i int) (cell, mark string)) {
	var line strings.Builder
	for i, c := range part {
		if i > 0 {
			line.WriteString("  ")
		}
		cell, mark := text(i)
		if c.align == Left {
			line.WriteString(pad(cell+mark, c.width, Left))
		} else {
			line.WriteString(pad(cell, c.width-c.marked, c.align) + pad(mark, c.marked, Left))
		}
	}
	b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
}

// lines writes a text wrapped, with one indent before its first line and
// another before those that follow.
func lines(b *bytes.Buffer, first, next, text string) {
	indent := first
	for _, l := range wrap(clean(text), lineWidth-width(first)) {
		b.WriteString(strings.TrimRight(indent+l, " ") + "\n")
		indent = next
	}
}

func underlined(b *bytes.Buffer, heading, rule string) {
	longest := 0
	for _, l := range wrap(clean(heading), lineWidth) {
		longest = max(longest, width(l))
	}
	lines(b, "", "", heading)
	b.WriteString(strings.Repeat(rule, longest) + "\n")
}
