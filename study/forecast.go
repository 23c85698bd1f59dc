package study

import (
	"context"
	"fmt"
	"slices"
	"time"

	"flourcast/dataset"
	"flourcast/dataset/lot"
	"flourcast/dataset/method"
	"flourcast/dataset/record"
	"flourcast/dataset/replicate"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/model"
	"flourcast/study/card"
	"flourcast/work"
)

// ForecastRequest names a model file and the files of new lots: curves, pasting
// values, or a joined table. Lots gives flour analysis (protein) for models that
// use it. Level is that of the interval, 0.90 when 0.
type ForecastRequest struct {
	Model   string
	Card    *card.Card // instead of Model
	Paths   []string
	Lot     string // of a curve whose file does not name it
	Lots    string
	Map     *sheet.Map
	Methods []method.Method
	Spec    *forecast.Spec
	Rule    *forecast.Rule  // nil: forecast.DefaultRule
	Bands   *forecast.Bands // named classes; nil: none
	Level   float64

	// Table, a joined table, is read instead of Paths and Lots.
	Table *dataset.Table
	lots  []lotFigures // instead of all of these: of a lab book
}

// ForecastResult is what `forecast` prints.
type ForecastResult struct {
	Schema    string              `json:"schema"`
	Model     string              `json:"model"`
	Product   string              `json:"product"`
	Response  string              `json:"response"`
	Standing  string              `json:"standing"`
	Spec      *forecast.Spec      `json:"spec"`
	Rule      forecast.Rule       `json:"rule"`
	Bands     *forecast.Bands     `json:"bands,omitempty"`
	Forecasts []forecast.Forecast `json:"forecasts"`
	Refused   int                 `json:"refused"`
	Findings  finding.List        `json:"findings"`
	Notice    string              `json:"notice,omitempty"`
	// Made and ModelSHA256 say when and by which model file, for whoever keeps the
	// result to set the outcome against it later.
	Made        time.Time `json:"made"`
	ModelSHA256 string    `json:"model_sha256"`
	// Recorded is how many forecasts were written down in a lab book; nil without one.
	Recorded *int `json:"recorded,omitempty"`

	inputs []map[string]float64 // what each forecast was made from
}

// Short reports whether a lot was held or rejected.
func (r *ForecastResult) Short() bool {
	for _, f := range r.Forecasts {
		if f.Decision == forecast.Hold || f.Decision == forecast.Reject {
			return true
		}
	}
	return false
}

// lotFigures is one lot put to a model: its figures by column name as the source
// has them, the method of its runs, and what was wrong with them.
type lotFigures struct {
	lot      string
	method   string
	figure   func(column string) (float64, bool)
	word     func(column string) (string, bool) // texts of the lot; nil: none
	problems []string
}

// Forecast reads the new lots, and forecasts each. A lot whose every run was
// refused, or that lacks a feature, is held with the reason; none is dropped. It
// returns *NothingUsableError when the files name no lot.
func Forecast(ctx context.Context, env Env, q ForecastRequest) (*ForecastResult, error) {
	c := q.Card
	if c == nil {
		var err error
		if c, err = card.Read(q.Model); err != nil {
			return nil, err
		}
	}
	if q.Level == 0 {
		q.Level = 0.90
	}
	if !(q.Level > 0 && q.Level < 1) {
		return nil, &RequestError{Found: fmt.Sprintf("level %v", q.Level), Want: "a level between 0 and 1, such as 0.90"}
	}
	if q.Spec != nil && q.Spec.Response != c.Response {
		return nil, &RequestError{Found: "limits for " + q.Spec.Response, Want: "limits for " + c.Response + ", which the model forecasts", Do: "state the limits in its unit"}
	}
	fitted, err := c.Fitted()
	if err != nil {
		return nil, err
	}
	if q.Rule == nil {
		rule := forecast.DefaultRule()
		q.Rule = &rule
	}
	if err := q.Rule.Check(); err != nil {
		return nil, &RequestError{Found: err.Error(), Want: "two risks that leave something between", Do: "see --alpha and --beta"}
	}
	if q.Bands != nil && q.Bands.Response != c.Response {
		return nil, &RequestError{Found: "bands of " + q.Bands.Response, Want: "bands of " + c.Response + ", which the model forecasts"}
	}
	res := &ForecastResult{Schema: "flourcast.forecast/1", Model: q.Model, Rule: *q.Rule, Bands: q.Bands, Product: c.Product, Response: c.Response, Standing: string(c.Verdict.Standing),
		Spec: q.Spec, Forecasts: []forecast.Forecast{}, Notice: c.Notice, Made: env.Now(), ModelSHA256: c.SHA256}
	lots, err := readNewLots(ctx, env, q, c, res)
	if err != nil {
		return nil, err
	}
	if len(lots) == 0 {
		return nil, &NothingUsableError{What: "no lot to forecast in the input", Findings: res.Findings}
	}
	m := forecastModel(c, fitted)
	progress := env.Report()
	progress.Start("forecasts", len(lots))
	defer progress.Done()
	res.Forecasts, res.inputs = make([]forecast.Forecast, len(lots)), make([]map[string]float64, len(lots))
	err = work.Each(ctx, len(lots), env.Cores, func(i int) error {
		in := lots[i].input(c, q, m)
		res.Forecasts[i], res.inputs[i] = forecast.Make(in), in.Features
		progress.Step(1)
		return nil
	})
	return res, err
}

