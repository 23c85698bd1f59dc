package grid

import "strings"

// openText prepares a delimited text: encoding, lines above, delimiter.
func openText(data []byte, o Options) (*Grid, error) {
	text, name, sure := decode(data, o.Encoding)
	if strings.IndexByte(text, 0) >= 0 {
		return nil, &Error{Code: "file-kind", Found: "zero bytes", Want: "a CSV or XLSX file", Do: "export the figures as CSV or XLSX"}
	}
	g := &Grid{Encoding: name}
	if name != "UTF-8" && o.Encoding == "" {
		g.remark(Remark{Code: "encoding", Found: "text in " + name})
	}
	if !sure {
		g.remark(Remark{Code: "encoding-doubtful", Doubt: true, Found: "bytes that mean nothing in " + name, Want: "text in one encoding",
			Do: "declare encoding in an import map, or export as UTF-8"})
	}
	r := newReader(text)
	for range o.Skip {
		r.skipLine()
	}
	named := r.separator()
	if named != 0 {
		r.skipLine()
	}
	switch {
	case o.Delimiter != 0:
		r.delimiter = o.Delimiter
	case named != 0:
		r.delimiter = named
	default:
		r.delimiter = findDelimiter(r)
	}
	g.Delimiter = r.delimiter
	g.open = func(inPlace bool) Source {
		f := r.fork()
		f.inPlace = inPlace
		return f.next
	}
	return g, nil
}

// reader cuts rows out of a text. A cell is quoted when it begins with a quote;
// quotes further in are plain characters. A quoted cell may go over lines. Lines
// end in \n or \r\n, or all of them in \r.
type reader struct {
	text      string
	pos       int
	line      int // number of the line at pos, from 1
	delimiter byte
	eol       byte
	slab      []string // memory for cells, taken in stretches
	last      int      // cells of the row before: how many to expect
	inPlace   bool     // each row takes the memory of the row before
}

// newReader returns a reader at the start of text, for cells parted by commas.
func newReader(text string) *reader {
	eol := byte('\n')
	if strings.IndexByte(text, '\n') < 0 {
		eol = '\r'
	}
	return &reader{delimiter: ',', text: text, eol: eol, line: 1}
}

// fork returns another reader that reads on from where r stands.
func (r *reader) fork() *reader {
	f := *r
	f.slab = nil
	return &f
}

// slabMost is the most cells that memory is taken for at a time.
const slabMost = 4096

// next returns the next row, blank ones included; ok is false after the last.
func (r *reader) next() (row Row, ok bool) {
	if r.pos >= len(r.text) {
		return Row{}, false
	}
	if r.inPlace {
		r.slab = r.slab[:0]
	} else if cap(r.slab)-len(r.slab) < r.last {
		r.slab = make([]string, 0, max(min(slabMost, 4*cap(r.slab)), 64, 2*r.last))
	}
	from, number := len(r.slab), r.line
	end, after := r.lineEnd(r.pos)
	line := r.text[r.pos:end]
	fault := ""
	if strings.IndexByte(line, '"') < 0 {
		for {
			i := strings.IndexByte(line, r.delimiter)
			if i < 0 {
				break
			}
			r.slab = append(r.slab, trim(line[:i]))
			line = line[i+1:]
		}
		r.slab = append(r.slab, trim(line))
		r.pos = after
		r.line++
	} else {
		fault = r.quotedRow(end, after)
	}
	cells := r.slab[from:len(r.slab):len(r.slab)]
	r.last = len(cells)
	return Row{number, cells, fault}, true
}

// quotedRow reads a row whose first line, which ends at end, has a quote in it.
func (r *reader) quotedRow(end, after int) (fault string) {
	first, start := r.line, len(r.slab)
	for pos := r.pos; ; {
		for pos < end && (r.text[pos] == ' ' || r.text[pos] == '\t' && r.delimiter != '\t') {
			pos++
		}
		if pos >= end || r.text[pos] != '"' { // a plain cell, to the delimiter or the end of the line
			stop := end
			if i := strings.IndexByte(r.text[pos:end], r.delimiter); i >= 0 {
				stop = pos + i
			}
			r.slab = append(r.slab, trim(r.text[pos:stop]))
			pos = stop
		} else {
			cell, stop, ok := quoted(r.text, pos)
			if ok && stop > end { // the cell went over line ends: find the line it stopped on
				r.line += strings.Count(r.text[pos:stop], string(r.eol))
				end, after = r.lineEnd(stop)
			}
			for stop < end && (r.text[stop] == ' ' || r.text[stop] == '\t' && r.delimiter != '\t') {
				stop++
			}
			if !ok {
				return r.faultyRow(start, first, "a quote that does not close")
			}
			if stop < end && r.text[stop] != r.delimiter {
				return r.faultyRow(start, first, "text after a closing quote")
			}
			r.slab = append(r.slab, trim(cell))
			pos = stop
		}
		if pos >= end {
			break
		}
		pos++ // the delimiter
	}
	r.pos = after
	r.line++
	return ""
}

// faultyRow gives up on the row that began on line first: it is that line as
// one cell, and reading goes on with the next line.
func (r *reader) faultyRow(start, first int, fault string) string {
	end, after := r.lineEnd(r.pos)
	r.slab = append(r.slab[:start], trim(r.text[r.pos:end]))
	r.pos, r.line = after, first+1
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
func (r *reader) lineEnd(pos int) (end, after int) {
	i := strings.IndexByte(r.text[pos:], r.eol)
	if i < 0 {
		end, after = len(r.text), len(r.text)
	} else {
		end, after = pos+i, pos+i+1
	}
	if end > pos && r.text[end-1] == '\r' {
		end--
	}
	return end, after
}

// skipLine leaves out one line, whatever it holds.
func (r *reader) skipLine() {
	if r.pos < len(r.text) {
		_, r.pos = r.lineEnd(r.pos)
		r.line++
	}
}

// separator returns the delimiter that a line such as "sep=;" names, or 0.
// Spreadsheet programs write such a first line for one another.
func (r *reader) separator() byte {
	end, _ := r.lineEnd(r.pos)
	rest, ok := strings.CutPrefix(strings.ToLower(r.text[r.pos:end]), "sep=")
	if ok && len(rest) == 1 && strings.Contains(",;\t", rest) {
		return rest[0]
	}
	return 0
}

// findDelimiter looks at up to 20 rows that are not blank, from where r stands.
// A tab or a semicolon that parts nine in ten of them into as many cells as the
// first is the delimiter, for commas may then be decimal ones. Otherwise it is
// the comma, unless the first line has none but a semicolon or tab.
func findDelimiter(r *reader) byte {
	first := ""
	for _, d := range []byte{'\t', ';', ','} {
		at := r.fork()
		at.delimiter = d
		want, rows, same := 0, 0, 0
		for rows < 20 {
			from := at.pos
			row, ok := at.next()
			if !ok {
				break
			}
			if row.Blank() {
				continue
			}
			if rows++; rows == 1 {
				want, first = len(row.Cells), r.text[from:at.pos]
			}
			if len(row.Cells) == want {
				same++
			}
		}
		if want > 1 && same*10 >= rows*9 {
			return d
		}
	}
	for _, d := range []byte{',', ';', '\t'} {
		if strings.IndexByte(first, d) >= 0 {
			return d
		}
	}
	return ','
}

// trim takes outer blanks off a cell, no-break spaces included.
func trim(s string) string {
	if s == "" || s[0] > ' ' && s[0] < 0x80 && s[len(s)-1] > ' ' && s[len(s)-1] < 0x80 {
		return s
	}
	return strings.TrimSpace(s)
}
