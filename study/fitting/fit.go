// Package fitting fits one model to a table and gathers everything that its
// verdict and its model file need.
//
//  1. The table becomes a finite matrix; what was left out is named.
//  2. The method is cross-validated by lot, every choice inside the training
//     part, and tested against chance.
//  3. The final model is fitted on all rows at the chosen step, with interval,
//     domain and coefficient intervals.
//  4. Evidence is gathered (crop years left out, protein alone, published
//     directions, the response's own error) and judged.
//  5. All of it goes into the model file.
//
// It computes no statistic itself: it calls the packages that do, on the same
// folds for everyone.
package fitting

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/treatment"
	"flourcast/eval"
	"flourcast/eval/coverage"
	"flourcast/eval/decisive"
	"flourcast/eval/direction"
	"flourcast/eval/domain"
	"flourcast/eval/fold"
	"flourcast/eval/interval"
	"flourcast/eval/metric"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/model"
	"flourcast/model/baseline"
	"flourcast/model/design"
	"flourcast/model/transform"
	"flourcast/study/anatomy"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/residue"
	"flourcast/study/rows"
)

// Request says what to fit, on what, and how to check it. Zero values are the
// defaults of the command line: components and penalty chosen, features scaled
// to SD 1, folds by lot.
type Request struct {
	Table         *table.Table
	File          string // for the record
	TableFindings finding.List

	Response   string
	Features   []string // nil: the default features
	Kind       string
	Components int      // 0: chosen
	Lambda     *float64 // nil: chosen
	Scaling    model.Scaling
	Origin     bool   // least squares without an intercept
	Transform  string // "log": fit the logarithm of the response; empty: none
	Derivative string // of whole curves: "1", "2", or "choose" among 0, 1, 2; empty or "0": none
	Window     int    // of the derivative, columns; 0: 7
	Degree     int    // of its polynomial; 0: 2
	Product    string
	Method     string
	Where      []column.Condition // only rows that meet all of them
	Treatment  treatment.Use      // Within one, AsFactor, Pooled with a doubt; "": several are refused
	Weights    string             // "": none; assembly.BySE
	Group      string             // column that names the lot

	Folds        string
	Repeats      int
	Permutations int
	Bootstrap    int // resamples of the coefficients' bootstrap intervals; 0: none

	Methods      []method.Method
	Rules        []direction.Rule // beside the built-in ones
	RuleFindings finding.List
	Thresholds   *verdict.Thresholds // nil: the built-in ones
	Override     string              // reason for use although a direction is contradicted
	Notice       string              // printed on everything made from the model
	Out          string              // model file, or empty
}

// Result is what `fit` prints.
type Result struct {
	Schema    string             `json:"schema"`
	Kind      string             `json:"kind"`
	N         int                `json:"n"` // rows used
	Lots      int                `json:"lots"`
	Response  string             `json:"response"`
	Product   string             `json:"product"`
	Method    string             `json:"method"`
	Treatment string             `json:"treatment"` // of all flours used; empty: several, or not stated
	Where     []column.Condition `json:"where"`

	TreatmentUse    treatment.Use       `json:"treatment_use"`    // within, factor, pooled; empty: not stated
	TreatmentFactor *treatment.Factor   `json:"treatment_factor"` // the indicator columns of a factor
	Weighting       *assembly.Weighting `json:"weighting"`        // nil: each row counts alike

	Features     []string             `json:"features"`
	Scaling      model.Scaling        `json:"scaling"`
	Components   int                  `json:"components"`
	Lambda       *float64             `json:"lambda"`
	Intercept    float64              `json:"intercept"`
	Coefficients map[string]float64   `json:"coefficients"`
	CV           card.CV              `json:"cv"`
	NoiseCeiling *float64             `json:"noise_ceiling"` // the highest Q² that the response's own error allows
	Permutation  *card.Permutation    `json:"permutation"`
	Years        *card.Years          `json:"years"`
	Protein      *card.Comparison     `json:"beyond_protein"`
	Directions   []direction.Answer   `json:"directions"`
	Relations    []card.Relation      `json:"relations"`
	Verdict      verdict.Verdict      `json:"verdict"`
	Trends       *residue.Trends      `json:"trends"`
	Screened     *domain.Screened     `json:"screened"` // lots with features that were not measured
	OneLot       *verdict.WithoutLots `json:"one_lot"`
	Screen       []baseline.ScreenRow `json:"screen"` // quick one-feature fits
	*OLSFigures                       // fields of their own, for least squares only
	PLS          *anatomy.Components  `json:"pls"`                 // for PLS only
	Bootstrap    []card.Coefficient   `json:"bootstrap_intervals"` // of the coefficients, empty unless asked for
	Curve        *anatomy.Curve       `json:"curve"`               // for models of whole curves
	Transform    string               `json:"transform"`
	Derivative   *transform.Filter    `json:"derivative"`
	Intervals    []card.Coefficient   `json:"coefficient_intervals"`
	LeftOut      []assembly.LeftOut   `json:"left_out"`
	Findings     finding.List         `json:"findings"`
	Model        string               `json:"model,omitempty"` // path written

	Card *card.Card `json:"-"`
}

