// Package layout reads import maps: what a laboratory writes, in TOML, about how
// its own files are to be read.
//
//  1. Parse reads a Map and refuses unknown keys and impossible values, each
//     with its line.
//  2. Map.For returns the Layout of one file by the file's name.
//
// No device's format is built in; a map is how each comes in. What a column's
// name means is not known here: whoever knows the glossary checks names and
// units, and words faults by Map.Fault.
package layout

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"path"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Map is an import map. The keys at its top hold for every file that no [[file]]
// block matches; a block stands alone and inherits nothing but the names.
type Map struct {
	File   string                       `toml:"-"`
	Layout                              // for files that no block matches
	Files  []File                       `toml:"file"`
	Names  map[string]map[string]string `toml:"names"` // by column: what is written → what it is called

	// Source is where the bytes of a file come from; nil is the file system.
	Source func(path string) ([]byte, error) `toml:"-"`

	lines map[string]int // of tables and keys, by path
}

// File is the layout of files whose base name matches a pattern such as
// "run_*.txt".
type File struct {
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
	Columns   []Column          `toml:"column"`

	fileName *regexp.Regexp // FileName, of a map that was parsed
}

// NamePattern is FileName as an expression, which a parsed map has compiled once for
// all files. It is nil without one; the error is that of one that is none.
func (l Layout) NamePattern() (*regexp.Regexp, error) {
	if l.FileName == "" || l.fileName != nil {
		return l.fileName, nil
	}
	return regexp.Compile(l.FileName)
}

// Column names one column, found by its header (From) or by its Position
// from 1.
type Column struct {
	Name     string  `toml:"name"` // canonical id, or a name of the laboratory's own
	From     string  `toml:"from"`
	Position int     `toml:"position"`
	Unit     string  `toml:"unit"`
	Factor   float64 `toml:"factor"` // figures × factor are in Unit; 0 is no factor
}

// Where is how the column is found, for messages.
func (c Column) Where() string {
	if c.From != "" {
		return fmt.Sprintf("%q", c.From)
	}
	return fmt.Sprint("at position ", c.Position)
}

// Error is one fault in an import map.
type Error struct {
	File  string
	Line  int    // 0 when it is not known
	Key   string // "decimal", "file[0].column[2].unit"
	Found string
	Want  string
	Do    string
}

func (e *Error) Error() string {
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

// Parse reads an import map; name stands in its errors. The error joins one
// *Error for each fault: bad TOML, unknown keys, values that are not among the
// choices, columns that contradict one another.
func Parse(name string, data []byte) (*Map, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	m := &Map{File: name, lines: keyLines(string(data))}
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(m); err != nil {
		return nil, tomlError(name, err)
	}
	c := checker{m: m}
	for _, at := range m.Blocks() {
		c.layout(at.Path, at.Layout)
	}
	m.compile()
	for i, f := range m.Files {
		if _, err := path.Match(f.Match, "x"); f.Match == "" || err != nil {
			c.fault(fmt.Sprintf("file[%d]", i), "match", quote(f.Match), `a pattern for file names such as "run_*.txt"`, "")
		}
	}
	if err := errors.Join(c.faults...); err != nil {
		return nil, err
	}
	return m, nil
}

// compile compiles the expressions of all layouts; one that is none was found faulty.
func (m *Map) compile() {
	m.fileName, _ = m.NamePattern()
	for i := range m.Files {
		m.Files[i].fileName, _ = m.Files[i].NamePattern()
	}
}

// Block is a layout and its path in the map: "" at the top, else "file[0]".
type Block struct {
	Path string
	Layout
}

// Blocks returns all layouts of the map, the one at the top first.
func (m *Map) Blocks() []Block {
	out := []Block{{"", m.Layout}}
	for i, f := range m.Files {
		out = append(out, Block{fmt.Sprintf("file[%d]", i), f.Layout})
	}
	return out
}

// Fault words a fault of one key in the table at a path ("", "file[0]",
// "column[1]") as an *Error with its line.
func (m *Map) Fault(at, key, found, want, do string) error {
	full := strings.TrimPrefix(at+"."+key, ".")
	return &Error{File: m.File, Line: cmp.Or(m.lines[full], m.lines[at]), Key: full, Found: found, Want: want, Do: do}
}

func quote(s string) string { return fmt.Sprintf("%q", s) }

// tomlError brings the TOML reader's errors to Errors with their lines.
func tomlError(name string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		var all []error
		for i := range strict.Errors {
			e := &strict.Errors[i]
			line, _ := e.Position()
			key := e.Key()
			me := &Error{File: name, Line: line, Key: strings.Join(key, "."), Found: "an unknown key", Want: "one of " + strings.Join(keysOf(key), ", ")}
			all = append(all, me)
		}
		return errors.Join(all...)
	}
	me := &Error{File: name, Found: strings.TrimPrefix(err.Error(), "toml: "), Want: "TOML", Do: "texts stand in quotes, also lots such as \"0012\""}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		me.Line, _ = de.Position()
		me.Key = strings.Join(de.Key(), ".")
	}
	return me
}

// checker collects the faults of a map.
type checker struct {
	m      *Map
	faults []error
}

func (c *checker) fault(at, key, found, want, do string) {
	c.faults = append(c.faults, c.m.Fault(at, key, found, want, do))
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
	c.oneOf(at, "encoding", lay.Encoding, "utf-8", "utf-16le", "utf-16be", "windows-1252")
	c.oneOf(at, "dates", lay.Dates, "d/m/y", "m/d/y")
	c.oneOf(at, "setback", lay.Setback, "trough", "peak", "flipped")
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
		for _, key := range []string{"column " + mc.Where(), "name " + mc.Name} {
			if seen[key] {
				c.fault(here, "name", key+" a second time", "each once", "")
			}
			seen[key] = true
		}
	}
}

func (c *checker) column(at string, mc Column, lay Layout) {
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
	if mc.Name == "" || strings.TrimSpace(mc.Name) != mc.Name {
		c.fault(at, "name", quote(mc.Name), "a column name", "")
	}
}

// For returns the layout of a file by its name; a nil map has an empty one.
func (m *Map) For(file string) Layout {
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

// NamesOf returns what the map calls the values of a column; nil if nothing.
func (m *Map) NamesOf(column string) map[string]string {
	if m == nil || len(m.Names[column]) == 0 {
		return nil
	}
	return m.Names[column]
}

// keysOf lists the keys that may stand in the table of an unknown key.
func keysOf(key []string) []string {
	types := []reflect.Type{reflect.TypeFor[Map](), reflect.TypeFor[Layout]()}
	switch {
	case slices.Contains(key[:len(key)-1], "column"):
		types = []reflect.Type{reflect.TypeFor[Column]()}
	case key[0] == "file" && len(key) > 1:
		types = []reflect.Type{reflect.TypeFor[File](), reflect.TypeFor[Layout]()}
	}
	var out []string
	for _, t := range types {
		for i := range t.NumField() {
			if name := t.Field(i).Tag.Get("toml"); name != "" && name != "-" {
				out = append(out, name)
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
