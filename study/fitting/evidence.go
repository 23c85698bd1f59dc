package fitting

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/eval"
	"flourcast/eval/coverage"
	"flourcast/eval/direction"
	"flourcast/eval/fold"
	"flourcast/eval/metric"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/stat/precision"
	"flourcast/study/card"
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
	proteinID = "protein_pct"
)

// leaveYearsOut predicts each crop year from the others. It returns nil where
// fewer than two years have enough lots.
func (f *fit) leaveYearsOut() (*card.Years, error) {
	years, ok := f.m.Grouping("crop_year")
	if !ok || len(yearsWith(years, f.m.Lots(), leastInYear)) < 2 {
		return nil, nil
	}
	known := f.m
	var rows []int
	for i, y := range years {
		if y != "" {
			rows = append(rows, i)
		}
	}
	if len(rows) < f.m.N() {
		known = f.m.Subset(rows)
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
// protein alone on the same lots and folds. It returns nil where protein is not
// known for every row, or is the only feature.
func (f *fit) beyondProtein() (*card.Comparison, error) {
	protein := make([]float64, f.m.N())
	for k, row := range f.assembly.Rows {
		v, ok := f.q.Table.Number(proteinID, row)
		if !ok {
			return nil, nil
		}
		protein[k] = v
	}
	if f.q.Kind == "mean" || (f.m.P() == 1 && f.m.Features()[0] == proteinID) || metric.SD(protein) == 0 {
		return nil, nil
	}
	alone, err := f.m.WithColumn(proteinID, protein)
	if err != nil {
		return nil, err
	}
	both := alone
	if alone, err = alone.WithFeatures([]string{proteinID}); err != nil {
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
	if !slices.Contains(f.m.Features(), proteinID) {
		if with, err = eval.Nested(f.ctx, f.fitter, both, f.plan, f.env.Seed, f.env.Cores); err != nil {
			return nil, err
		}
	}
	zero, err := eval.Nested(f.ctx, mean, alone, f.plan, f.env.Seed, f.env.Cores)
	if err != nil {
		return nil, err
	}
	g, err := eval.Compare(f.m.Y(), base.Predicted, with.Predicted, zero.Predicted, f.m.Lots(), evidenceLevel, resamples, f.env.Seed)
	if err != nil {
		var cannot *eval.CompareError
		if errors.As(err, &cannot) {
			return nil, nil
		}
		return nil, err
	}
	return &card.Comparison{Against: proteinID, Q2: g.Q2A, Q2With: g.Q2B, Gain: g.Value, Low: g.Low, High: g.High, Level: g.Level}, nil
}

// checkDirections puts the rules to every pasting feature of the rows used,
// whether the model has it or not, one solvent at a time.
func (f *fit) checkDirections() ([]direction.Answer, error) {
	rules := append(slices.Clone(f.q.Rules), direction.Builtin()...)
	kind := ""
	if t, ok := trait.Lookup(f.m.Response()); ok {
		kind = t.Kind
	}
	e := direction.Evidence{Product: f.assembly.Product, Solvent: f.assembly.Solvent, Response: f.m.Response(), Kind: kind,
		Lots: f.m.Lots(), Y: f.m.Y(), Features: f.featureColumns()}
	if p := f.column(proteinID); p != nil {
		e.Protein = p
	}
	if years, ok := f.m.Grouping("crop_year"); ok {
		e.Year = years
	}
	e.Labels = map[string][]string{}
	for _, name := range f.m.Groupings() {
		e.Labels[name], _ = f.m.Grouping(name)
	}
	f.put = e
	answers, err := direction.Check(f.ctx, rules, e, f.env.Seed, f.env.Cores)
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

// featureColumns are the numeric traits of the table that a direction may name,
// on the rows used: pasting features and composition.
func (f *fit) featureColumns() []direction.FeatureColumn {
	var out []direction.FeatureColumn
	for _, name := range f.q.Table.Columns() {
		t, ok := trait.Lookup(name)
		if _, companion := column.Companion(name); !ok || companion || (t.Role != trait.RoleFeature && t.Role != trait.RoleComposition) {
			continue
		}
		if c := f.column(name); c != nil {
			out = append(out, *c)
		}
	}
	return out
}

// column is a numeric column of the table on the rows used, or nil where no row
// has it. Its solvent is that of its method.
func (f *fit) column(name string) *direction.FeatureColumn {
	c := direction.FeatureColumn{ID: name, X: make([]float64, f.m.N()), Present: make([]bool, f.m.N())}
	any := false
	for k, row := range f.assembly.Rows {
		c.X[k], c.Present[k] = f.q.Table.Number(name, row)
		any = any || c.Present[k]
	}
	if !any {
		return nil
	}
	if _, m := trait.Split(name); m != "" {
		c.Solvent = f.solventOf(m)
	}
	c.RepeatSD = repeatSD(f.q.Table, name)
	return &c
}

func (f *fit) solventOf(id string) trait.Solvent {
	for _, m := range f.q.Methods {
		if m.ID == id {
			return m.Solvent
		}
	}
	return method.SolventOf(id)
}

// repeatSD is the repeatability SD of a column's replicates over the whole
// table, or nil where nothing was measured twice.
func repeatSD(t *table.Table, column string) *float64 {
	id, m := trait.Split(column)
	var n []int
	var sd []float64
	for i := range t.Len() {
		k, okN := t.Number(trait.Join(id+"_n", m), i)
		s, okSD := t.Number(trait.Join(id+"_sd", m), i)
		if okN && okSD {
			n, sd = append(n, int(k)), append(sd, s)
		}
	}
	r, err := precision.Pooled(n, sd)
	if err != nil {
		return nil
	}
	return &r.SD
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
	e.Reference = f.reference()
	e.OneLot = f.oneLot.Deciding()
	e.Data = &verdict.Data{Doubts: f.findings.Count(finding.Doubt), Split: f.split != "", Leak: f.leak != "", Detail: cmp.Or(f.split, f.leak)}
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
