package curve

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/column"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/run"
	"flourcast/dataset/sheet"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/study/job"
)

// LayRequest names curve files and the grid to lay them on.
type LayRequest struct {
	Paths   []string
	Map     *sheet.Map
	Method  string // of curves whose file does not name it
	Lot     string
	Methods []method.Method
	Policy  conformity.Policy
	// Lots and Runs are the laboratory's files of lots and of tests: with them void
	// runs, controls and retests are left out as the join leaves them out.
	Lots, Runs []string

	Only string // runs of this method; "" when all are of one
	On   string // "time" (or ""), "temperature"
	Step string // "4s", "1C"
	By   string // "run" (or ""), "lot": the mean of a lot's runs
	// Table, when not nil, gets the curves of its lots as further columns; By is
	// then "lot".
	Table *dataset.Table
	// Steady leaves out the columns of the fast stir, which no model should have.
	Steady bool
	Out    string
}

// LayResult is what `curves` prints: what was laid on which grid, not the curves.
type LayResult struct {
	Schema   string         `json:"schema"`
	Output   string         `json:"output"`
	Method   string         `json:"method"`
	On       string         `json:"on"`
	Step     float64        `json:"step"` // s, or °C
	By       string         `json:"by"`
	Columns  int            `json:"columns"` // of the curves
	First    string         `json:"first"`
	Last     string         `json:"last"`
	Rows     int            `json:"rows"`
	Absent   int            `json:"absent"` // cells of the curves that are not there
	Runs     []LaidRun      `json:"runs"`
	Counts   dataset.Counts `json:"counts"`
	Findings finding.List   `json:"findings"`

	Table *dataset.Table `json:"-"` // with the curves
}

// LaidRun is one run with how many of its cells are absent.
type LaidRun struct {
	File      string `json:"file"`
	Lot       string `json:"lot"`
	Replicate string `json:"replicate"`
	Absent    int    `json:"absent"`
}

// cells are the laid viscosities of one row.
type cells struct {
	lot, replicate string
	runs           int
	whole.Row
}

// Lay lays the accepted runs of one method on a grid and writes them to q.Out,
// whole or not at all. A grid that cannot be read, and runs of several methods
// without a choice, are *job.RequestError; no accepted run is
// *job.NothingUsableError. Means of a lot's runs are of the cells that all of
// them have.
func Lay(ctx context.Context, env job.Env, q LayRequest) (*LayResult, error) {
	grid, err := whole.ParseGrid(q.On, q.Step)
	if err != nil {
		return nil, request(err)
	}
	if q.Table != nil {
		q.By = "lot"
	}
	if q.By == "" {
		q.By = "run"
	}
	if q.By != "run" && q.By != "lot" {
		return nil, &job.RequestError{Found: "rows by " + q.By, Want: "run or lot"}
	}
	runs, counts, findings, err := q.read(ctx, env)
	if err != nil {
		return nil, err
	}
	runs = slices.DeleteFunc(runs, func(r dataset.Run) bool { return q.Only != "" && r.Method != q.Only })
	var methods []string
	for _, r := range runs {
		if !slices.Contains(methods, r.Method) {
			methods = append(methods, r.Method)
		}
	}
	switch {
	case len(runs) == 0 && q.Only != "":
		return nil, &job.NothingUsableError{What: "no curve by method " + q.Only + " in the input", Findings: findings}
	case len(runs) == 0:
		return nil, &job.NothingUsableError{What: "no curve in the input can be used", Findings: findings}
	case len(methods) > 1:
		return nil, &job.RequestError{Found: "runs by " + strings.Join(methods, ", "), Want: "one method: curves of different methods never share a column", Do: "choose one of them with --only"}
	}
	m := run.Method(q.Methods, methods[0])
	plan, err := grid.Plan(m)
	if err != nil {
		return nil, request(err)
	}
	if q.Steady {
		plan, _ = whole.Named(slices.DeleteFunc(plan.Columns(), func(name string) bool { at, onTime := whole.Second(name); return onTime && at <= m.StirS }))
	}
	names := q.named(plan, m)
	res := &LayResult{Schema: "flourcast.curves/1", Output: q.Out, Method: m.ID, On: string(grid.On), Step: grid.Step, By: q.By, Columns: len(names), First: names[0], Last: names[len(names)-1],
		Runs: []LaidRun{}, Counts: counts, Findings: findings}
	if grid.On == whole.Time && m.StirS > 0 && !q.Steady {
		res.Findings.Add(finding.Finding{Code: "columns-of-the-stir", Severity: finding.Note, Found: fmt.Sprintf("columns up to %g s are of the fast stir", m.StirS), Do: "leave them out of a model"})
	}
	var rows []cells
	for _, r := range runs {
		tr, _ := trace.Read(*r.Curve, m)
		row := cells{r.Lot, r.Replicate, 1, plan.Lay(tr)}
		rows = append(rows, row)
		res.Runs = append(res.Runs, LaidRun{File: filepath.Base(r.At.File), Lot: r.Lot, Replicate: r.Replicate, Absent: row.Absent()})
	}
	if q.By == "lot" {
		rows = means(rows)
	}
	for _, row := range rows {
		res.Absent += row.Absent()
	}
	t := q.Table
	if t == nil {
		if t, err = tableOf(rows, q.By, m.ID, names); err != nil {
			return nil, err
		}
	} else {
		var without []string
		if t, without, err = beside(t, names, rows); err != nil {
			return nil, err
		}
		if len(without) > 0 {
			res.Findings.Add(finding.Finding{Code: "lots-without-curve", Severity: finding.Doubt, Found: fmt.Sprintf("%d rows of the table without a curve: lots %s", len(without), some(without)),
				Want: "a curve of every lot", Do: "their cells are absent, and a model leaves the rows out"})
		}
	}
	res.Rows, res.Table = t.Len(), t
	if q.Out == "" {
		return res, nil
	}
	var b bytes.Buffer
	if err := t.WriteCSV(&b); err != nil {
		return nil, err
	}
	return res, job.WriteWhole(q.Out, b.Bytes())
}

