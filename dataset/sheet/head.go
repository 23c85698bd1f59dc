package sheet

import (
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"flourcast/dataset/cell"
	"flourcast/dataset/grid"
	"flourcast/dataset/layout"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// readHead reads the header and the row of units, applies the import map to
// the columns, and looks them up in the glossary.
func (s *Sheet) readHead(lay layout.Layout, m *Map) error {
	withHeader := lay.Header == nil || *lay.Header
	next, taken := s.rows(false), 0
	read := func() (grid.Row, bool) {
		for r, ok := next(); ok; r, ok = next() {
			taken++
			if !r.Blank() {
				return r, true
			}
		}
		return grid.Row{}, false
	}
	head, ok := read()
	switch {
	case !ok:
		return &Error{File: s.File, Code: "file-empty", Found: "no header", Want: "a header and rows", Do: "check skip_rows in the import map, or export the file again"}
	case head.Fault != "" && withHeader:
		return &Error{File: s.File, Row: head.Number, Code: "header-not-read", Found: head.Fault, Want: "column names", Do: "close the quote, or declare skip_rows in an import map"}
	}
	s.width = len(head.Cells)
	for s.width > 0 && head.Cells[s.width-1] == "" {
		s.width--
	}
	for i, written := range head.Cells[:s.width] {
		if withHeader {
			written = strings.Clone(written) // findings name columns, and shall not hold on to the file's text
			s.Columns = append(s.Columns, Column{Written: written, Name: written})
		} else {
			s.Columns = append(s.Columns, Column{Name: fmt.Sprintf("column %d", i+1)})
		}
	}
	declared := s.declare(lay.Columns)
	behind := 0 // rows of the file that are not data
	if withHeader {
		behind = taken
		if units, ok := read(); ok && s.takeUnits(units, lay.UnitsRow) {
			behind = taken
		}
	}
	open := s.rows
	s.rows = func(inPlace bool) grid.Source {
		next := open(inPlace)
		for range behind {
			next()
		}
		return next
	}
	s.findDuplicates(declared, head.Number)
	if lay.Only {
		if len(declared) == 0 {
			return &Error{File: s.File, Row: head.Number, Code: "columns-not-there", Found: "none of the columns that the import map declares", Want: "at least one of them", Do: "check from, position and skip_rows in the import map"}
		}
		s.keepOnly(declared)
	}
	if err := s.addColumns(lay); err != nil {
		return err
	}
	s.understand(lay, head.Number)
	for i := range s.Columns {
		names := m.NamesOf(s.columnID(i))
		if names != nil && s.aliases == nil {
			s.aliases = make([]map[string]string, len(s.Columns))
		}
		if s.aliases != nil {
			s.aliases[i] = names
		}
	}
	return nil
}

// takeUnits reads the row under the header as units if it is one, or if the
// import map says so. Units that the map declares stay.
func (s *Sheet) takeUnits(row grid.Row, declared *bool) bool {
	if declared != nil && !*declared || declared == nil && !s.isUnits(row.Cells) {
		return false
	}
	for i := range s.Columns {
		if i < len(row.Cells) && s.Columns[i].Unit == "" {
			s.Columns[i].Unit = row.Cells[i]
		}
	}
	if declared == nil {
		s.note("units-row", fmt.Sprintf("row %d read as units", row.Number), "")
	}
	return true
}

// isUnits reports whether a row holds units: none of its cells is a number or
// stands under a name for texts, at least half of those that are not empty are
// units, and one of them stands under a name from the glossary.
func (s *Sheet) isUnits(cells []string) bool {
	filled, units, fits := 0, 0, false
	for i, c := range cells {
		if cell.Absent(c) {
			continue
		}
		if i >= s.width || strings.Trim(c[:1], "0123456789+-.,") == "" {
			return false
		}
		h, err := header(s.Columns[i], "")
		var unknown *trait.UnknownError
		if err == nil && !h.Trait.Numeric() {
			return false
		}
		filled++
		if trait.IsUnit(strings.Trim(c, "()[] ")) {
			units++
			fits = fits || !errors.As(err, &unknown)
		}
	}
	return fits && 2*units >= filled
}

// declare applies the import map's columns and returns their indices, in the
// map's order.
func (s *Sheet) declare(columns []layout.Column) []int {
	var out []int
	for _, mc := range columns {
		at := mc.Position - 1
		if mc.From != "" {
			at = slices.IndexFunc(s.Columns, func(c Column) bool { return c.Written == mc.From })
			if at < 0 {
				at = slices.IndexFunc(s.Columns, func(c Column) bool { return strings.EqualFold(c.Written, mc.From) })
			}
		}
		if at < 0 || at >= len(s.Columns) {
			s.note("column-not-there", fmt.Sprintf("no column %s, which the import map calls %s", mc.Where(), mc.Name), "")
			continue
		}
		c := &s.Columns[at]
		c.Name, c.Unit, c.Factor, c.declared = mc.Name, mc.Unit, mc.Factor, true
		out = append(out, at)
	}
	return out
}

// findDuplicates refuses columns of one name, unless the import map tells them
// apart.
func (s *Sheet) findDuplicates(declared []int, row int) {
	s.usable = make([]bool, len(s.Columns))
	first := map[string]int{}
	for i, c := range s.Columns {
		s.usable[i] = true
		if c.Name == "" || slices.Contains(declared, i) {
			continue
		}
		if at, twice := first[c.Name]; twice {
			s.usable[i], s.usable[at] = false, false
			s.findings.Add(finding.Finding{Code: "header-duplicate", Severity: finding.Refused, At: finding.Place{File: s.File, Row: row, Column: c.Written},
				Found: fmt.Sprintf("the name in columns %d and %d", at+1, i+1), Want: "each name once",
				Do: "rename one of them, or tell them apart by position in an import map; neither is used"})
			continue
		}
		first[c.Name] = i
	}
}

// keepOnly leaves the declared columns, in the order of the file.
func (s *Sheet) keepOnly(declared []int) {
	slices.Sort(declared)
	s.pick = slices.Compact(declared)
	columns, usable := s.Columns, s.usable
	s.Columns, s.usable = nil, nil
	for _, at := range s.pick {
		s.Columns, s.usable = append(s.Columns, columns[at]), append(s.usable, usable[at])
	}
}

// addColumns appends the map's constant columns and those that the file's name
// tells. A column that the file has itself stays as it is.
func (s *Sheet) addColumns(lay layout.Layout) error {
	has := map[string]bool{} // names and traits of the file's columns
	for _, c := range s.Columns {
		has[c.Name] = true
		if h, err := header(c, lay.Setback); err == nil {
			has[h.Trait.ID] = true
		}
	}
	add := func(name, value string) {
		t, known := trait.Lookup(name)
		if has[name] || known && has[t.ID] {
			s.note("column-not-added", "the file has its own column "+name+"; the import map's is not used", "")
			return
		}
		if s.pick == nil {
			for i := range s.Columns {
				s.pick = append(s.pick, i)
			}
		}
		s.added = append(s.added, make([]string, len(s.pick)-len(s.added))...)
		has[name] = true
		if known {
			has[t.ID] = true
		}
		s.pick, s.added = append(s.pick, -1), append(s.added, value)
		s.Columns, s.usable = append(s.Columns, Column{Name: name, declared: true}), append(s.usable, true)
	}
	pattern, err := lay.NamePattern()
	if err != nil {
		return &Error{File: s.File, Code: "map-faulty", Found: err.Error(), Want: "a regular expression in file_name", Do: "correct the import map", Err: err}
	}
	if pattern != nil {
		match := pattern.FindStringSubmatch(filepath.Base(s.File))
		if match == nil {
			s.doubt("file-name-no-match", filepath.Base(s.File), "a name like "+lay.FileName, "rename the file or correct file_name in the import map")
		}
		for i, name := range pattern.SubexpNames() {
			if match != nil && name != "" {
				add(name, strings.TrimSpace(match[i]))
			}
		}
	}
	names := make([]string, 0, len(lay.Constant))
	for name := range lay.Constant {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		add(name, strings.TrimSpace(lay.Constant[name]))
	}
	return nil
}

// understand looks every column up in the glossary and notes what could not be
// understood.
func (s *Sheet) understand(lay layout.Layout, row int) {
	n := len(s.Columns)
	s.headers, s.known, s.same, s.plain = make([]trait.Header, n), make([]bool, n), make([]bool, n), make([]bool, n)
	at := map[string]int{}
	for i, c := range s.Columns {
		if !s.usable[i] || c.Written == "" && c.Name != "" && !c.declared { // or a file without header
			continue
		}
		place := finding.Place{File: s.File, Row: row, Column: c.shown()}
		if c.Name == "" {
			s.doubts.Add(finding.Finding{Code: "header-empty", Severity: finding.Doubt, At: finding.Place{File: s.File, Row: row},
				Found: fmt.Sprintf("no name for column %d", i+1), Want: "a name for every column", Do: "name it, or by position in an import map; it is not used"})
			continue
		}
		h, err := header(c, lay.Setback)
		if err != nil {
			s.doubts.Add(headerFinding(err, place))
			continue
		}
		id := trait.Join(h.Trait.ID, h.Method)
		if first, twice := at[id]; twice {
			s.known[first], s.plain[first] = false, false
			s.doubts.Add(finding.Finding{Code: "column-duplicate", Severity: finding.Refused, At: place,
				Found: fmt.Sprintf("%s, as in column %s", id, s.Columns[first].shown()), Want: "one column for it", Do: "leave one of them out; neither is used"})
			continue
		}
		at[id] = i
		s.headers[i], s.known[i], s.same[i] = h, true, h.Same()
		s.plain[i] = h.Same() && c.Factor == 0 && !strings.Contains(h.Unit.Symbol, ":")
		if h.UnitMissing {
			s.doubts.Add(finding.Finding{Code: "unit-missing", Severity: finding.Doubt, At: place,
				Found: "no unit", Want: "a unit in the header or in a row of units", Do: "state it; read as " + h.Trait.Unit})
		}
	}
}

// header reads one column as the glossary and the import map say.
func header(c Column, setback string) (trait.Header, error) {
	if t, ok := trait.Lookup(c.Name); ok && c.declared {
		h, err := trait.ParseHeader(c.Written, c.Unit)
		if err != nil || h.Trait.ID != t.ID { // a name of the laboratory's own, or a unit that the map overrides
			unit := c.Unit
			if unit == "" {
				unit = unitWritten(c.Written)
			}
			h, err = t.In(unit)
		}
		h.UnitMissing = false
		_, h.Method = trait.Split(c.Name)
		return h, err
	}
	h, err := trait.ParseHeader(c.Name, strings.Trim(c.Unit, "()[] "))
	var many *trait.AmbiguousError
	if errors.As(err, &many) {
		id := map[string]string{"trough": "setback_trough_mPas", "peak": "setback_peak_mPas", "flipped": "setback_peak_mPas"}[setback]
		if chosen, ok := many.Choose(id); ok {
			chosen.Flipped = setback == "flipped"
			return chosen, nil
		}
	}
	return h, err
}

var inBrackets = regexp.MustCompile(`[(\[]([^()\[\]]*)[)\]]|,([^,]*)$`)

// unitWritten finds a unit in a header whose name the import map replaces:
// "Max. viscosity (cP)".
func unitWritten(written string) string {
	for _, g := range inBrackets.FindAllStringSubmatch(written, -1) {
		if unit := strings.TrimSpace(g[1] + g[2]); trait.IsUnit(unit) {
			return unit
		}
	}
	return ""
}

// headerFinding words a header's error.
func headerFinding(err error, at finding.Place) finding.Finding {
	f := finding.Finding{Severity: finding.Refused, At: at}
	var unit *trait.UnitError
	var many *trait.AmbiguousError
	var unknown *trait.UnknownError
	switch {
	case errors.As(err, &unit):
		f.Code, f.Found, f.Want, f.Do = "unit-"+unit.Reason, unit.Problem(), unit.Want, "correct the header or declare the unit in an import map; the column is not used"
	case errors.As(err, &many):
		f.Code, f.Found, f.Want, f.Do = "name-ambiguous", "a name with more than one meaning", strings.Join(many.Choices, " or "), "rename the column or declare it in an import map; it is not used"
	case errors.As(err, &unknown):
		f.Code, f.Severity, f.Found = "column-unknown", finding.Note, "a name that is not in the glossary"
		if len(unknown.Near) > 0 {
			f.Severity, f.Want, f.Do = finding.Doubt, strings.Join(unknown.Near, " or "), "rename it if this is meant; it is kept under its own name"
		}
	}
	return f
}

// HeaderFindings tells what was wrong or doubtful about the column headers:
// units that are unknown, arbitrary or missing, a bare setback, two columns for
// one trait (refused: such a column is not used), near misses (doubts), and
// names that are not in the glossary (notes: a table of one's own may have any).
func (s *Sheet) HeaderFindings() finding.List { return slices.Clone(s.doubts) }

// Column returns the index of the column that holds a trait, by its id
// ("peak_mPas", "peak_mPas@noodle-water", "lot"), or of the column of exactly
// that name when the glossary does not have it; −1 if there is none.
func (s *Sheet) Column(id string) int {
	for i := range s.Columns {
		if s.usable[i] && s.columnID(i) == id {
			return i
		}
	}
	return -1
}

// columnID is a column's trait id with its method, else its name.
func (s *Sheet) columnID(i int) string {
	if s.known[i] {
		return trait.Join(s.headers[i].Trait.ID, s.headers[i].Method)
	}
	if _, ok := trait.Lookup(s.Columns[i].Name); ok { // a trait's column that was refused
		return ""
	}
	return s.Columns[i].Name
}

// Header returns what a column was understood as. ok is false when the glossary
// does not have it or its header was refused, and for col −1.
func (s *Sheet) Header(col int) (h trait.Header, ok bool) {
	if col < 0 || col >= len(s.headers) {
		return trait.Header{}, false
	}
	return s.headers[col], s.known[col]
}
