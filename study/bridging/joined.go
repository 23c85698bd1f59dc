package bridging

import (
	"slices"

	"flourcast/dataset/record"
	"flourcast/study/job"
)

// joined takes the runs of the two instruments from joined files. Void runs, those of
// control flours and those that were refused are counted aside.
func joined(q Request, res *Result) (*paired, error) {
	if q.By != "instrument" {
		return nil, &job.RequestError{Found: "--by " + q.By + " with a lab book", Want: "instrument: what the runs of a book name", Do: "or take a file of runs with the column"}
	}
	p := &paired{sum: q.Joined.Table.Digest(), from: map[string]map[string][]float64{}, to: map[string]map[string][]float64{}}
	methods := map[string]bool{}
	for _, r := range q.Joined.Runs {
		res.Rows.Read++
		if r.Instrument != q.From && r.Instrument != q.To || q.Method != "" && r.Method != q.Method || r.Status == "void" || r.Kind == record.Control || r.Lot == "" {
			res.Rows.Other++
			continue
		}
		if !r.Features.OK() {
			res.Rows.Refused++
			continue
		}
		methods[r.Method] = true
		side := p.from
		if r.Instrument == q.To {
			side = p.to
		}
		if side[r.Lot] == nil {
			side[r.Lot] = map[string][]float64{}
		}
		if !slices.Contains(p.lots, r.Lot) {
			p.lots = append(p.lots, r.Lot)
		}
		for _, v := range r.Features.Values() {
			if !slices.Contains(p.names, v.ID) {
				p.names = append(p.names, v.ID)
			}
			side[r.Lot][v.ID] = append(side[r.Lot][v.ID], v.Value)
		}
		res.Rows.Used++
	}
	return p, p.oneMethod(methods)
}
