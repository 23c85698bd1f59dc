package survey

import (
	"context"
	"errors"
	"slices"
	"strings"

	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/trait"
	"flourcast/eval"
	"flourcast/eval/candidate"
	"flourcast/eval/fold"
	"flourcast/eval/metric"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/study/job"
)

// CompareResult is what `compare` prints. Q² and RMSECV of a row come from lots
// that neither the model nor its own choices had seen; that of the best row is
// itself chosen, and Chosen is what may be expected of it.
type CompareResult struct {
	About
	Scheme     string      `json:"scheme"`
	Repeats    int         `json:"repeats"`
	Features   []string    `json:"features"`
	Candidates []Candidate `json:"candidates"`
	Best       string      `json:"best"`
	Chosen     *Chosen     `json:"chosen"`
	// BeyondProtein is the gain of pasting with protein over protein alone; absent
	// where protein or pasting figures are not known for every row.
	BeyondProtein *Gain       `json:"beyond_protein"`
	Components    []Component `json:"components"` // of PLS on the features
}

// Candidate is one row. A candidate that failed has no figures.
type Candidate struct {
	Name          string   `json:"name"`
	Features      int      `json:"features"`
	RMSECV        *float64 `json:"rmsecv"`
	Q2            *float64 `json:"q2"`
	OverMean      *Gain    `json:"over_mean"`
	OverProtein   *Gain    `json:"over_protein"`
	WorseThanBest *float64 `json:"worse_than_best_p"`
	Failed        string   `json:"failed,omitempty"`
}

// Gain is a difference of Q² with its paired bootstrap interval over lots.
type Gain struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Level float64 `json:"level"`
}

// Chosen is the candidate chosen anew in every training part. Picks says in how
// many of them each was taken.
type Chosen struct {
	RMSECV  float64 `json:"rmsecv"`
	Q2      float64 `json:"q2"`
	Repeats int     `json:"repeats"`
	Picks   []Pick  `json:"picks"`
}

// Pick is how often a candidate was taken.
type Pick struct {
	Name  string `json:"name"`
	Times int    `json:"times"`
}

// Component is one step of PLS on the features. P is the sign-flip test that its
// errors are larger than those of the step of least error; absent for that step.
type Component struct {
	Label  string   `json:"label"`
	RMSECV float64  `json:"rmsecv"`
	Q2     float64  `json:"q2"`
	P      *float64 `json:"worse_than_least_p"`
	Taken  bool     `json:"taken"` // by the rule of one standard error
}

// Names of the candidates.
const (
	byMean    = "mean"
	bySingle  = "best single feature"
	byProtein = "protein alone"
	byPasting = "pasting alone, PLS"
	byBoth    = "protein and pasting, PLS"
	byOLS     = "all features, least squares"
	byRidge   = "all features, ridge"
	byPLS     = "all features, PLS"
	byCurve   = "whole curves, PLS"
)

// chosenRepeats is how many repeats of the split the choice among candidates runs
// through at most: each costs as much as a hundred validations.
const chosenRepeats = 3

