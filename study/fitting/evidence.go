package fitting

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"flourcast/eval"
	"flourcast/eval/coverage"
	"flourcast/eval/direction"
	"flourcast/eval/fold"
	"flourcast/eval/metric"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/study/card"
	"flourcast/study/rows"
)

const (
	// leastInYear is how many lots make a crop year worth leaving out.
	leastInYear = 5
	// evidenceLevel is the level of every interval that a check rests on.
	evidenceLevel = 0.95
	// forecastLevel is the level at which intervals are checked on years left out.
	forecastLevel = 0.90
	// resamples of the paired comparison.
	resamples = 1999
)

// leaveYearsOut predicts each crop year from the others. It returns nil where
// fewer than two years have enough lots.
func (f *fit) leaveYearsOut() (*card.Years, error) {
	years, ok := f.m.Grouping("crop_year")
	if !ok || len(yearsWith(years, f.m.Lots(), leastInYear)) < 2 {
		return nil, nil
	}
	known := f.m
	var dated []int
	for i, y := range years {
		if y != "" {
			dated = append(dated, i)
		}
	}
	if len(dated) < f.m.N() {
		known = f.m.Subset(dated)
		years, _ = known.Grouping("crop_year")
	}
	plan, err := fold.ByValue("year", years)
	if err != nil {
		return nil, err
	}
	honest, err := eval.Nested(f.ctx, f.fitter, known, plan, f.env.Seed, f.env.Cores)
	if err != nil {
		var few *model.TooFewRowsError
		if errors.As(err, &few) {
			return nil, nil // one year holds nearly all rows: not assessed
		}
		return nil, err
	}
	left, err := coverage.LeaveOut(f.ctx, f.fitter, known, plan, forecastLevel, f.env.Seed, f.env.Cores)
	if err != nil {
		var few *model.TooFewRowsError
		var units *fold.TooFewUnitsError
		if errors.As(err, &few) || errors.As(err, &units) {
			return nil, nil
		}
		return nil, err
	}
	out := &card.Years{Q2: honest.Q2, Level: forecastLevel}
	for _, l := range left {
		var e []float64
		for _, i := range l.Rows {
			e = append(e, known.Y()[i]-honest.Predicted[i])
		}
		out.Groups = append(out.Groups, card.Group{Name: years[l.Rows[0]], Lots: len(e), RMSEP: metric.RMSE(e), Bias: metric.Bias(e), Inside: l.Inside})
		out.Inside += l.Inside
		out.Lots += l.Known
	}
	slices.SortFunc(out.Groups, func(a, b card.Group) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}

// beyondProtein compares the model, with protein among its features, against
// protein alone on the same lots and folds; where treatment is a factor, both have it. It returns nil where protein is not
// known for every row, or is the only feature.
func (f *fit) beyondProtein() (*card.Comparison, error) {
	protein := make([]float64, f.m.N())
	for k, row := range f.assembly.Rows {
		v, ok := f.q.Table.Number(rows.Protein, row)
		if !ok {
			return nil, nil
		}
		protein[k] = v
	}
	if f.q.Kind == "mean" || (f.m.P() == 1 && f.m.Features()[0] == rows.Protein) || metric.SD(protein) == 0 {
		return nil, nil
	}
	alone, err := f.m.WithColumn(rows.Protein, protein)
	if err != nil {
		return nil, err
	}
	both := alone
	if alone, err = alone.WithFeatures(append([]string{rows.Protein}, f.assembly.Factor.Columns()...)); err != nil {
		return nil, err
	}
	ols, err := catalog.New("ols", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		return nil, err
	}
	mean, err := catalog.New("mean", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		return nil, err
	}
	base, err := eval.Nested(f.ctx, ols, alone, f.plan, f.env.Seed, f.env.Cores)
	if err != nil {
		return nil, err
	}
	with := f.honest
	if !slices.Contains(f.m.Features(), rows.Protein) {
		if with, err = eval.Nested(f.ctx, f.fitter, both, f.plan, f.env.Seed, f.env.Cores); err != nil {
			return nil, err
		}
	}
	zero, err := eval.Nested(f.ctx, mean, alone, f.plan, f.env.Seed, f.env.Cores)
	if err != nil {
		return nil, err
	}
	g, err := metric.Compare(f.m.Y(), base.Predicted, with.Predicted, zero.Predicted, f.m.Lots(), evidenceLevel, resamples, f.env.Seed)
	if err != nil {
		var cannot *metric.CompareError
		if errors.As(err, &cannot) {
			return nil, nil
		}
		return nil, err
	}
	return &card.Comparison{Against: rows.Protein, Q2: g.Q2A, Q2With: g.Q2B, Gain: g.Value, Low: g.Low, High: g.High, Level: g.Level}, nil
}

// checkDirections puts the rules to every pasting feature of the rows used,
// whether the model has it or not, one solvent at a time.
func (f *fit) checkDirections() ([]direction.Answer, error) {
	rules := append(slices.Clone(f.q.Rules), direction.Builtin()...)
	f.put = f.rows.Evidence()
	answers, err := direction.Check(f.ctx, rules, f.put, f.env.Seed, f.env.Cores)
	if err != nil {
		return nil, err
	}
	f.findings = append(f.findings, sproutedInWater(answers)...)
	return answers, nil
}

// sproutedInWater names sprouted lots among the pastes in water: a note, and a
// doubt where a direction rests on them.
func sproutedInWater(answers []direction.Answer) finding.List {
	var fl finding.List
	most, suspect := 0, []string{}
	for _, a := range answers {
		most = max(most, a.Sprouted)
		if a.Applies && a.OnlySprouted() && !slices.Contains(suspect, a.Rule.ID) {
			suspect = append(suspect, a.Rule.ID)
		}
	}
	if most == 0 {
		return nil
	}
	found := finding.Finding{Code: "sprouted-in-water", Severity: finding.Note, At: finding.Place{Column: "falling_number_s"},
		Found: fmt.Sprintf("%d lots of a low falling number among pastes in water, where amylase thins the paste and softens the product", most)}
	if len(suspect) > 0 {
		found.Severity = finding.Doubt
		found.Found += "; what is answered to " + strings.Join(suspect, ", ") + " rests on them"
		found.Want = "a direction that holds without them"
		found.Do = "leave them out, or test with an inhibitor; a low falling number does not prove amylase"
	}
	fl.Add(found)
	return fl
}

// evidence is what the verdict is made from.
func (f *fit) evidence() verdict.Evidence {
	e := verdict.Evidence{Response: f.m.Response(), Lots: distinct(f.m.Lots()), Q2: &f.honest.Q2, Directions: f.directions, RPD: f.rpd(), Thresholds: &f.thresholds}
	if f.perm != nil {
		e.PermutationP = &f.perm.P
	}
	if f.protein != nil {
		e.Protein = &verdict.Gain{Value: f.protein.Gain, Low: f.protein.Low, High: f.protein.High}
	}
	if years, ok := f.m.Grouping("crop_year"); ok {
		e.CropYears = len(yearsWith(years, f.m.Lots(), f.thresholds.LotsPerYear))
	}
	if f.years != nil {
		worst := slices.MaxFunc(f.years.Groups, func(a, b card.Group) int { return compareFloat(a.RMSEP, b.RMSEP) })
		e.Years = &verdict.Years{Q2: f.years.Q2, Worst: worst.Name}
		e.Coverage = &verdict.Coverage{Inside: f.years.Inside, N: f.years.Lots, Level: f.years.Level}
		for _, g := range f.years.Groups {
			e.Coverage.Years = append(e.Coverage.Years, verdict.CoveredYear{Name: g.Name, Inside: g.Inside, N: g.Lots})
		}
	}
	if f.q.Override != "" {
		for _, a := range f.directions {
			if a.Outcome == direction.Contradicted && a.Rule.Standing == direction.Established {
				e.Overrides = append(e.Overrides, verdict.Override{Rule: a.Rule.ID, Reason: f.q.Override})
			}
		}
	}
	if r := f.rows.ResponseError(); r != nil {
		e.Reference = &verdict.Reference{RMSECV: f.honest.RMSECV, SE: r.SE, DF: r.DF}
	}
	e.OneLot = f.oneLot.Deciding()
	e.Data = &verdict.Data{Doubts: f.findings.Count(finding.Doubt), Split: f.leaks.Split != "", Leak: f.leaks.Feature != "", Detail: cmp.Or(f.leaks.Split, f.leaks.Feature)}
	return e
}

func compareFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
