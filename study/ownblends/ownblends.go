// Package ownblends gathers the blends that a laboratory made and measured itself: what
// was put together, in which shares, and what came of it.
//
//  1. Files come with rows of lots and their figures, of which some name parents and
//     shares; a lab book has the same as lots and runs.
//  2. A blend counts for a figure where it was measured itself, and all of its parents
//     were, and where the shares add up to one.
//  3. What does not count is named, with the reason, once.
//
// It learns no rule: package mixing does, from what is gathered here. It refuses nothing
// but files that cannot be read.
package ownblends

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"flourcast/dataset/lot"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast/mixing"
)

// Figure is what is known of a lot; ok is false without.
type Figure func(lot, column string) (v float64, ok bool)

// FromFiles gathers blends of a file, with their parents in it or in a lots file of
// their own (lineage, "" for none). A parent without a row of its own figures has those
// that stock tells. Columns are the figures that are asked for; rows of one lot are
// averaged.
func FromFiles(file, lineage string, m *sheet.Map, columns []string, stock Figure) (map[string][]mixing.Made, finding.List, error) {
	s, err := sheet.Open(file, m)
	if err != nil {
		return nil, nil, err
	}
	parents := s
	if lineage != "" {
		if parents, err = sheet.Open(lineage, m); err != nil {
			return nil, nil, err
		}
	}
	of, found := figures(s, columns)
	made, more := gather(register(parents), 1, columns, func(name, column string) (float64, bool) {
		if v, ok := of[column][name]; ok {
			return v, true
		}
		return stock(name, column)
	})
	return made, append(found, more...), nil
}

// FromLots gathers blends of lots files, such as those of a lab book, whose figures are
// known by other means. An unmeasured blend, and a lot of one parent, which is a part of
// it, are none, and are not named.
func FromLots(files []string, m *sheet.Map, columns []string, figure Figure) (map[string][]mixing.Made, finding.List, error) {
	var sheets []*sheet.Sheet
	for _, name := range files {
		s, err := sheet.Open(name, m)
		if err != nil {
			return nil, nil, err
		}
		sheets = append(sheets, s)
	}
	made, found := gather(register(sheets...), 2, columns, figure)
	return made, found, nil
}

// lineages are lots with their parents, and what was wrong with their shares.
type lineages struct {
	lots  *lot.Lots
	found finding.List
}

func register(sheets ...*sheet.Sheet) lineages {
	r := lineages{lots: lot.NewRegister()}
	for _, s := range sheets {
		_, _, found := r.lots.Read(s)
		for _, f := range found {
			if f.Severity == finding.Refused || strings.HasPrefix(f.Code, "share") {
				r.found.Add(f)
			}
		}
	}
	return r
}

// gather takes every lot with so many parents or more as a blend, column by column.
func gather(r lineages, least int, columns []string, figure Figure) (map[string][]mixing.Made, finding.List) {
	made, out := map[string][]mixing.Made{}, r.found
	for _, id := range r.lots.IDs() {
		l, _ := r.lots.Get(id)
		if len(l.Parents) < least {
			continue
		}
		left := map[string]bool{}
		for _, column := range columns {
			measured, ok := figure(id, column)
			if !ok {
				continue
			}
			m, why := one(l, measured, column, figure)
			if why != "" {
				left[why] = true
				continue
			}
			made[column] = append(made[column], m)
		}
		for _, why := range slices.Sorted(maps.Keys(left)) {
			out.Add(finding.Finding{Code: "own-blend-left-out", Severity: finding.Doubt, At: l.At, Found: id + ": " + why, Want: "figures of every parent, and shares that add up to 1", Do: "it is not learned from; add what is missing"})
		}
	}
	return made, out
}

// one is a lot as a blend; why says why it is none.
func one(l *lot.Lot, measured float64, column string, figure Figure) (m mixing.Made, why string) {
	m = mixing.Made{Name: l.ID, Measured: measured}
	sum := 0.0
	for _, p := range l.Parents {
		v, known := figure(p.Lot, column)
		if !known {
			return m, "no " + column + " of its parent " + p.Lot
		}
		m.Values, m.Shares = append(m.Values, v), append(m.Shares, p.Share)
		sum += p.Share
	}
	if len(m.Values) < 2 || sum < 0.98 || sum > 1.02 {
		return m, fmt.Sprintf("shares of its %d parents add up to %.2f", len(m.Values), sum)
	}
	return m, ""
}

// figures are the figures of a file by column and lot, rows of one lot averaged.
func figures(s *sheet.Sheet, columns []string) (map[string]map[string]float64, finding.List) {
	out, n := map[string]map[string]float64{}, map[string]map[string]float64{}
	for _, c := range columns {
		out[c], n[c] = map[string]float64{}, map[string]float64{}
	}
	var found finding.List
	id := s.Column("lot")
	for row, bad := range s.Rows() {
		if bad != nil {
			found.Add(*bad)
			continue
		}
		name, ok := s.Text(row, id)
		if !ok {
			continue
		}
		name = strings.Clone(name)
		for _, column := range columns {
			v, ok, bad := s.Value(row, s.Column(column))
			if bad != nil {
				found.Add(*bad)
			}
			if ok {
				n[column][name]++
				out[column][name] += (v - out[column][name]) / n[column][name]
			}
		}
	}
	return out, found
}