// Compare sets the candidates that the table allows against each other on the
// folds of q. Errors: *job.RequestError, *job.NothingUsableError, those of the
// validation.
func Compare(ctx context.Context, env job.Env, q Request) (*CompareResult, error) {
	s, err := assemble(q, "flourcast.compare/1", nil)
	if err != nil {
		return nil, err
	}
	folds := q.Folds
	if folds == "" {
		folds = "lot"
	}
	plan, err := fold.Parse(folds, s.m, max(1, q.Repeats), env.Seed)
	if err != nil {
		return nil, &job.RequestError{Field: "folds", Found: err.Error(), Want: "folds that the data allow"}
	}
	cs, err := s.candidates()
	if err != nil {
		return nil, err
	}
	table, err := candidate.Compare(ctx, cs, plan, candidate.Options{Base: byProtein, Level: level, Resamples: resamples, Flips: resamples, Seed: env.Seed, Cores: env.Cores})
	if err != nil {
		var cannot *metric.CompareError
		if errors.As(err, &cannot) {
			return nil, &job.NothingUsableError{What: err.Error(), Findings: s.about.Findings}
		}
		return nil, err
	}
	res := &CompareResult{About: s.about, Scheme: plan.Scheme, Repeats: plan.Repeats(), Features: s.m.Features(), Candidates: []Candidate{}, Components: []Component{}}
	var able []candidate.Candidate
	for k, row := range table.Rows {
		c := Candidate{Name: row.Name, Features: row.Features, OverMean: gain(row.OverMean), OverProtein: gain(row.OverBase), WorseThanBest: row.WorseThanBest, Failed: row.Failed}
		if row.Name == byMean {
			c.Features = 0
		}
		if row.Honest != nil {
			c.RMSECV, c.Q2 = &row.Honest.RMSECV, &row.Honest.Q2
			able = append(able, cs[k])
		}
		if k == table.Best {
			res.Best = row.Name
		}
		if row.Name == byBoth && table.Base >= 0 {
			res.BeyondProtein = c.OverProtein
		}
		res.Candidates = append(res.Candidates, c)
	}
	if len(able) == 0 {
		return nil, &job.NothingUsableError{What: "no candidate could be fitted: " + table.Rows[0].Failed, Findings: s.about.Findings}
	}
	some := plan.First(chosenRepeats)
	choice, err := candidate.Chosen(ctx, able, some, env.Seed, env.Cores)
	if err != nil {
		return nil, err
	}
	res.Chosen = &Chosen{RMSECV: choice.Honest.RMSECV, Q2: choice.Honest.Q2, Repeats: some.Repeats(), Picks: []Pick{}}
	for k, c := range able {
		res.Chosen.Picks = append(res.Chosen.Picks, Pick{c.Name, choice.Picks[k]})
	}
	res.Components, err = s.components(ctx, env, plan)
	return res, err
}

func gain(g *metric.Gain) *Gain {
	if g == nil {
		return nil
	}
	return &Gain{g.Value, g.Low, g.High, g.Level}
}

// candidates are those for which the rows have the figures. Columns that are exact
// sums of others are left out of least squares, and named.
func (s *selected) candidates() ([]candidate.Candidate, error) {
	fitter := func(kind string) model.Fitter {
		f, err := catalog.New(kind, catalog.Options{Scaling: model.ScaleUnit})
		if err != nil {
			panic("survey: " + err.Error()) // the kinds below are the catalogue's own
		}
		return f
	}
	m := s.m
	cs := []candidate.Candidate{{Name: byMean, Fitter: fitter("mean"), Matrix: m}, {Name: bySingle, Fitter: candidate.Single{}, Matrix: m}}
	var pasting []string
	for _, name := range m.Features() {
		if d, ok := trait.Lookup(name); ok && d.Role == trait.RoleFeature {
			pasting = append(pasting, name)
		}
	}
	factor := s.assembly.Factor.Columns()
	if factor != nil {
		s.about.Findings.Add(note("treatment-factor", "treatment is a factor: %s is in every candidate but the mean and the best single feature", strings.Join(factor, ", ")))
	}
	protein, known := s.column(proteinID)
	all := known != nil && !slices.Contains(known, false)
	if all {
		with, err := m.WithColumn(proteinID, protein)
		if err != nil {
			return nil, err
		}
		alone, err := with.WithFeatures(append([]string{proteinID}, factor...))
		if err != nil {
			return nil, err
		}
		cs = append(cs, candidate.Candidate{Name: byProtein, Fitter: fitter("ols"), Matrix: alone})
		if len(pasting) > 0 {
			both, err := with.WithFeatures(append(append([]string{proteinID}, pasting...), factor...))
			if err != nil {
				return nil, err
			}
			cs = append(cs, candidate.Candidate{Name: byBoth, Fitter: fitter("pls"), Matrix: both})
		}
	}
	if len(pasting) > 0 && len(pasting)+len(factor) < m.P() {
		only, err := m.WithFeatures(append(pasting, factor...))
		if err != nil {
			return nil, err
		}
		cs = append(cs, candidate.Candidate{Name: byPasting, Fitter: fitter("pls"), Matrix: only})
	}
	free, err := s.independent()
	if err != nil {
		return nil, err
	}
	cs = append(cs, candidate.Candidate{Name: byOLS, Fitter: fitter("ols"), Matrix: free}, candidate.Candidate{Name: byRidge, Fitter: fitter("ridge"), Matrix: m}, candidate.Candidate{Name: byPLS, Fitter: fitter("pls"), Matrix: m})
	curve, err := s.curve()
	if err != nil || curve == nil {
		return cs, err
	}
	return append(cs, candidate.Candidate{Name: byCurve, Fitter: fitter("pls"), Matrix: curve}), nil
}