// named are the names of a plan's columns: beside figures of several methods with the
// method behind them, as those have it.
func (q LayRequest) named(plan whole.Plan, m method.Method) []string {
	names := plan.Columns()
	several := q.Table != nil && slices.ContainsFunc(q.Table.Columns(), func(c string) bool { _, by := trait.Split(c); return by != "" })
	for k := range names {
		if several {
			names[k] = trait.Join(names[k], m.ID)
		}
	}
	return names
}

// read is the runs that count: with a runs file those that the join would pool,
// else all accepted ones.
func (q LayRequest) read(ctx context.Context, env job.Env) ([]dataset.Run, dataset.Counts, finding.List, error) {
	if len(q.Lots)+len(q.Runs) == 0 {
		runs, counts, fl, err := dataset.ReadCurves(ctx, q.Paths, dataset.CurveOptions{
			Map: q.Map, Method: q.Method, Lot: q.Lot, Methods: q.Methods, Keep: true, Policy: q.Policy, Cores: env.Cores, Progress: env.Report()})
		fl.Add(finding.Finding{Code: "tests-not-known", Severity: finding.Note, Found: "no file of lots and runs was given: void runs, controls and retests cannot be told from the others", Do: "give --lots and --runs as to join"})
		return slices.DeleteFunc(runs, func(r dataset.Run) bool { return r.Fate != run.Accepted }), counts, fl, err
	}
	joined, err := dataset.ReadRuns(ctx, dataset.Files{Lots: q.Lots, Runs: q.Runs, Curves: q.Paths, Map: q.Map, Methods: q.Methods, Method: q.Method, Lot: q.Lot},
		dataset.JoinOptions{Cores: env.Cores, Progress: env.Report(), Keep: true, Policy: q.Policy})
	if err != nil {
		return nil, dataset.Counts{}, nil, err
	}
	pooled := run.Pool(joined.Runs, nil)
	return slices.DeleteFunc(joined.Runs, func(r dataset.Run) bool { return !r.Pooled || r.Curve == nil }), joined.Counts, append(joined.Findings, pooled.Findings...), nil
}

// request turns a grid that cannot be laid into a request that cannot be answered.
func request(err error) error {
	var g *whole.GridError
	if errors.As(err, &g) {
		return &job.RequestError{Found: "grid " + g.Found, Want: g.Want, Do: g.Do}
	}
	return err
}

// means are the means of each lot's runs, in order of appearance.
func means(rows []cells) []cells {
	of := map[string][]whole.Row{}
	var lots []string
	for _, r := range rows {
		if of[r.lot] == nil {
			lots = append(lots, r.lot)
		}
		of[r.lot] = append(of[r.lot], r.Row)
	}
	var out []cells
	for _, lot := range lots {
		out = append(out, cells{lot: lot, runs: len(of[lot]), Row: whole.Mean(of[lot])})
	}
	return out
}

// beside adds the curves of lots to the rows of a table. without are the lots of
// rows that have none.
func beside(t *dataset.Table, names []string, rows []cells) (joined *dataset.Table, without []string, err error) {
	of := map[string]cells{}
	for _, r := range rows {
		of[r.lot] = r
	}
	for i := range t.Len() {
		if _, ok := of[t.Lot(i)]; !ok {
			without = append(without, t.Lot(i))
		}
	}
	var more []column.Column
	for k, name := range names {
		values, present := make([]float64, t.Len()), make([]bool, t.Len())
		for i := range t.Len() {
			if r, ok := of[t.Lot(i)]; ok {
				values[i], present[i] = r.Values[k], r.Present[k]
			}
		}
		more = append(more, column.Numbers(name, values, present))
	}
	joined, err = t.With(more...)
	var shape *table.ShapeError
	if errors.As(err, &shape) {
		return nil, nil, &job.RequestError{Found: "a table with the column " + shape.Column, Want: "one without curves yet", Do: "take the table as it was joined"}
	}
	return joined, without, err
}

func some(lots []string) string {
	const shown = 5
	if len(lots) > shown {
		return strings.Join(lots[:shown], ", ") + ", …"
	}
	return strings.Join(lots, ", ")
}

// tableOf is a table of its own: a row a run, or a lot with how many runs it had.
func tableOf(rows []cells, by, method string, names []string) (*dataset.Table, error) {
	n := len(rows)
	lots, methods, replicates, runs, all := make([]string, n), make([]string, n), make([]string, n), make([]float64, n), make([]bool, n)
	for i, r := range rows {
		lots[i], methods[i], replicates[i], runs[i], all[i] = r.lot, method, r.replicate, float64(r.runs), true
	}
	columns := []column.Column{column.Text("lot", lots), column.Text("method", methods), column.Text("replicate", replicates)}
	if by == "lot" {
		columns[2] = column.Numbers("runs", runs, all)
	}
	for k, name := range names {
		values, present := make([]float64, n), make([]bool, n)
		for i, r := range rows {
			values[i], present[i] = r.Values[k], r.Present[k]
		}
		columns = append(columns, column.Numbers(name, values, present))
	}
	return table.New("lot", columns...)
}
