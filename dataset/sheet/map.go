package sheet

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"flourcast/dataset/trait"
)

// Map is an import map: how a laboratory's own files are to be read, written by
// the laboratory in TOML (see docs/files.md). The keys at its top hold for every
// file that no [[file]] block matches; a block stands alone and inherits nothing
// but the names.
type Map struct {
	File   string                       `toml:"-"`
	Layout                              // for files that no block matches
	Files  []FileLayout                 `toml:"file"`
	Names  map[string]map[string]string `toml:"names"` // by column: what is written → what it is called
}

// FileLayout is the layout of files whose base name matches a pattern such as
// "run_*.txt".
type FileLayout struct {
	Match string `toml:"match"`
	Layout
}

// Layout says how one kind of file is laid out. Whatever is left out is found
// out from the file.
type Layout struct {
	SkipRows  int               `toml:"skip_rows"` // lines above the header
	Header    *bool             `toml:"header"`    // false: no header row, columns by position
	UnitsRow  *bool             `toml:"units_row"` // whether the row under the header holds units
	Delimiter string            `toml:"delimiter"` // "," ";" "tab"
	Decimal   string            `toml:"decimal"`   // "." ","
	Encoding  string            `toml:"encoding"`  // "utf-8" "utf-16le" "utf-16be" "windows-1252"
	Sheet     string            `toml:"sheet"`     // worksheet of a workbook
	Dates     string            `toml:"dates"`     // "d/m/y" "m/d/y"
	Setback   string            `toml:"setback"`   // what a bare "setback" is: "trough" "peak" "flipped" (peak − final)
	FileName  string            `toml:"file_name"` // regular expression; its named groups become columns
	Only      bool              `toml:"only"`      // read the declared columns and no others
	Constant  map[string]string `toml:"constant"`  // columns with one value in every row
	Columns   []MapColumn       `toml:"column"`
}

// MapColumn names one column, found by its header (From) or by its Position
// from 1.
type MapColumn struct {
	Name     string  `toml:"name"` // canonical id, or a name of the laboratory's own
	From     string  `toml:"from"`
	Position int     `toml:"position"`
	Unit     string  `toml:"unit"`
	Factor   float64 `toml:"factor"` // figures × factor are in Unit; 0 is no factor
}

func (c MapColumn) where() string {
	if c.From != "" {
		return fmt.Sprintf("%q", c.From)
	}
	return fmt.Sprint("at position ", c.Position)
}

// MapError is one fault in an import map.
type MapError struct {
	File  string
	Line  int // 0 when it is not known
	Key   string
	Found string
	Want  string
	Do    string
}

func (e *MapError) Error() string {
	s := e.File
	if e.Line > 0 {
		s += fmt.Sprintf(", line %d", e.Line)
	}
	if e.Key != "" {
		s += ", " + e.Key
	}
	s += ": found " + e.Found
	if e.Want != "" {
		s += "; expected " + e.Want
	}
	if e.Do != "" {
		s += "; " + e.Do
	}
	return s
}

// OpenMap reads an import map from a file; see ParseMap.
func OpenMap(path string) (*Map, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, &MapError{File: path, Found: err.Error(), Want: "an import map that can be read", Do: "check path and permissions"}
	}
	return ParseMap(path, data)
}

// ParseMap reads an import map; name stands in its errors. The error joins one
// *MapError for each fault: bad TOML, unknown keys (the nearest known one is
// proposed), values that are not among the choices, units that are unknown or do
// not fit the column.
func ParseMap(name string, data []byte) (*Map, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	m := &Map{File: name}
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(m); err != nil {
		return nil, tomlError(name, err)
	}
	c := checker{file: name, lines: keyLines(string(data))}
	c.layout("", m.Layout)
	for i, f := range m.Files {
		at := fmt.Sprintf("file[%d]", i)
		if _, err := path.Match(f.Match, "x"); f.Match == "" || err != nil {
			c.fault(at, "match", quote(f.Match), `a pattern for file names such as "run_*.txt"`, "")
		}
		c.layout(at, f.Layout)
	}
	if err := errors.Join(c.faults...); err != nil {
		return nil, err
	}
	return m, nil
}

