// Package takeaway takes a model apart into plain figures, for files that others can
// score a lot with: without this program, and with the same answer.
//
//  1. Make reads a model file and lays out its equation, its domain, its interval and
//     the rule of decision as figures (Scorer).
//  2. Whoever writes a format works from the Scorer alone, and tells Wrote what it
//     wrote.
//  3. The Result says what was written, and under which verdict.
//
// A model that is not fit for use is laid out too, and its Result says so; every
// format must put that first. The package refuses a model without features, levels
// and limits that mean nothing. It names no lot: a file that leaves the house carries
// no lot names of others.
package takeaway

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"time"

	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/conformance"
	"flourcast/model"
	"flourcast/model/transform"
	"flourcast/study/card"
	"flourcast/study/job"

	"gonum.org/v1/gonum/stat/distuv"
)

// Schema of Result.
const Schema = "flourcast.export/1"

// Request names a model file. Level is that of the interval, 0.90 when 0. Spec fills
// the limits of formats that decide; nil leaves them for their reader to fill.
type Request struct {
	Model string
	Card  *card.Card // instead of Model
	Level float64
	Spec  *forecast.Spec
}

// Result is what `export` prints.
type Result struct {
	Schema       string         `json:"schema"`
	Model        string         `json:"model"` // path
	ModelSHA256  string         `json:"model_sha256"`
	Program      string         `json:"program"` // that fitted it
	Made         time.Time      `json:"made"`    // when it was fitted
	Exported     time.Time      `json:"exported"`
	ExportedBy   string         `json:"exported_by"`
	Notice       string         `json:"notice,omitempty"`
	Product      string         `json:"product"`
	Method       string         `json:"method"`
	Treatment    string         `json:"treatment,omitempty"`
	Solvent      trait.Solvent  `json:"solvent"`
	Response     string         `json:"response"`
	Kind         string         `json:"kind"`
	Standing     string         `json:"standing"`
	Grade        string         `json:"grade"`
	Sentence     string         `json:"sentence"`
	Overrides    []string       `json:"overrides"`
	Lots         int            `json:"lots"`
	Level        float64        `json:"level"`
	IntervalKind string         `json:"interval_kind"`
	Spec         *forecast.Spec `json:"spec"`
	Cautions     []string       `json:"cautions"`
	Files        []File         `json:"files"`
	Findings     finding.List   `json:"findings"`

	Scorer Scorer `json:"-"`

	notInPMML finding.List
}