// forecastModel is what a forecast needs of a model file.
func forecastModel(c *card.Card, fitted model.Fitted) forecast.Model {
	m := forecast.Model{Response: c.Response, Features: c.Features, Method: c.Method, Fitted: fitted, Interval: *c.Interval, Cross: c.Cross, Domain: c.Domain,
		Standing: c.Verdict.Standing, StandingCause: c.Verdict.Sentence, Coefficients: fitted.Linear().Coefficients, Average: c.Average(), Repeat: c.Repeat}
	for _, o := range c.Verdict.Overrides {
		m.Overrides = append(m.Overrides, o.Reason)
	}
	return m
}

// input puts one lot to the model.
func (l lotFigures) input(c *card.Card, q ForecastRequest, m forecast.Model) forecast.Input {
	if l.word != nil {
		l.problems = append(slices.Clone(l.problems), otherRows(c, l.word)...)
	}
	in := forecast.Input{Lot: l.lot, Features: map[string]float64{}, Replicates: map[string]replicate.Summary{}, Method: l.method, Problems: l.problems,
		Model: m, Spec: q.Spec, Rule: q.Rule, Bands: q.Bands, Level: q.Level}
	for _, name := range c.Features {
		s, by, ok := l.find(name, c.Method)
		if !ok {
			continue
		}
		in.Features[name] = s.Mean
		if s.N > 1 {
			in.Replicates[name] = s
		}
		if in.Method == "" {
			in.Method = by // the column itself names the method
		}
	}
	return in
}

// find looks a model's feature up: by its name, by its name with the model's
// method where the source has several, and by its bare name where the source
// has only the method that the feature names. by is the method of the column, if
// the column names one.
func (l lotFigures) find(feature, modelMethod string) (s replicate.Summary, by string, ok bool) {
	id, m := trait.Split(feature)
	if s, ok := replicate.Read(l.figure, feature); ok {
		return s, m, true
	}
	switch {
	case m == "" && modelMethod != "":
		s, ok = replicate.Read(l.figure, trait.Join(id, modelMethod))
		return s, modelMethod, ok
	case m != "" && l.method == m:
		s, ok = replicate.Read(l.figure, id)
		return s, m, ok
	}
	return s, "", false
}

