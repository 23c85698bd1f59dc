package scoresheet

import (
	"maps"
	"slices"
	"strings"

	"flourcast/dataset/trait"

	"github.com/xuri/excelize/v2"
)

// style is how a cell looks: a kind, and decimals for figures (−1: as they are).
type style struct {
	kind     string
	decimals int
}

var (
	styleWords    = style{"words", -1}
	styleTitle    = style{"title", -1}
	styleVerdict  = style{"verdict", -1}
	styleWarning  = style{"warning", -1}
	styleHeading  = style{"heading", -1}
	styleFaint    = style{"faint", -1}
	styleInput    = style{"input", -1}
	styleDecision = style{"decision", -1}
)

func (s style) bold() style  { return style{"bold figure", s.decimals} }
func (s style) finer() style { return style{s.kind, s.decimals + 1} }

// decimalsOf is the style of a column's figures: the glossary's decimals, 4 for an
// unknown column.
func decimalsOf(column string) style {
	if t, ok := trait.Lookup(column); ok {
		return style{"figure", t.Decimals}
	}
	return style{"figure", 4}
}

// styles registers every style that is used, in a fixed order.
func (b *book) styles(f *excelize.File) (map[style]int, error) {
	used := map[style]bool{}
	for _, g := range b.sheets {
		for _, c := range g.cells {
			used[c.style] = true
		}
	}
	order := slices.SortedFunc(maps.Keys(used), func(a, b style) int {
		if n := strings.Compare(a.kind, b.kind); n != 0 {
			return n
		}
		return a.decimals - b.decimals
	})
	out := map[style]int{}
	for _, s := range order {
		if s == (style{}) {
			continue
		}
		id, err := f.NewStyle(looks(s))
		if err != nil {
			return nil, err
		}
		out[s] = id
	}
	return out, nil
}

// looks are plain: black on white, and what is to be filled shaded and framed, so that
// it is seen in black and white too.
func looks(s style) *excelize.Style {
	st := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top"}, Font: &excelize.Font{}}
	frame := []excelize.Border{{Type: "left", Color: "808080", Style: 1}, {Type: "right", Color: "808080", Style: 1}, {Type: "top", Color: "808080", Style: 1}, {Type: "bottom", Color: "808080", Style: 1}}
	wrapped := &excelize.Alignment{Vertical: "top", WrapText: true}
	switch s.kind {
	case "words":
		st.Alignment = wrapped
	case "title":
		st.Font.Bold, st.Font.Size, st.Alignment = true, 14, wrapped
	case "verdict":
		st.Font.Bold, st.Alignment, st.Border = true, wrapped, frame
	case "warning":
		st.Font.Bold, st.Font.Color, st.Alignment, st.Border = true, "A00000", wrapped, frame
	case "heading":
		st.Font.Bold, st.Border = true, []excelize.Border{{Type: "bottom", Color: "000000", Style: 1}}
	case "faint":
		st.Font.Italic, st.Font.Color = true, "505050"
	case "input":
		st.Fill, st.Border = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"FFF2CC"}}, frame
		st.Alignment.Horizontal, st.Alignment.Indent = "left", 1
	case "decision":
		st.Font.Bold, st.Font.Size = true, 12
	case "bold figure":
		st.Font.Bold = true
	}
	if s.kind == "figure" || s.kind == "bold figure" {
		st.Alignment = &excelize.Alignment{Vertical: "top", Horizontal: "left"}
	}
	st.Font.Family = "Calibri" // as unstyled cells have it; programs without it take their own
	if st.Font.Size == 0 {
		st.Font.Size = 11
	}
	if s.decimals >= 0 {
		format := "0"
		if s.decimals > 0 {
			format += "." + strings.Repeat("0", s.decimals)
		}
		st.CustomNumFmt = &format
	}
	return st
}
