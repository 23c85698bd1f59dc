package stock

import (
	"slices"

	"flourcast/dataset/sheet"
)

// Known is what is known of flours beside the stock file, such as by a lab book.
// Columns are the figures that there may be; Figure and Word are those of a flour, ok is
// false without. Protein, ash and damaged starch are at 14 % moisture; price and currency
// are words.
type Known struct {
	Columns []string
	Figure  func(flour, column string) (v float64, ok bool)
	Word    func(flour, column string) (text string, ok bool)
}

// knownOf is what is known of the flours of one file.
type knownOf struct {
	Known
	flours []string
	sheet  *sheet.Sheet
}

// of is what is known of a sheet's flours; nil of nothing.
func (k *Known) of(s *sheet.Sheet, flour int) *knownOf {
	if k == nil {
		return nil
	}
	out := &knownOf{Known: *k, sheet: s}
	for row, bad := range s.Rows() {
		if name, ok := s.Text(row, flour); bad == nil && ok && !slices.Contains(out.flours, name) {
			out.flours = append(out.flours, name)
		}
	}
	return out
}

// has reports whether a figure or word is known of any flour.
func (k *knownOf) has(name string) bool {
	return k != nil && slices.ContainsFunc(k.flours, func(f string) bool {
		_, figure := k.Figure(f, name)
		_, word := k.Word(f, name)
		return figure || word
	})
}

// all reports whether a figure is known of every flour.
func (k *knownOf) all(name string) bool {
	return k != nil && len(k.flours) > 0 && !slices.ContainsFunc(k.flours, func(f string) bool { _, ok := k.Figure(f, name); return !ok })
}

// more adds, where all columns are wanted, those that are known of every flour and that
// the file does not have.
func (k *knownOf) more(names []string, all bool) []string {
	if k == nil || !all {
		return names
	}
	for _, c := range k.Columns {
		mixes := IsPasting(c) || exactByMass[c] || c == FallingNumber
		if mixes && k.sheet.Column(c) < 0 && !slices.Contains(names, c) && k.all(c) {
			names = append(names, c)
		}
	}
	return names
}

func (k *knownOf) figure(flour, column string) (float64, bool) {
	if k == nil {
		return 0, false
	}
	return k.Figure(flour, column)
}

func (k *knownOf) word(flour, column string) (string, bool) {
	if k == nil {
		return "", false
	}
	return k.Word(flour, column)
}