// FitForUse reports whether the model is fit for use.
func (r *Result) FitForUse() bool { return r.Verdict.Standing == verdict.FitForUse }

// OLSFigures are what ordinary least squares adds.
type OLSFigures = anatomy.LeastSquares

// weighted are the kinds of model that take row weights.
var weighted = []string{"ols"}

// Fit makes the matrix, fits, cross-validates by lot with every choice inside
// the training part, checks, judges, and writes the model file to q.Out, whole
// or not at all. Errors: *job.RequestError for a request that the table cannot
// answer, *job.NothingUsableError when no row is left, the model's own otherwise.
func Fit(ctx context.Context, env job.Env, q Request) (*Result, error) {
	if q.Scaling == "" {
		q.Scaling = model.ScaleUnit
	}
	if q.Folds == "" {
		q.Folds = "lot"
	}
	fitter, err := q.fitter()
	if err != nil {
		return nil, err
	}
	if q.Weights != "" && !slices.Contains(weighted, q.Kind) {
		return nil, &job.RequestError{Found: "weights for kind " + q.Kind, Want: "a kind that takes row weights: " + cmp.Or(strings.Join(weighted, ", "), "none does"), Do: "take no weights"}
	}
	selection := assembly.Selection{Response: q.Response, Features: q.Features, Product: q.Product, Method: q.Method, Where: q.Where, Treatment: q.Treatment, Weights: q.Weights, Group: q.Group, Methods: q.Methods}
	if name, ok := strings.CutPrefix(q.Folds, "column="); ok {
		selection.Groupings = []string{name}
	}
	m, assembly, findings, err := assembly.Make(q.Table, selection)
	if err != nil {
		return nil, Refusal(err, q.TableFindings)
	}
	if err := q.fits(m); err != nil {
		return nil, err
	}
	f := &fit{ctx: ctx, env: env, q: q, m: m, assembly: assembly, rows: q.rows(m, assembly), fitter: fitter}
	f.findings = append(append(append(f.findings, q.TableFindings...), q.RuleFindings...), findings...)
	f.leaks = f.rows.Leaks()
	f.findings = append(f.findings, f.leaks.Findings...)
	if err := f.validate(); err != nil {
		return nil, settingError(err)
	}
	if err := f.final(); err != nil {
		return nil, err
	}
	if err := f.check(); err != nil {
		return nil, err
	}
	c, err := f.card()
	if err != nil {
		return nil, err
	}
	res := f.result(c)
	if q.Out != "" {
		if err := card.Write(q.Out, c); err != nil {
			return nil, err
		}
		res.Model = q.Out
	}
	return res, nil
}

// rows are the rows of the request's table that m was made from.
func (q Request) rows(m *design.Matrix, a assembly.Made) rows.Used {
	return rows.Used{Table: a.Table, Matrix: m, Assembly: a, Methods: q.Methods}
}

// fit is one Fit under way: each step reads what the steps before it left.
type fit struct {
	ctx      context.Context
	env      job.Env
	q        Request
	m        *design.Matrix
	assembly assembly.Made
	rows     rows.Used // the rows of m, with all columns of their table
	fitter   model.Fitter
	findings finding.List

	leaks rows.Leaks

	// validate
	plan   fold.Plan
	cv     *eval.CV
	honest *eval.Honest
	chosen int // step of the path
	nested bool
	perm   *eval.Permutation
	// final
	fitted   model.Fitted
	interval interval.Interval
	cross    *interval.Cross
	domain   *domain.Domain
	ols      *OLSFigures
	pls      *anatomy.Components
	drawn    []card.Coefficient
	filter   *transform.Filter
	screen   []baseline.ScreenRow
	// check
	years      *card.Years
	protein    *card.Comparison
	directions []direction.Answer
	relations  []card.Relation
	put        direction.Evidence // what the rules were put to
	trends     residue.Trends
	screened   *domain.Screened
	oneLot     *verdict.WithoutLots
	intervals  []card.Coefficient
	verdict    verdict.Verdict
	thresholds verdict.Thresholds
}

