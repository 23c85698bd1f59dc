package following

import (
	"context"
	"fmt"
	"slices"

	"flourcast/dataset/labbook"
	"flourcast/eval/domain"
	"flourcast/finding"
	"flourcast/study"
	"flourcast/study/card"
	"flourcast/study/validation"

	"gonum.org/v1/gonum/stat/distuv"
)

// Incoming sets flours that have come in against the calibrated ones, before any
// outcome exists. Chance is the probability that so many or more of Lots lie outside
// if one in fifty does, as of flours like the calibrated ones; Differ is set when it
// is below 0.01, or when a feature's mean moved by more than a standard deviation.
type Incoming struct {
	domain.Screened
	Causes  []Cause              `json:"outside_by"`
	Moved   []string             `json:"moved_features"`
	Chance  float64              `json:"chance"`
	Differ  bool                 `json:"differ"`
	Other   int                  `json:"other_products"`
	LeftOut []validation.LeftOut `json:"left_out"`
}

// Cause is a feature and how many lots it puts outside, or helps to.
type Cause struct {
	Feature string `json:"feature"`
	Lots    int    `json:"lots"`
}

const (
	usualOutside = 0.02 // of new lots like the calibrated ones; see package domain
	movedSD      = 1.0
)

// compare places the incoming lots.
func (r *Result) compare(ctx context.Context, env study.Env, c *card.Card, q Request) error {
	read := func() ([]validation.Row, int, finding.List, error) {
		if q.Unmeasured {
			rows, err := q.rows()
			if err != nil {
				return nil, 0, nil, err
			}
			return study.BookIncoming(ctx, env, q.Book, rows, c, q.Files.Methods)
		}
		return study.Incoming(ctx, env, c, study.ForecastRequest{Paths: q.Incoming, Lots: q.IncomingLots, Map: q.Files.Map, Methods: q.Files.Methods})
	}
	rows, other, found, err := read()
	if err != nil {
		return err
	}
	r.Findings = append(r.Findings, found...)
	in := &Incoming{Causes: []Cause{}, Moved: []string{}, Other: other, LeftOut: []validation.LeftOut{}}
	var names []string
	var x [][]float64
	for _, row := range rows {
		if row.Problem != "" {
			in.LeftOut = append(in.LeftOut, validation.LeftOut{Lot: row.Lot, Reason: row.Problem})
			continue
		}
		names, x = append(names, row.Lot), append(x, row.X)
	}
	if len(rows) == 0 && q.Unmeasured && r.Counts.Read > 0 {
		r.Findings.Add(finding.Finding{Code: "no-incoming", Severity: finding.Note, At: finding.Place{File: labbook.Shown(q.Book)}, Found: "no lot of the model's product that has a run and waits for its measurement", Want: "incoming lots to compare", Do: "add the curves of the new lots"})
		return nil
	}
	if len(rows) == 0 && q.Unmeasured {
		return &study.NothingUsableError{What: labbook.Shown(q.Book) + ": no lot of the model's product has a run and waits for its measurement", Findings: r.Findings}
	}
	if len(x) == 0 {
		return &study.NothingUsableError{What: fmt.Sprintf("none of %d incoming lots has every figure that the model uses", len(rows)), Findings: r.Findings}
	}
	in.Screened, _ = c.Domain.Screen(names, x)
	count := map[string]int{}
	for _, row := range x {
		p := c.Domain.Place(row)
		if p.Where != domain.Outside {
			continue
		}
		for _, name := range p.By {
			count[name]++
		}
	}
	for _, name := range c.Features {
		if count[name] > 0 {
			in.Causes = append(in.Causes, Cause{name, count[name]})
		}
	}
	slices.SortStableFunc(in.Causes, func(a, b Cause) int { return b.Lots - a.Lots })
	for _, f := range in.Features {
		if f.Shift != nil && (*f.Shift > movedSD || *f.Shift < -movedSD) && in.Lots >= 5 {
			in.Moved = append(in.Moved, f.Name)
		}
	}
	in.Chance = 1
	if in.Outside > 0 {
		in.Chance = 1 - distuv.Binomial{N: float64(in.Lots), P: usualOutside}.CDF(float64(in.Outside-1))
	}
	in.Differ = in.Chance < 0.01 || len(in.Moved) > 0
	r.Incoming = in
	return nil
}