// File is one file written.
type File struct {
	Format string `json:"format"` // pmml | xlsx | csv
	Path   string `json:"path"`
	Bytes  int    `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Scorer is everything that scoring a lot takes. With features x in the order of
// Features and in their units, μ = Intercept + Σ Coefficient·x:
//
//	forecast      μ, or exp(μ)·Smearing where Log
//	domain        see domain.Equations
//	interval      see Spread and Folds
//	decision      Rule on the probability of meeting the limits
type Scorer struct {
	Features  []Feature
	Intercept float64
	Log       bool
	Smearing  float64 // 1 without Log
	Domain    domain.Equations
	Spread    *Spread // nil for a model of logarithms
	Folds     *Folds  // nil where the interval is by normal theory
	Rule      conformance.Rule
	Checks    []Check
}

// Feature is one feature: what it is called and its coefficient. Average is the mean
// over the calibration rows.
type Feature struct {
	Name, Label, Unit    string
	Coefficient, Average float64
}

// Spread is s² = MSECV·(1 + h), with DF degrees of freedom; T is Student's t that
// leaves 1 − level on both sides. h is 1/lots + T²/(lots − 1) of the domain or, where
// Root is not nil, Base + Σ_k (Σ_j Root[j][k]·(x_j − Centre_j))².
type Spread struct {
	MSECV, DF, T float64
	Base         float64
	Centre       []float64
	Root         [][]float64
}

// Folds are the models of the folds and what each missed: the interval is, of the
// atoms μ_m − Size and μ_m + Size with their weights, the smallest value with weight
// Rank at or above it (low), and at or below it (high). Of Log models both are of ln y.
// Finite is false where so few lots give no finite interval; Reason says so.
type Folds struct {
	Lots   int
	Models []interval.Equation
	Misses []Miss
	Rank   float64
	Level  float64 // that the order statistics hold
	Finite bool
	Reason string
}

// Miss is interval.Miss with its weight, and without the lot's name.
type Miss struct {
	Model        int
	Size, Weight float64
}

// Check is a lot made up to check a reader by: the average of the calibration, and
// others near it, with the model's own forecast.
type Check struct {
	X        []float64
	Forecast float64
}

// Make lays a model out. Errors: *job.RequestError for a level or limits that mean
// nothing and for a model without features; those of card.Read.
func Make(env job.Env, q Request) (*Result, error) {
	c, err := card.Of(q.Card, q.Model)
	if err != nil {
		return nil, err
	}
	if q.Level, err = job.Level(q.Level); err != nil {
		return nil, err
	}
	switch {
	case q.Spec != nil && q.Spec.Response != c.Response:
		return nil, &job.RequestError{Found: "limits for " + q.Spec.Response, Want: "limits for " + c.Response + ", which the model forecasts", Do: "state the limits in its unit"}
	case len(c.Features) == 0:
		return nil, &job.RequestError{Found: "a model without features", Want: "one that has something to score a lot by", Do: "fit another kind of model"}
	}
	fitted, err := c.Fitted()
	if err != nil {
		return nil, err
	}
	v := c.Verdict
	res := &Result{Schema: Schema, Model: q.Model, ModelSHA256: c.SHA256, Program: c.Program, Made: c.Made, Exported: env.Now(), ExportedBy: env.Version, Notice: c.Notice,
		Product: c.Product, Method: c.Method, Treatment: c.Treatment, Solvent: c.Solvent, Response: c.Response, Kind: c.Kind, Standing: v.Standing, Grade: v.Grade, Sentence: v.Sentence,
		Overrides: []string{}, Lots: c.Domain.Lots(), Level: q.Level, IntervalKind: interval.KindParametric, Spec: q.Spec, Files: []File{}, Findings: finding.List{}}
	for _, o := range v.Overrides {
		res.Overrides = append(res.Overrides, o.Reason)
	}
	if c.Cross != nil {
		res.IntervalKind = c.Cross.Kind
	}
	res.Cautions = cautions(c)
	res.Scorer = scorer(c, fitted, q.Level)
	res.doubts(c)
	return res, nil
}

// FitForUse reports whether the model may be used.
func (r *Result) FitForUse() bool { return r.Standing == verdict.FitForUse }

// NotFit reports whether nothing may be decided by the model.
func (r *Result) NotFit() bool {
	return r.Standing != verdict.FitForUse && r.Standing != verdict.Provisional
}

// Wrote records a file, and what its format cannot carry.
func (r *Result) Wrote(format, path string, data []byte) {
	if format == "pmml" {
		r.Findings = append(r.Findings, r.notInPMML...)
	}
	sum := sha256.Sum256(data)
	r.Files = append(r.Files, File{format, path, len(data), hex.EncodeToString(sum[:])})
}

func scorer(c *card.Card, fitted model.Fitted, level float64) Scorer {
	s := Scorer{Smearing: 1, Domain: c.Domain.Equations(), Rule: conformance.DefaultRule()}
	line, average := fitted.Linear(), c.Average()
	s.Intercept = line.Intercept
	for j, name := range c.Features {
		f := Feature{Name: name, Label: name, Coefficient: line.Coefficients[j], Average: average[j]}
		if t, ok := trait.Lookup(name); ok {
			f.Label, f.Unit = t.Label, t.Unit
			if _, method := trait.Split(name); method != "" {
				f.Label += " (" + method + ")"
			}
		}
		s.Features = append(s.Features, f)
	}
	if l, ok := fitted.(*transform.Logged); ok {
		s.Log, s.Smearing = true, l.Smearing()
	}
	if c.Cross != nil {
		s.Folds = folds(c.Cross, level)
	}
	if c.Cross == nil || !c.Cross.Log {
		s.Spread = &Spread{MSECV: c.Interval.MSECV, DF: c.Interval.DF, T: distuv.StudentsT{Mu: 0, Sigma: 1, Nu: c.Interval.DF}.Quantile(0.5 + level/2)}
		own, ok := fitted.(interface {
			LeverageForm() (base float64, centre []float64, root [][]float64)
		})
		if ok {
			s.Spread.Base, s.Spread.Centre, s.Spread.Root = own.LeverageForm()
		}
	}
	s.Checks = checks(s, average, fitted)
	return s
}

func folds(c *interval.Cross, level float64) *Folds {
	held := interval.Level(level, c.Lots)
	f := &Folds{Lots: c.Lots, Models: c.Models, Level: held, Rank: math.Round(held * float64(c.Lots+1)), Finite: true}
	if need := interval.LotsFor(level); c.Lots < need {
		f.Finite, f.Reason = false, fmt.Sprintf("a finite %.3g %% interval needs %d lots, this model has %d", 100*level, need, c.Lots)
	}
	rows := map[string]float64{}
	for _, m := range c.Misses {
		rows[m.Lot]++
	}
	for _, m := range c.Misses {
		f.Misses = append(f.Misses, Miss{m.Model, m.Size, 1 / rows[m.Lot]})
	}
	return f
}

// mostChecks are the lots made up to check a reader by.
const mostChecks = 6

// checks are the average lot, and lots with one feature moved half way to the highest
// calibrated figure.
func checks(s Scorer, average []float64, fitted model.Fitted) []Check {
	var out []Check
	for k := range min(mostChecks, 1+len(average)) {
		x := append([]float64(nil), average...)
		if k > 0 {
			x[k-1] = (x[k-1] + s.Domain.Bounds[k-1].Calibrated[1]) / 2
		}
		out = append(out, Check{x, fitted.Predict(x)})
	}
	return out
}

// doubts says what the exported files do not carry.
func (r *Result) doubts(c *card.Card) {
	note := func(to *finding.List, code, found, do string) {
		to.Add(finding.Finding{Code: code, Severity: finding.Note, Found: found, Do: do})
	}
	note(&r.Findings, "run-not-checked", "the files take figures as they are typed: how a run kept to its method, whether replicates agree, and what a single run adds to the uncertainty are not checked",
		"type only the means of runs that passed their checks, or use forecast")
	if d := c.Derivative; d != nil && d.Order > 0 {
		note(&r.Findings, "derivative-folded", "the model filters whole curves; its coefficients are written on the curves as they were measured", "")
	}
	switch {
	case r.Scorer.Spread == nil:
		note(&r.notInPMML, "pmml-no-interval", "the model is of logarithms, whose interval is of order statistics, which PMML cannot write: the PMML file has the value and the domain only",
			"use the workbook, or forecast, for the interval")
	case r.Scorer.Folds != nil:
		note(&r.notInPMML, "pmml-normal-interval", "the interval is "+r.IntervalKind+", of order statistics, which PMML cannot write: the PMML file has the one of normal theory instead, by which the probability is worked out too",
			"use the workbook, or forecast, for the "+r.IntervalKind+" interval")
	}
}

// cautions are what must be said wherever the model's figures go.
func cautions(c *card.Card) []string {
	out := []string{forecast.Caution, "It says nothing about food safety; raw flour and paste are not food. Flour contains allergens (wheat)."}
	if treatment.Parse(c.Treatment).Kind == treatment.Chlorinated || c.TreatmentFactor != nil {
		out = append(out, treatment.Caution)
	}
	if c.Solvent == trait.Inhibitor {
		out = append(out, "Runs with an inhibitor: silver nitrate is toxic, an oxidiser, stains, and its waste is collected. Follow the safety data sheet and local rules; ask qualified people.")
	}
	return out
}
