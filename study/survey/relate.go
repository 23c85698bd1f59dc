package survey

import (
	"context"
	"errors"
	"slices"

	"flourcast/dataset/treatment"
	"flourcast/study/job"
	"flourcast/study/relation"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"
)

// RelateResult is what `relate` prints: every figure's relation to the response,
// in the order of the table, and the response by crop year.
type RelateResult struct {
	About
	Relations []relation.Relation `json:"relations"`
	// Skipped names columns without a relation, and why.
	Skipped []Skipped `json:"skipped"`
	// Years is the response by crop year, earliest name first; empty where crop
	// years are not known.
	Years []YearSummary `json:"years"`
}

// Skipped is a column that could not be related.
type Skipped struct {
	Column string `json:"column"`
	Reason string `json:"reason"`
}

// YearSummary is the response over the rows of one crop year. SD is absent for
// one row.
type YearSummary struct {
	Year string   `json:"year"`
	Rows int      `json:"rows"`
	Mean float64  `json:"mean"`
	SD   *float64 `json:"sd"`
}

// Relate relates every numeric trait of the table (or q.Features) to the response,
// each on the lots that have both: with treatment as a factor, within treatments. p values
// are adjusted over all of them. Errors:
// *job.RequestError, *job.NothingUsableError, those of package relation.
func Relate(ctx context.Context, _ job.Env, q Request) (*RelateResult, error) {
	names := q.Features
	if names == nil {
		names = numeric(q)
	}
	res := &RelateResult{Relations: []relation.Relation{}, Skipped: []Skipped{}, Years: []YearSummary{}}
	widest := 0
	var few error // of a treatment
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		s, err := assemble(q, "flourcast.relate/1", []string{name})
		var none *job.NothingUsableError
		if errors.As(err, &none) {
			res.Skipped = append(res.Skipped, Skipped{name, "no row has it beside the response"})
			continue
		}
		var levels *levelsError
		if errors.As(err, &levels) {
			res.Skipped, few = append(res.Skipped, Skipped{name, "beside the response, not every treatment has three lots with it"}), err
			continue
		}
		if err != nil {
			return nil, err
		}
		if s.m.N() > widest { // what is said of the input is said of most rows
			widest, res.About = s.m.N(), s.about
			res.Years = byYear(s)
		}
		d := relation.Data{Feature: s.m.Features()[0], Response: s.m.Response(), Lots: s.m.Lots(), X: s.m.Column(0), Y: s.m.Y(), Years: s.years()}
		if q.Treatment == treatment.AsFactor {
			d.Treatments = s.treatments()
		}
		if d.Feature != proteinID {
			d.Protein, d.ProteinKnown = s.column(proteinID)
		}
		r, ok, err := relation.Of(d)
		if err != nil {
			return nil, err
		}
		switch {
		case ok:
			res.Relations = append(res.Relations, r)
		case r.N < 4:
			res.Skipped = append(res.Skipped, Skipped{name, "fewer than four lots have it beside the response"})
		default:
			res.Skipped = append(res.Skipped, Skipped{name, "it or the response does not vary"})
		}
	}
	if widest == 0 && few != nil {
		return nil, few
	}
	if widest == 0 {
		return nil, nothing(q, names)
	}
	relation.Adjust(res.Relations)
	return res, nil
}

// nothing says why no column could be related: the response's own fault first.
func nothing(q Request, names []string) error {
	if _, err := assemble(q, "", nil); err != nil {
		return err
	}
	what := "no column of numbers to relate to " + q.Response
	if len(names) > 0 {
		what = "no lot has " + q.Response + " and another figure"
	}
	return &job.NothingUsableError{What: what, Findings: q.TableFindings}
}

// byYear is the response by crop year, summed up by a data frame.
func byYear(s *selected) []YearSummary {
	years := s.years()
	if years == nil {
		return []YearSummary{}
	}
	frame := dataframe.New(series.New(years, series.String, yearID), series.New(s.m.Y(), series.Float, "response"))
	out := []YearSummary{}
	for _, year := range slices.Compact(slices.Sorted(slices.Values(years))) {
		if year == "" {
			continue
		}
		y := frame.Filter(dataframe.F{Colname: yearID, Comparator: series.Eq, Comparando: year}).Col("response")
		one := YearSummary{Year: year, Rows: y.Len(), Mean: y.Mean()}
		if y.Len() > 1 {
			sd := y.StdDev()
			one.SD = &sd
		}
		out = append(out, one)
	}
	return out
}