// readNewLots reads curves and pasting values (replicates pooled by lot) and
// joined tables (a row is a lot) into lots, in the order of the files, with the
// flour analysis of the lots file.
func readNewLots(ctx context.Context, env Env, q ForecastRequest, c *card.Card, res *ForecastResult) ([]lotFigures, error) {
	switch {
	case q.lots != nil:
		return q.lots, nil
	case q.Table != nil:
		return tableLots(q.Table), nil
	}
	var curves, values, tables []string
	for _, path := range q.Paths {
		kind, err := kindOf(path, q.Map, c.Features)
		if err != nil {
			return nil, err
		}
		switch kind {
		case curveFile:
			curves = append(curves, path)
		case valueFile:
			values = append(values, path)
		default:
			tables = append(tables, path)
		}
	}
	analysis := lot.NewRegister()
	if q.Lots != "" {
		s, ok, err := record.Open(q.Lots, q.Map, &res.Findings)
		if err != nil {
			return nil, err
		}
		if ok {
			_, refused, found := analysis.Read(s)
			res.Refused += refused
			res.Findings = append(res.Findings, found...)
		}
	}
	var out []lotFigures
	if len(curves)+len(values) > 0 {
		joined, err := dataset.Join(ctx, dataset.Files{Curves: curves, Pasting: values, Map: q.Map, Methods: q.Methods, Method: c.Method, Lot: q.Lot},
			dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()})
		if err != nil {
			return nil, err
		}
		for _, f := range joined.Findings {
			if f.Code != "lots-not-given" { // here it is meant
				res.Findings.Add(f)
			}
		}
		res.Refused += joined.Counts.Refused
		out = pooledLots(joined)
	}
	for _, path := range tables {
		t, found, err := dataset.ReadTable(path)
		if err != nil {
			return nil, err
		}
		res.Findings = append(res.Findings, found...)
		out = append(out, tableLots(t)...)
	}
	for i := range out {
		own, words := out[i].figure, out[i].word
		known, ok := analysis.Get(out[i].lot)
		if !ok {
			continue
		}
		out[i].word = func(column string) (string, bool) {
			if words != nil {
				if s, ok := words(column); ok {
					return s, true
				}
			}
			s := known.Words[column]
			return s, s != ""
		}
		out[i].figure = func(column string) (float64, bool) {
			if v, ok := own(column); ok {
				return v, true
			}
			v, ok := known.Figures[column]
			return v, ok
		}
	}
	for i := range out {
		out[i] = out[i].withIndicators(c)
	}
	return out, nil
}

// tableLots are the rows of a joined table, a lot each.
func tableLots(t *dataset.Table) []lotFigures {
	var out []lotFigures
	for i := range t.Len() {
		m, _ := t.Text("method", i)
		out = append(out, lotFigures{lot: t.Lot(i), method: m, figure: func(column string) (float64, bool) { return t.Number(column, i) },
			word: func(column string) (string, bool) { return t.Text(column, i) }})
	}
	return out
}

// pooledLots are the lots of a join, those whose every run was refused included:
// they are held with what was wrong.
func pooledLots(j *dataset.Joined) []lotFigures {
	var out []lotFigures
	for i := range j.Table.Len() {
		m, _ := j.Table.Text("method", i)
		out = append(out, lotFigures{lot: j.Table.Lot(i), method: m, figure: func(column string) (float64, bool) { return j.Table.Number(column, i) }})
	}
	at := map[string]int{}
	for i, l := range out {
		at[l.lot] = i
	}
	for _, r := range j.Runs {
		if r.Lot == "" {
			continue
		}
		k, ok := at[r.Lot]
		if !ok {
			k = len(out)
			at[r.Lot] = k
			out = append(out, lotFigures{lot: r.Lot, method: r.Method, figure: func(string) (float64, bool) { return 0, false }})
		}
		for _, f := range r.Findings {
			if f.Severity != finding.Note {
				out[k].problems = append(out[k].problems, f.String())
			}
		}
	}
	return out
}

type fileKind int

const (
	tableFile fileKind = iota
	curveFile
	valueFile
)

// kindOf tells what a file of new lots is: a curve when it has viscosities over
// time, a joined table when it has every pasting feature of the model by its
// very name and no replicates, feature values otherwise.
func kindOf(path string, m *sheet.Map, features []string) (fileKind, error) {
	s, err := sheet.Open(path, m)
	if err != nil {
		return tableFile, err
	}
	has := map[string]bool{}
	for _, col := range s.Columns {
		has[col.Written] = true
		if h, err := trait.ParseHeader(col.Written, col.Unit); err == nil {
			has[h.Trait.ID] = true
			if h.Trait.Base == "viscosity" {
				return curveFile, nil
			}
		}
	}
	if has["replicate"] {
		return valueFile, nil
	}
	for _, name := range features {
		if id, _ := trait.Split(name); !has[name] && isPasting(id) {
			return valueFile, nil
		}
	}
	return tableFile, nil
}

func isPasting(id string) bool {
	t, ok := trait.Lookup(id)
	return ok && t.Role == trait.RoleFeature
}
