package scoresheet

import (
	"archive/zip"
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flourcast/study/takeaway"

	"github.com/xuri/excelize/v2"
)

// cell is one cell: a value (number or text), or a formula.
type cell struct {
	value   any
	formula string
	style   style
}

func text(s string) cell           { return cell{value: s} }
func figure(v float64) cell        { return cell{value: v} }
func formula(f string) cell        { return cell{formula: f} }
func (c cell) in(style style) cell { c.style = style; return c }

// grid is one sheet before it is written: rows of cells, by row and column from 1.
type grid struct {
	name   string
	cells  map[[2]int]cell
	rows   int
	width  int
	widths []float64 // of the columns, in characters
	merged [][3]int  // row, first and last column
	tall   map[int]float64
}

func newGrid(name string, widths ...float64) *grid {
	return &grid{name: name, cells: map[[2]int]cell{}, widths: widths, tall: map[int]float64{}}
}

func (g *grid) set(row, column int, c cell) {
	g.cells[[2]int{row, column}] = c
	g.rows, g.width = max(g.rows, row), max(g.width, column)
}

// line sets cells of a row from a column on.
func (g *grid) line(row, column int, cells ...cell) {
	for k, c := range cells {
		g.set(row, column+k, c)
	}
}

// wide sets a text over columns 1 to last; lines is how many lines of text it takes.
func (g *grid) wide(row, last int, s string, st style, lines int) {
	g.set(row, 1, text(s).in(st))
	g.merged = append(g.merged, [3]int{row, 1, last})
	if lines > 1 {
		g.tall[row] = 15 * float64(lines)
	}
}

// at is a cell's absolute address within its sheet.
func at(row, column int) string {
	name, err := excelize.CoordinatesToCellName(column, row, true)
	if err != nil {
		panic("scoresheet: " + err.Error()) // rows and columns are counted here
	}
	return name
}

// of is a cell's address from another sheet.
func of(g *grid, row, column int) string { return g.name + "!" + at(row, column) }

// span is a range of cells, from another sheet.
func span(g *grid, row1, column1, row2, column2 int) string {
	return g.name + "!" + at(row1, column1) + ":" + at(row2, column2)
}

// LimitError says that a model does not fit into a workbook.
type LimitError struct {
	What        string
	Found, Most int
}

func (e *LimitError) Error() string {
	return fmt.Sprintf("workbook: found %d %s, expected at most %d; take the model away as PMML or CSV", e.Found, e.What, e.Most)
}

// Most rows that a sheet has, and features that a person would type or paste.
const (
	mostMisses   = 2000
	mostFeatures = 5000
)

// Write is the model as a workbook. The error is a *LimitError for a model too large
// for one.
func Write(r *takeaway.Result) ([]byte, error) {
	if p := len(r.Scorer.Features); p > mostFeatures {
		return nil, &LimitError{"features", p, mostFeatures}
	}
	if f := r.Scorer.Folds; f != nil && len(f.Misses) > mostMisses {
		return nil, &LimitError{"errors of calibration lots", len(f.Misses), mostMisses}
	}
	b := layOut(r)
	plain, err := b.build(nil)
	if err != nil {
		return nil, err
	}
	values, err := b.values(plain)
	if err != nil {
		return nil, err
	}
	if err := plain.Close(); err != nil {
		return nil, err
	}
	book, err := b.build(values)
	if err != nil {
		return nil, err
	}
	defer book.Close()
	var out bytes.Buffer
	if err := book.Write(&out); err != nil {
		return nil, err
	}
	return inOrder(out.Bytes())
}

// inOrder packs the parts of a workbook in the order of their names, the list of
// contents first: the library packs streamed sheets in any order.
func inOrder(packed []byte) ([]byte, error) {
	in, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return nil, err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, part := range in.File {
		if err := w.Copy(part); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// values are what the formulas come to in the workbook as it leaves: with no lot typed
// in. Spreadsheet programs work them out again; readers that do not find these.
func (b *book) values(f *excelize.File) (map[string]any, error) {
	out := map[string]any{}
	for _, g := range b.sheets {
		for row := 1; row <= g.rows; row++ {
			for column := 1; column <= g.width; column++ {
				c, ok := g.cells[[2]int{row, column}]
				if !ok || c.formula == "" {
					continue
				}
				where, err := excelize.CoordinatesToCellName(column, row)
				if err != nil {
					return nil, err
				}
				v, err := f.CalcCellValue(g.name, where, excelize.Options{RawCellValue: true})
				if err != nil {
					return nil, fmt.Errorf("workbook: %s!%s, %s: %w", g.name, where, c.formula, err)
				}
				out[g.name+"!"+where] = v
				if x, err := strconv.ParseFloat(v, 64); err == nil {
					out[g.name+"!"+where] = x
				}
			}
		}
	}
	return out, nil
}

// build writes the sheets; values are those of formulas, nil for none.
func (b *book) build(values map[string]any) (*excelize.File, error) {
	f := excelize.NewFile()
	styles, err := b.styles(f)
	if err != nil {
		return nil, err
	}
	for k, g := range b.sheets {
		if k == 0 {
			err = f.SetSheetName("Sheet1", g.name)
		} else {
			_, err = f.NewSheet(g.name)
		}
		if err != nil {
			return nil, err
		}
	}
	for _, finish := range b.finish { // before the rows: they stream
		if err := finish(f, styles); err != nil {
			return nil, err
		}
	}
	for _, g := range b.sheets {
		if err := g.write(f, styles, values); err != nil {
			return nil, err
		}
	}
	stamp := b.result.Exported.Format("2006-01-02T15:04:05Z")
	always := true
	if err := f.SetCalcProps(&excelize.CalcPropsOptions{FullCalcOnLoad: &always}); err != nil {
		return nil, err
	}
	return f, f.SetDocProps(&excelize.DocProperties{Title: b.title, Subject: b.verdict, Description: b.verdict, Creator: "flourcast " + b.result.ExportedBy, Created: stamp, Modified: stamp})
}

func (g *grid) write(f *excelize.File, styles map[style]int, values map[string]any) error {
	w, err := f.NewStreamWriter(g.name)
	if err != nil {
		return err
	}
	for k, width := range g.widths {
		if err := w.SetColWidth(k+1, k+1, width); err != nil {
			return err
		}
	}
	for row := 1; row <= g.rows; row++ {
		line := make([]any, g.width)
		some := false
		for column := 1; column <= g.width; column++ {
			c, ok := g.cells[[2]int{row, column}]
			if !ok {
				continue
			}
			where, err := excelize.CoordinatesToCellName(column, row)
			if err != nil {
				return err
			}
			out := excelize.Cell{StyleID: styles[c.style], Formula: c.formula, Value: c.value}
			if c.formula != "" {
				out.Value = values[g.name+"!"+where]
			}
			line[column-1], some = out, true
		}
		if !some {
			continue
		}
		var options []excelize.RowOpts
		if h := g.tall[row]; h > 0 {
			options = append(options, excelize.RowOpts{Height: h})
		}
		if err := w.SetRow(firstOf(row), line, options...); err != nil {
			return err
		}
	}
	for _, m := range g.merged {
		from, err := excelize.CoordinatesToCellName(m[1], m[0])
		if err != nil {
			return err
		}
		to, err := excelize.CoordinatesToCellName(m[2], m[0])
		if err != nil {
			return err
		}
		if err := w.MergeCell(from, to); err != nil {
			return err
		}
	}
	return w.Flush()
}

// firstOf is the first cell of a row.
func firstOf(row int) string { return "A" + strconv.Itoa(row) }