// validate cross-validates the path and, where something is chosen, the choice.
func (f *fit) validate() error {
	var err error
	repeats := max(1, f.q.Repeats)
	if f.plan, err = fold.Parse(f.q.Folds, f.m, repeats, f.env.Seed); err != nil {
		return &job.RequestError{Field: "folds", Found: err.Error(), Want: "folds that the data allow"}
	}
	if f.cv, err = eval.CrossValidate(f.ctx, f.fitter, f.m, f.plan, f.env.Cores); err != nil {
		return err
	}
	f.chosen = f.cv.Chosen
	if asked, given := f.q.Components, len(f.cv.RMSECV); f.q.Kind == "pls" && asked > given {
		f.findings.Add(finding.Finding{Code: "components-lowered", Severity: finding.Doubt, Found: fmt.Sprintf("%d components asked for", asked),
			Want: fmt.Sprintf("at most %d, the rank of the smallest training part", given), Do: "add lots or features, or ask for fewer"})
	}
	f.nested = len(f.cv.RMSECV) > 1 && f.q.Components == 0
	if f.honest, err = eval.Nested(f.ctx, f.fitter, f.m, f.plan, f.env.Seed, f.env.Cores); err != nil {
		return err
	}
	if f.q.Permutations > 0 && f.q.Kind != "mean" {
		progress := f.env.Report()
		p, err := eval.Permute(f.ctx, f.fitter, f.m, f.plan, f.q.Permutations, f.env.Seed, f.env.Cores, progress)
		if err != nil {
			return err
		}
		f.perm = &p
	}
	return nil
}

// final fits all rows at the chosen step, with its interval and domain.
func (f *fit) final() error {
	path, err := f.fitter.Fit(f.m)
	if err != nil {
		return err
	}
	f.chosen = min(f.chosen, path.Len()-1)
	f.fitted = path.At(f.chosen)
	lots := distinct(f.m.Lots())
	if f.interval, err = interval.New(f.honest.MSECV, lots, f.fitted.DF()); err != nil {
		return err
	}
	source, err := coverage.Make(f.ctx, f.fitter, f.m, f.fitted, f.plan, f.honest, f.env.Cores)
	if err != nil {
		return err
	}
	if f.cross = source.Cross; f.cross == nil {
		f.interval = source.Normal
	}
	if f.domain, err = domain.Build(f.m); err != nil {
		return err
	}
	f.screen = baseline.Screen(f.m)
	return f.open()
}

// check gathers the evidence and judges.
func (f *fit) check() error {
	var err error
	if f.years, err = f.leaveYearsOut(); err != nil {
		return err
	}
	if f.protein, err = f.beyondProtein(); err != nil {
		return err
	}
	if f.directions, err = f.checkDirections(); err != nil {
		return err
	}
	if err = f.slopes(); err != nil {
		return err
	}
	if f.relations, err = f.relate(); err != nil {
		return err
	}
	if f.intervals, err = f.coefficientIntervals(); err != nil {
		return err
	}
	if f.drawn, err = f.bootstrap(); err != nil {
		return err
	}
	f.trends = residue.Look(f.m, f.honest.Predicted)
	f.screened = residue.Screened(f.assembly.Table, f.domain, f.m.Response(), f.assembly.Product, f.assembly.Method, f.assembly.Rows)
	f.thresholds = verdict.Defaults()
	if f.q.Thresholds != nil {
		f.thresholds = *f.q.Thresholds
	}
	if f.q.Kind != "mean" {
		if f.oneLot, err = decisive.Find(f.ctx, decisive.Input{Fitter: f.fitter, Matrix: f.m, Plan: f.plan, Domain: f.domain,
			Evidence: f.put, Verdict: f.evidence(), Seed: f.env.Seed}, f.env.Cores); err != nil {
			return err
		}
	}
	f.verdict = verdict.Judge(f.evidence())
	return nil
}

func distinct(names []string) int {
	seen := map[string]bool{}
	for _, n := range names {
		seen[n] = true
	}
	return len(seen)
}

// rpd is the SD of the response over the error, or nil where it cannot be had.
func (f *fit) rpd() *float64 {
	v := metric.SD(f.m.Y()) / f.honest.RMSECV
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// yearsWith counts crop years that have at least least lots; a mix of years
// ("2023+2024") is a year of its own.
func yearsWith(years []string, lots []string, least int) []string {
	in := map[string]map[string]bool{}
	var order []string
	for i, y := range years {
		if y == "" {
			continue
		}
		if in[y] == nil {
			in[y] = map[string]bool{}
			order = append(order, y)
		}
		in[y][lots[i]] = true
	}
	order = slices.DeleteFunc(order, func(y string) bool { return len(in[y]) < least })
	slices.Sort(order)
	return order
}
