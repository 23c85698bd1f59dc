package sheet

import "strings"

// openText prepares a delimited text file: encoding, lines, delimiter.
func (s *Sheet) openText(data []byte, lay Layout) error {
	text, name, sure := decode(data, lay.Encoding)
	s.Encoding = name
	if strings.IndexByte(text, 0) >= 0 {
		return &Error{File: s.File, Code: "file-kind", Found: "zero bytes", Want: "a CSV or XLSX file", Do: "export the figures as CSV or XLSX"}
	}
	if name != "UTF-8" && lay.Encoding == "" {
		s.note("encoding", "text in "+name, "")
	}
	if !sure {
		s.doubt("encoding-doubtful", "bytes that mean nothing in "+name, "text in one encoding", "declare encoding in an import map, or export as UTF-8")
	}
	eol := byte('\n')
	if strings.IndexByte(text, '\n') < 0 {
		eol = '\r'
	}
	at := scanner{text: text, eol: eol, line: 1}
	for range lay.SkipRows {
		at.skipLine()
	}
	delimiter := delimiterByte(lay.Delimiter)
	if d := at.separatorLine(); d != 0 {
		at.skipLine()
		if delimiter == 0 {
			delimiter = d
		}
	}
	if delimiter == 0 {
		delimiter = findDelimiter(at)
	}
	at.delimiter, s.Delimiter = delimiter, delimiter
	s.rows = func() source {
		sc := at // each reading starts with its own copy
		return sc.next
	}
	return nil
}

// scanner cuts rows out of a text. A cell is quoted when it begins with a quote;
// quotes further in are plain characters.
type scanner struct {
	text      string
	pos       int
	line      int // number of the line at pos, from 1
	delimiter byte
	eol       byte
	slab      []string // memory for cells, taken in stretches
	last      int      // cells of the row before: how many to expect
}

const slabSize = 4096

// next returns the next row, blank ones included.
func (c *scanner) next() (rawRow, bool) {
	if c.pos >= len(c.text) {
		return rawRow{}, false
	}
	if cap(c.slab)-len(c.slab) < c.last {
		c.slab = make([]string, 0, max(slabSize, 2*c.last))
	}
	from, number := len(c.slab), c.line
	end, after := c.lineEnd(c.pos)
	line := c.text[c.pos:end]
	fault := ""
	if strings.IndexByte(line, '"') < 0 {
		for {
			i := strings.IndexByte(line, c.delimiter)
			if i < 0 {
				break
			}
			c.slab = append(c.slab, trim(line[:i]))
			line = line[i+1:]
		}
		c.slab = append(c.slab, trim(line))
		c.pos = after
		c.line++
	} else {
		fault = c.quotedRow(end, after)
	}
	cells := c.slab[from:len(c.slab):len(c.slab)]
	c.last = len(cells)
	return rawRow{number, cells, fault}, true
}

// quotedRow reads a row whose first line, which ends at end, has a quote in it.
func (c *scanner) quotedRow(end, after int) (fault string) {
	first, start := c.line, len(c.slab)
	for pos := c.pos; ; {
		for pos < end && (c.text[pos] == ' ' || c.text[pos] == '\t' && c.delimiter != '\t') {
			pos++
		}
		if pos >= end || c.text[pos] != '"' { // a plain cell, to the delimiter or the end of the line
			stop := end
			if i := strings.IndexByte(c.text[pos:end], c.delimiter); i >= 0 {
				stop = pos + i
			}
			c.slab = append(c.slab, trim(c.text[pos:stop]))
			pos = stop
		} else {
			cell, stop, ok := quoted(c.text, pos)
			if ok && stop > end { // the cell went over line ends: find the line it stopped on
				c.line += strings.Count(c.text[pos:stop], string(c.eol))
				end, after = c.lineEnd(stop)
			}
			for stop < end && (c.text[stop] == ' ' || c.text[stop] == '\t' && c.delimiter != '\t') {
				stop++
			}
			if !ok {
				return c.faultyRow(start, first, "a quote that does not close")
			}
			if stop < end && c.text[stop] != c.delimiter {
				return c.faultyRow(start, first, "text after a closing quote")
			}
			c.slab = append(c.slab, trim(cell))
			pos = stop
		}
		if pos >= end {
			break
		}
		pos++ // the delimiter
	}
	c.pos = after
	c.line++
	return ""
}