func quote(s string) string { return fmt.Sprintf("%q", s) }

// tomlError brings the TOML reader's errors to MapErrors with their lines.
func tomlError(name string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		var all []error
		for i := range strict.Errors {
			e := &strict.Errors[i]
			line, _ := e.Position()
			key := e.Key()
			me := &MapError{File: name, Line: line, Key: strings.Join(key, "."), Found: "an unknown key", Want: strings.Join(knownKeys(), ", ")}
			if near := trait.Near(key[len(key)-1], knownKeys()); len(near) > 0 {
				me.Want = strings.Join(near, " or ")
			}
			all = append(all, me)
		}
		return errors.Join(all...)
	}
	me := &MapError{File: name, Found: strings.TrimPrefix(err.Error(), "toml: "), Want: "TOML", Do: "texts stand in quotes, also lots such as \"0012\""}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		me.Line, _ = de.Position()
		me.Key = strings.Join(de.Key(), ".")
	}
	return me
}

// checker collects the faults of a map.
type checker struct {
	file   string
	lines  map[string]int
	faults []error
}

// fault adds one; at is the table's path, "" at the top.
func (c *checker) fault(at, key, found, want, do string) {
	full := strings.TrimPrefix(at+"."+key, ".")
	c.faults = append(c.faults, &MapError{File: c.file, Line: cmp.Or(c.lines[full], c.lines[at]), Key: full, Found: found, Want: want, Do: do})
}

// oneOf checks a text value that has a fixed set of choices; empty is left out.
func (c *checker) oneOf(at, key, value string, choices ...string) {
	if value != "" && !slices.Contains(choices, value) {
		c.fault(at, key, quote(value), `"`+strings.Join(choices, `" or "`)+`"`, "")
	}
}

func (c *checker) layout(at string, lay Layout) {
	if lay.SkipRows < 0 {
		c.fault(at, "skip_rows", fmt.Sprint(lay.SkipRows), "0 or more", "")
	}
	c.oneOf(at, "delimiter", lay.Delimiter, ",", ";", "tab")
	c.oneOf(at, "decimal", lay.Decimal, ".", ",")
	c.oneOf(at, "encoding", lay.Encoding, utf8Name, utf16LEName, utf16BEName, ansiName)
	c.oneOf(at, "dates", lay.Dates, "d/m/y", "m/d/y")
	c.oneOf(at, "setback", lay.Setback, "trough", "peak", "flipped")
	if lay.Delimiter == "," && lay.Decimal == "," {
		c.fault(at, "decimal", `"," as the delimiter too`, "two different signs", "numbers with a decimal comma must then stand in quotes: leave delimiter or decimal out")
	}
	if lay.FileName != "" {
		re, err := regexp.Compile(lay.FileName)
		switch {
		case err != nil:
			c.fault(at, "file_name", err.Error(), "a regular expression", "")
		case strings.Join(re.SubexpNames(), "") == "":
			c.fault(at, "file_name", quote(lay.FileName), "at least one named group", `write (?P<lot>…) around the part that is the lot`)
		}
	}
	if lay.Only && len(lay.Columns) == 0 {
		c.fault(at, "only", "true without columns", "the columns to read", "declare them by [[column]]")
	}
	seen := map[string]bool{}
	for i, mc := range lay.Columns {
		here := strings.TrimPrefix(fmt.Sprintf("%s.column[%d]", at, i), ".")
		c.column(here, mc, lay)
		for _, key := range []string{"column " + mc.where(), "name " + mc.Name} {
			if seen[key] {
				c.fault(here, "name", key+" a second time", "each once", "")
			}
			seen[key] = true
		}
	}
}

