package blending

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"flourcast/dataset/lot"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast/mixing"
	"flourcast/study/stock"
)

// ownBlends reads the laboratory's own blends: rows of lots with their figures, of which
// some name their parents and shares. Parents' figures come from rows of the same file,
// else from the stock. A blend without shares, or of a parent without the figure, does
// not count for that column, and is named once.
func (q Request) ownBlends(res *Result, st *stock.File) (map[string][]mixing.Made, error) {
	if q.Blends == "" {
		return nil, nil
	}
	s, err := sheet.Open(q.Blends, q.Map)
	if err != nil {
		return nil, err
	}
	lineage := s
	if q.Lineage != "" {
		if lineage, err = sheet.Open(q.Lineage, q.Map); err != nil {
			return nil, err
		}
	}
	register := lot.NewRegister()
	_, _, found := register.Read(lineage)
	for _, f := range found {
		if f.Severity == finding.Refused || strings.HasPrefix(f.Code, "share") {
			res.Findings.Add(f)
		}
	}
	figures := q.figures(res, s, st)
	made := map[string][]mixing.Made{}
	for _, id := range register.IDs() {
		l, _ := register.Get(id)
		if len(l.Parents) == 0 {
			continue
		}
		left := map[string]bool{}
		for _, column := range slices.Sorted(maps.Keys(figures)) {
			of := figures[column]
			measured, ok := of[id]
			if !ok {
				continue
			}
			m := mixing.Made{Name: id, Measured: measured}
			sum := 0.0
			for _, p := range l.Parents {
				v, known := of[p.Lot]
				if !known {
					left["no "+column+" of its parent "+p.Lot] = true
					m.Values = nil
					break
				}
				m.Values, m.Shares = append(m.Values, v), append(m.Shares, p.Share)
				sum += p.Share
			}
			switch {
			case m.Values == nil:
			case len(m.Values) < 2 || sum < 0.98 || sum > 1.02:
				left[fmt.Sprintf("shares of its %d parents add up to %.2f", len(m.Values), sum)] = true
			default:
				made[column] = append(made[column], m)
			}
		}
		for _, why := range slices.Sorted(maps.Keys(left)) {
			res.Findings.Add(finding.Finding{Code: "own-blend-left-out", Severity: finding.Doubt, At: l.At, Found: id + ": " + why, Want: "figures of every parent, and shares that add up to 1", Do: "it is not learned from; add what is missing"})
		}
	}
	return made, nil
}

// figures are the pasting figures by column and lot: of the blends' file, else of the
// stock. Rows of one lot are averaged.
func (q Request) figures(res *Result, s *sheet.Sheet, st *stock.File) map[string]map[string]float64 {
	out := map[string]map[string]float64{}
	for _, name := range append(q.limited(), st.Columns...) {
		if stock.IsPasting(name) {
			out[name] = map[string]float64{}
		}
	}
	columns := slices.Sorted(maps.Keys(out))
	id := s.Column("lot")
	n := map[string]map[string]float64{}
	for row, bad := range s.Rows() {
		if bad != nil {
			res.Findings.Add(*bad)
			continue
		}
		name, ok := s.Text(row, id)
		if !ok {
			continue
		}
		for _, column := range columns {
			v, ok, bad := s.Value(row, s.Column(column))
			if bad != nil {
				res.Findings.Add(*bad)
			}
			if !ok {
				continue
			}
			if n[column] == nil {
				n[column] = map[string]float64{}
			}
			n[column][name]++
			out[column][strings.Clone(name)] += (v - out[column][name]) / n[column][name]
		}
	}
	for column, of := range out {
		for _, f := range st.Flours {
			if v, ok := f.Figures[column]; ok {
				if _, known := of[f.Name]; !known {
					of[f.Name] = v
				}
			}
		}
	}
	return out
}

// limited are the limited columns.
func (q Request) limited() []string {
	var out []string
	for _, l := range q.Limits {
		out = append(out, l.Response)
	}
	return out
}
