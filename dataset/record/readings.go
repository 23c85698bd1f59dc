package record

import (
	"fmt"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// Reading is one row of a texture or bakes file. Figures are those of its results
// and of the measures that they are worked out from.
type Reading struct {
	Lot, Product, Protocol, Batch string
	Treatment                     string // of the flour, where the file says it
	Replicate, TestedAt           string // as written; TestedAt as 2006-01-02, with the time behind it, where it can be read

	Figures Figures
	At      finding.Place
}

// ReadReadings reads texture or bakes files: one reading a row. Without a column
// `replicate` the rows of a lot are its replicates; with one, a replicate of the
// same lot, product, protocol, sample, date and batch that stands twice is
// refused. Counts hold only the rows refused here. The error is of a file that
// is not there.
func ReadReadings(paths []string, m *sheet.Map) (out []Reading, c Counts, fl finding.List, err error) {
	seen := map[string]finding.Place{}
	for _, path := range paths {
		s, ok, err := Open(path, m, &fl)
		if err != nil {
			return nil, Counts{}, nil, err
		}
		if !ok {
			continue
		}
		columns := measured(s)
		for row, bad := range s.Rows() {
			var r Reading
			if bad == nil {
				r, bad = readReading(s, row, seen)
			}
			if bad != nil {
				fl.Add(*bad)
				c = c.Plus(Counts{Read: 1, Refused: 1})
				continue
			}
			r.Figures = figures(s, row, columns, &fl)
			out = append(out, r)
		}
	}
	return out, c, fl, nil
}

func readReading(s *sheet.Sheet, row sheet.Row, seen map[string]finding.Place) (Reading, *finding.Finding) {
	text := func(id string) string { v, _ := s.Text(row, s.Column(id)); return v }
	r := Reading{Lot: text("lot"), Product: text("product"), Protocol: text("protocol"), Treatment: text("treatment"), Batch: text("batch"), Replicate: text("replicate"), TestedAt: day(s, row, "tested_at", &finding.List{}), At: s.Place(row, -1)}
	if r.Lot == "" {
		return r, noLot(r.At)
	}
	rep := text("replicate")
	if rep == "" {
		return r, nil
	}
	key := strings.Join([]string{r.Lot, r.Product, r.Protocol, text("sample"), text("tested_at"), text("batch"), rep}, "\x00")
	if at, twice := seen[key]; twice {
		return r, &finding.Finding{Code: "replicate-twice", Severity: finding.Refused, At: r.At, Found: fmt.Sprintf("lot %s, replicate %s again, first at %s", r.Lot, rep, at),
			Want: "each replicate once", Do: "number the replicates, or take one of the two out"}
	}
	seen[key] = r.At
	return r, nil
}
