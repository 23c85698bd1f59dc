// Package dialect writes small tables and curves the way various laboratories'
// programs do: separators, decimal commas, byte order marks, Windows-1252,
// workbooks with a row of units. The same content gives the same bytes.
package dialect

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
)

// File is one file to be written; Name has slashes.
type File struct {
	Name string
	Data []byte
}

// Dialect is how somebody's program writes a CSV file.
type Dialect struct {
	separator    rune
	decimalComma bool
	mark         bool // UTF-8 with a byte order mark
	windows      bool // Windows-1252 in place of UTF-8
}

// The dialects of the demo.
var (
	Plain     = Dialect{separator: ','}
	Marked    = Dialect{separator: ',', mark: true}
	Tabs      = Dialect{separator: '\t'}
	Continent = Dialect{separator: ';', decimalComma: true}
	OldOffice = Dialect{separator: ';', decimalComma: true, windows: true}
)

// Number writes a figure with a number of decimals.
func (d Dialect) Number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if d.decimalComma {
		return strings.Replace(s, ".", ",", 1)
	}
	return s
}

// Sheet is a small table on its way into a file.
type Sheet struct {
	Name string
	Dialect
	Header []string
	Rows   [][]string
}

// Line is the line of the file on which row i stands, header included.
func (s *Sheet) Line(i int) int { return i + 2 }

// Column is where a header stands; it panics when there is none.
func (s *Sheet) Column(header string) int {
	for k, h := range s.Header {
		if h == header {
			return k
		}
	}
	panic("dialect: no column " + header + " in " + s.Name)
}

// File encodes the sheet as CSV.
func (s *Sheet) File() (File, error) {
	var b bytes.Buffer
	if s.mark {
		b.WriteString("\ufeff")
	}
	w := csv.NewWriter(&b)
	w.Comma = s.separator
	if err := w.Write(s.Header); err != nil {
		return File{}, err
	}
	if err := w.WriteAll(s.Rows); err != nil {
		return File{}, err
	}
	data := b.Bytes()
	if s.windows {
		var err error
		if data, err = charmap.Windows1252.NewEncoder().Bytes(data); err != nil {
			return File{}, err
		}
	}
	return File{s.Name, data}, nil
}

// Workbook encodes the sheet as XLSX with a second row of units. figures[i] are
// further cells of row i, rounded to their column's decimals.
func (s *Sheet) Workbook(author string, units []string, decimals []int, figures [][]float64) (File, error) {
	book := excelize.NewFile()
	defer book.Close()
	const page = "invented"
	if err := book.SetSheetName("Sheet1", page); err != nil {
		return File{}, err
	}
	// Fixed, or every run would write other bytes.
	if err := book.SetDocProps(&excelize.DocProperties{Title: author + ": invented data", Creator: author, Created: "2026-01-05T08:00:00Z", Modified: "2026-01-05T08:00:00Z"}); err != nil {
		return File{}, err
	}
	put := func(row int, cells []any) error {
		at, err := excelize.CoordinatesToCellName(1, row)
		if err != nil {
			return err
		}
		return book.SetSheetRow(page, at, &cells)
	}
	for i, texts := range [][]string{s.Header, units} {
		cells := make([]any, len(texts))
		for k, t := range texts {
			cells[k] = t
		}
		if err := put(i+1, cells); err != nil {
			return File{}, err
		}
	}
	for i, row := range s.Rows {
		var cells []any
		for _, t := range row {
			cells = append(cells, t)
		}
		for k, v := range figures[i] {
			rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', decimals[k], 64), 64)
			if err != nil {
				return File{}, err
			}
			cells = append(cells, rounded)
		}
		if err := put(i+3, cells); err != nil {
			return File{}, err
		}
	}
	b, err := book.WriteToBuffer()
	if err != nil {
		return File{}, err
	}
	return File{s.Name, b.Bytes()}, nil
}

// Curves is a long curve file in the making.
type Curves struct {
	Name string
	Dialect
	perMinute bool
	data      []byte
	lines     int
	start     int // of the last curve in data
}

// NewCurves begins a file: time in minutes or seconds, viscosity under a header.
func NewCurves(name string, d Dialect, perMinute bool, viscosity string) *Curves {
	time := "time_s"
	if perMinute {
		time = "time (min)"
	}
	c := &Curves{Name: name, Dialect: d, perMinute: perMinute, lines: 1}
	c.data = []byte(strings.Join([]string{"run", "lot", "method", "replicate", time, "temperature_C", viscosity}, string(d.separator)) + "\n")
	return c
}

// Add writes a curve, its three columns of one length; label holds run, lot,
// method and replicate. It returns the line of the first point.
func (c *Curves) Add(label []string, timeS, temperatureC, viscosityMPas []float64) int {
	first := c.lines + 1
	c.start = len(c.data)
	start := strings.Join(label, string(c.separator))
	for i, t := range timeS {
		decimals := 0
		if c.perMinute {
			t, decimals = t/60, 4
		}
		c.data = append(c.data, start...)
		c.figure(t, decimals)
		c.figure(temperatureC[i], 1)
		c.figure(viscosityMPas[i], 0)
		c.data = append(c.data, '\n')
		c.lines++
	}
	return first
}

func (c *Curves) figure(v float64, decimals int) {
	c.data = append(c.data, byte(c.separator))
	at := len(c.data)
	c.data = strconv.AppendFloat(c.data, v, 'f', decimals, 64)
	if c.decimalComma {
		if k := bytes.IndexByte(c.data[at:], '.'); k >= 0 {
			c.data[at+k] = ','
		}
	}
}

// Rewrite hands the lines of the last curve to f and puts back what f leaves.
func (c *Curves) Rewrite(f func(lines []string)) {
	lines := strings.Split(strings.TrimSuffix(string(c.data[c.start:]), "\n"), "\n")
	f(lines)
	c.data = append(c.data[:c.start], strings.Join(lines, "\n")+"\n"...)
}

// File is the file with the curves so far.
func (c *Curves) File() File { return File{c.Name, c.data} }
