package intake

import (
	"bytes"
	"encoding/csv"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
)

// table is a sheet in canonical form. Cells are by the file's row numbers.
type table struct {
	columns []string
	cells   map[int][]string
}

// canonical brings the rows of a sheet that can be used to the glossary's names and
// units.
func canonical(s *sheet.Sheet) table {
	t := table{cells: map[int][]string{}}
	for k, c := range s.Columns {
		h, ok := s.Header(k)
		name := c.Name
		if ok && s.Column(h.Trait.ID) == k {
			name = trait.Join(h.Trait.ID, h.Method)
			switch h.Basis {
			case "":
			case "dry":
				name += " (dry basis)"
			case "as is":
				name += " (as is)"
			default:
				name += " (" + h.Basis + " mb)"
			}
		}
		t.columns = append(t.columns, name)
	}
	for row, bad := range s.Rows() {
		if bad != nil {
			continue
		}
		cells := make([]string, len(s.Columns))
		for k := range s.Columns {
			cells[k] = strings.Clone(plain(s, row, k))
		}
		t.cells[row.Number] = cells
	}
	return t
}

// plain is one cell in canonical form. What cannot be read stays as written. Under a
// header that the glossary does not know, only a number that shows by its form that
// it is one (a decimal comma, a space) is rewritten: 0012 may be a name.
func plain(s *sheet.Sheet, row sheet.Row, k int) string {
	text, ok := s.Text(row, k)
	if !ok {
		return ""
	}
	h, known := s.Header(k)
	switch {
	case known && h.Trait.Numeric():
		if v, ok, bad := s.Value(row, k); ok && bad == nil {
			return strconv.FormatFloat(v, 'g', -1, 64)
		}
	case known && h.Trait.Dimension == trait.Date:
		if t, ok, bad := s.Date(row, k); ok && bad == nil {
			if t.Hour()+t.Minute()+t.Second() == 0 {
				return t.Format("2006-01-02")
			}
			return t.Format("2006-01-02 15:04:05")
		}
	case !known && strings.ContainsAny(text, ",' "):
		if v, ok, bad := s.Number(row, k); ok && bad == nil {
			return strconv.FormatFloat(v, 'g', -1, 64)
		}
	}
	return text
}

// with adds a column that has one value in every row, where it is missing.
func (t *table) with(column, value string) {
	if value == "" || slices.Contains(t.columns, column) {
		return
	}
	t.columns = append(t.columns, column)
	for n := range t.cells {
		t.cells[n] = append(t.cells[n], value)
	}
}

// sortedColumns are the indices of columns by name.
func sortedColumns(columns []string) []int {
	order := make([]int, len(columns))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return strings.Compare(columns[a], columns[b]) })
	return order
}

// Sourced is a unit with the hash of the file that it came from.
type Sourced struct {
	Unit
	Source string
}

// Collection is units as files again: the names of the files by kind, and the map by
// which every reader finds and reads them.
type Collection struct {
	Names map[Kind][]string
	Map   *sheet.Map
}

// Files puts units together, one file for each file that they came from, in the
// order of the units. Rows stand at the numbers of the original, so that findings
// name the place where the laboratory looks; two originals of one name get the
// beginning of their hash before it.
func Files(units []Sourced) Collection {
	type part struct {
		kind    Kind
		file    string
		source  string
		columns []string
		rows    map[int][]string
	}
	var parts []*part
	at := map[string]*part{}
	for _, u := range units {
		key := u.Source + string(u.Kind) + strings.Join(u.Columns, "\x1f")
		p, ok := at[key]
		if !ok {
			p = &part{kind: u.Kind, file: filepath.Base(u.File), source: u.Source, columns: u.Columns, rows: map[int][]string{}}
			at[key] = p
			parts = append(parts, p)
		}
		for i, n := range u.Rows {
			p.rows[n] = u.Cells[i]
		}
	}
	out := Collection{Names: map[Kind][]string{}}
	data := map[string][]byte{}
	for _, p := range parts {
		name := p.file
		if _, taken := data[name]; taken {
			name = p.source[:min(8, len(p.source))] + "/" + p.file
		}
		data[name] = write(p.columns, p.rows)
		out.Names[p.kind] = append(out.Names[p.kind], name)
	}
	out.Map = &sheet.Map{Layout: canonicalLayout(), Source: func(path string) ([]byte, error) { return data[path], nil }}
	return out
}

// oneLine makes spaces of the line breaks within a cell.
var oneLine = strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ")

// write writes a header into line 1 and each row into the line of its number;
// between them lines are empty. Line breaks within cells become spaces.
func write(columns []string, rows map[int][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	line := 1
	out := make([]string, len(columns))
	put := func(cells []string) {
		for i, c := range cells {
			out[i] = oneLine.Replace(c)
		}
		_ = w.Write(out[:len(cells)]) // into memory
		line++
	}
	put(columns)
	numbers := make([]int, 0, len(rows))
	for n := range rows {
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		if line < n {
			w.Flush()
			b.WriteString(strings.Repeat("\n", n-line))
			line = n
		}
		put(rows[n])
	}
	w.Flush()
	return b.Bytes()
}