func (c *checker) column(at string, mc MapColumn, lay Layout) {
	switch {
	case (mc.From == "") == (mc.Position == 0):
		c.fault(at, "from", "from and position both, or neither", "one of them", "")
	case mc.Position < 0:
		c.fault(at, "position", fmt.Sprint(mc.Position), "1 or more", "")
	case mc.From != "" && lay.Header != nil && !*lay.Header:
		c.fault(at, "from", "a header's name in a file without header", "position", "")
	}
	if mc.Factor != mc.Factor || mc.Factor-mc.Factor != 0 {
		c.fault(at, "factor", fmt.Sprint(mc.Factor), "a finite number", "")
	}
	t, known := trait.Lookup(mc.Name)
	if mc.Name == "" || strings.TrimSpace(mc.Name) != mc.Name {
		c.fault(at, "name", quote(mc.Name), "a column name", "")
		return
	}
	if !known {
		h, err := trait.ParseHeader(mc.Name, "")
		var many *trait.AmbiguousError
		if err == nil {
			c.fault(at, "name", quote(mc.Name), "the canonical name "+h.Trait.ID, "state its unit by unit")
		} else if errors.As(err, &many) {
			c.fault(at, "name", quote(mc.Name), strings.Join(many.Choices, " or "), "")
		} else if mc.Unit != "" {
			c.fault(at, "unit", quote(mc.Unit)+" for a name that is not in the glossary", "no unit", "convert by factor if need be")
		}
		return
	}
	if _, err := t.In(mc.Unit); err != nil {
		var ue *trait.UnitError // the only error there is
		if errors.As(err, &ue) {
			c.fault(at, "unit", ue.Problem(), ue.Want, "")
		}
	}
}

// layout returns the layout for a file; a nil map has none.
func (m *Map) layout(file string) Layout {
	if m == nil {
		return Layout{}
	}
	for _, f := range m.Files {
		if ok, _ := path.Match(f.Match, filepath.Base(file)); ok {
			return f.Layout
		}
	}
	return m.Layout
}

// namesFor returns what the map calls the values of a column, nil if nothing.
func (m *Map) namesFor(id string) map[string]string {
	if m == nil || len(m.Names[id]) == 0 {
		return nil
	}
	return m.Names[id]
}

// knownKeys lists every key of an import map.
func knownKeys() []string {
	var out []string
	for _, t := range []reflect.Type{reflect.TypeFor[Map](), reflect.TypeFor[FileLayout](), reflect.TypeFor[Layout](), reflect.TypeFor[MapColumn]()} {
		for i := range t.NumField() {
			if key := t.Field(i).Tag.Get("toml"); key != "" && key != "-" {
				out = append(out, key)
			}
		}
	}
	return out
}

// keyLines finds the line of each table and key in TOML written one key a line:
// "decimal", "column[0]", "file[1].column[0].unit". What is written otherwise is
// not in it; errors then come without a line.
func keyLines(text string) map[string]int {
	lines, count := map[string]int{}, map[string]int{}
	table := ""
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		name, array := strings.CutPrefix(line, "[[")
		switch {
		case array:
			name, _, _ = strings.Cut(name, "]]")
			name = strings.TrimSpace(name)
			if rest, ok := strings.CutPrefix(name, "file."); ok { // of the last [[file]]
				name = fmt.Sprintf("file[%d].%s", count["file"]-1, rest)
			}
			table = fmt.Sprintf("%s[%d]", name, count[name])
			count[name]++
			lines[table] = i + 1
		case strings.HasPrefix(line, "["):
			table, _, _ = strings.Cut(line[1:], "]")
			lines[table] = i + 1
		default:
			key, _, ok := strings.Cut(line, "=")
			key = strings.TrimPrefix(table+"."+strings.Trim(key, " \t\"'"), ".")
			if ok && lines[key] == 0 {
				lines[key] = i + 1
			}
		}
	}
	return lines
}