// faultyRow gives up on the row that began on line first: it is that line as
// one cell, and reading goes on with the next line.
func (c *scanner) faultyRow(start, first int, fault string) string {
	end, after := c.lineEnd(c.pos)
	c.slab = append(c.slab[:start], trim(c.text[c.pos:end]))
	c.pos, c.line = after, first+1
	return fault
}

// quoted reads the quoted cell that begins at pos; stop is behind its closing
// quote. ok is false when it does not close.
func quoted(text string, pos int) (cell string, stop int, ok bool) {
	from, double := pos+1, false
	for at := from; ; {
		i := strings.IndexByte(text[at:], '"')
		if i < 0 {
			return "", len(text), false
		}
		at += i + 1
		if at < len(text) && text[at] == '"' {
			double = true
			at++
			continue
		}
		cell = text[from : at-1]
		if double {
			cell = strings.ReplaceAll(cell, `""`, `"`)
		}
		return cell, at, true
	}
}

// lineEnd finds where the line at pos ends, without its line end, and where the
// next one begins.
func (c *scanner) lineEnd(pos int) (end, after int) {
	i := strings.IndexByte(c.text[pos:], c.eol)
	if i < 0 {
		end, after = len(c.text), len(c.text)
	} else {
		end, after = pos+i, pos+i+1
	}
	if end > pos && c.text[end-1] == '\r' {
		end--
	}
	return end, after
}

func (c *scanner) skipLine() {
	if c.pos < len(c.text) {
		_, c.pos = c.lineEnd(c.pos)
		c.line++
	}
}

// separatorLine returns the delimiter that a first line such as "sep=;" names,
// or 0. Spreadsheet programs write such a line for one another.
func (c *scanner) separatorLine() byte {
	end, _ := c.lineEnd(c.pos)
	line := strings.ToLower(c.text[c.pos:end])
	if rest, ok := strings.CutPrefix(line, "sep="); ok && len(rest) == 1 && strings.Contains(",;\t", rest) {
		return rest[0]
	}
	return 0
}

// findDelimiter looks at up to 20 non-empty lines. A tab or semicolon that
// stands as often in every one of them as in the first is the delimiter, for
// commas may then be decimal ones; else the comma, unless the first line has
// none and does have another.
func findDelimiter(at scanner) byte {
	for _, d := range []byte{'\t', ';'} {
		sc := at
		sc.delimiter = d
		want, lines, same := 0, 0, 0
		for r, ok := sc.next(); ok && lines < 20; r, ok = sc.next() {
			if r.blank() {
				continue
			}
			if lines++; lines == 1 {
				want = len(r.cells)
			}
			if len(r.cells) == want {
				same++
			}
		}
		if want > 1 && same*10 >= lines*9 {
			return d
		}
	}
	end, _ := at.lineEnd(at.pos)
	for at.pos < len(at.text) && strings.TrimSpace(at.text[at.pos:end]) == "" {
		at.skipLine()
		end, _ = at.lineEnd(at.pos)
	}
	first := at.text[at.pos:end]
	for _, d := range []byte{',', ';', '\t'} {
		if strings.IndexByte(first, d) >= 0 {
			return d
		}
	}
	return ','
}

// delimiterByte is the delimiter as an import map names it, or 0.
func delimiterByte(name string) byte {
	switch name {
	case "tab":
		return '\t'
	case "":
		return 0
	}
	return name[0]
}

// trim takes outer blanks off a cell, no-break spaces included.
func trim(s string) string {
	if s == "" || s[0] > ' ' && s[0] < 0x80 && s[len(s)-1] > ' ' && s[len(s)-1] < 0x80 {
		return s
	}
	return strings.TrimSpace(s)
}