// independent is the matrix without features that others determine exactly, the
// later one of each equation; the response has no say in it.
func (s *selected) independent() (*design.Matrix, error) {
	m := s.m
	ols, err := catalog.New("ols", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		return nil, err
	}
	for {
		_, err := ols.Fit(m)
		var rank *model.RankError
		if !errors.As(err, &rank) || len(rank.Dependences) == 0 {
			return m, nil // whatever else is wrong, the validation will say
		}
		drop := rank.Dependences[0].Feature
		keep := slices.DeleteFunc(slices.Clone(m.Features()), func(name string) bool { return name == drop })
		if len(keep) == m.P() || len(keep) == 0 {
			return m, nil
		}
		s.about.Findings.Add(note("features-dependent", "least squares does without %s: %s", drop, rank.Dependences[0].String()))
		if m, err = m.WithFeatures(keep); err != nil {
			return nil, err
		}
	}
}

// curve is the matrix of the whole curve's points, or nil where the table has none
// or some rows lack them.
func (s *selected) curve() (*design.Matrix, error) {
	var names []string
	for _, name := range s.q.Table.Columns() {
		if whole.IsColumn(name) && s.q.Table.IsNumber(name) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return nil, nil
	}
	m := s.m
	var kept []string
	for _, name := range names {
		x, known := s.column(name)
		if known == nil || slices.Contains(known, false) {
			s.about.Findings.Add(note("curve-incomplete", "whole curves are no candidate: some rows used have no %s", name))
			return nil, nil
		}
		if slices.Max(x) == slices.Min(x) {
			continue
		}
		var err error
		if m, err = m.WithColumn(name, x); err != nil {
			return nil, err
		}
		kept = append(kept, name)
	}
	if len(kept) == 0 {
		return nil, nil
	}
	return m.WithFeatures(append(kept, s.assembly.Factor.Columns()...))
}

// components are the steps of PLS on all features, each tested against the one of
// least error.
func (s *selected) components(ctx context.Context, env job.Env, plan fold.Plan) ([]Component, error) {
	pls, err := catalog.New("pls", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		return nil, err
	}
	cv, err := eval.CrossValidate(ctx, pls, s.m, plan, env.Cores)
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return []Component{}, nil // the row of the candidate says why
	}
	least := 0
	for a, press := range cv.PRESS {
		if press < cv.PRESS[least] {
			least = a
		}
	}
	base := candidate.ByLot(cv.Squared[least], s.m.Lots())
	out := []Component{}
	for a, label := range cv.Labels {
		c := Component{Label: label, RMSECV: cv.RMSECV[a], Q2: cv.Q2[a], Taken: a == cv.Chosen}
		if a != least {
			p := candidate.SignFlip(candidate.ByLot(cv.Squared[a], s.m.Lots()), base, resamples, env.Seed)
			c.P = &p
		}
		out = append(out, c)
	}
	return out, nil
}
