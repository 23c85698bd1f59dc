// Package newlots reads the lots that are put to a model: curves, pasting values or
// a joined table, with the flour analysis of a lots file.
//
//  1. Read tells from its columns what each file is (curves, pasting values, a joined
//     table, lots, runs), and makes a Lot of every lot that was tested. A lot whose
//     every run was refused is there too, with what was wrong.
//     A model of whole curves finds the lot's curve on the model's own grid.
//  2. Lot.Find looks a model's feature up, by whichever of its names the source has.
//  3. OtherRows and OfAnother say in what a lot differs from the rows that the model
//     was made from.
//
// It forecasts nothing and drops no lot.
package newlots

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/intake"
	"flourcast/dataset/lot"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/study/card"
	"flourcast/study/job"
)

// Files names the files of new lots. Lots gives flour analysis (protein) for models
// that use it, as does a lots file among Paths; Lot names the lot of a curve whose
// file does not.
type Files struct {
	Paths   []string
	Lot     string
	Lots    string
	Map     *sheet.Map
	Methods []method.Method

	Table *dataset.Table // a joined table, instead of all of these
	Known []Lot          // instead of all of these
}

// Lot is one lot put to a model: its figures by column name as the source has them,
// the method of its runs, and what was wrong with them.
type Lot struct {
	Name     string
	Method   string
	Figure   func(column string) (float64, bool)
	Word     func(column string) (string, bool) // texts of the lot; nil: none
	Problems []string
}

// Found is what the files hold: the lots in their order, rows refused, findings.
type Found struct {
	Lots     []Lot
	Refused  int
	Findings finding.List
}

// Read reads curves and pasting values (replicates pooled by lot, linked by runs
// files) and joined tables (a row is a lot) into lots, in the order of the files,
// with the flour analysis of the lots files.
func Read(ctx context.Context, env job.Env, c *card.Card, q Files) (*Found, error) {
	res := &Found{}
	var out []Lot
	switch {
	case q.Known != nil:
		out, q = slices.Clone(q.Known), Files{}
	case q.Table != nil:
		out, q = rows(q.Table), Files{}
	}
	var curves, values, runs, tables []string
	analyses := given(q.Lots)
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
		case lotsFile:
			analyses = append(analyses, path)
		case runsFile:
			runs = append(runs, path)
		default:
			tables = append(tables, path)
		}
	}
	analysis := lot.NewRegister()
	for _, path := range analyses {
		s, ok, err := record.Open(path, q.Map, &res.Findings)
		if err != nil {
			return nil, err
		}
		if ok {
			_, refused, found := analysis.Read(s)
			res.Refused += refused
			res.Findings = append(res.Findings, found...)
		}
	}
	if len(curves)+len(values) > 0 {
		joined, err := dataset.Join(ctx, dataset.Files{Curves: curves, Pasting: values, Runs: runs, Map: q.Map, Methods: q.Methods, Method: c.Method, Lot: q.Lot},
			dataset.JoinOptions{Cores: env.Cores, Progress: env.Report(), Keep: c.OfCurves()})
		if err != nil {
			return nil, err
		}
		for _, f := range joined.Findings {
			if f.Code != "lots-not-given" { // here it is meant
				res.Findings.Add(f)
			}
		}
		res.Refused += joined.Counts.Refused
		out = Pooled(joined, c, q.Methods)
	}
	for _, path := range tables {
		t, found, err := dataset.ReadTable(path)
		if err != nil {
			return nil, err
		}
		res.Findings = append(res.Findings, found...)
		out = append(out, rows(t)...)
	}
	for i := range out {
		own, words := out[i].Figure, out[i].Word
		known, ok := analysis.Get(out[i].Name)
		if !ok {
			continue
		}
		out[i].Word = func(column string) (string, bool) {
			if words != nil {
				if s, ok := words(column); ok {
					return s, true
				}
			}
			s := known.Words[column]
			return s, s != ""
		}
		out[i].Figure = func(column string) (float64, bool) {
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
	res.Lots = out
	return res, nil
}

// rows are the rows of a joined table, a lot each.
func rows(t *dataset.Table) []Lot {
	var out []Lot
	for i := range t.Len() {
		m, _ := t.Text("method", i)
		out = append(out, Lot{Name: t.Lot(i), Method: m, Figure: func(column string) (float64, bool) { return t.Number(column, i) },
			Word: func(column string) (string, bool) { return t.Text(column, i) }})
	}
	return out
}

// Pooled are the lots of a join, those whose every run was refused included: they are
// held with what was wrong. A card of whole curves finds the lots' curves, if the join
// kept them (card.OfCurves), on its own grid.
func Pooled(j *dataset.Joined, c *card.Card, methods []method.Method) []Lot {
	var out []Lot
	t := j.Table // the lots keep the table, and not the runs that it was made of
	for i := range t.Len() {
		m, _ := t.Text("method", i)
		out = append(out, Lot{Name: t.Lot(i), Method: m, Figure: func(column string) (float64, bool) { return t.Number(column, i) }})
	}
	withCurves(out, j.Runs, c, methods)
	at := map[string]int{}
	for i, l := range out {
		at[l.Name] = i
	}
	for _, r := range j.Runs {
		if r.Lot == "" {
			continue
		}
		k, ok := at[r.Lot]
		if !ok {
			k = len(out)
			at[r.Lot] = k
			out = append(out, Lot{Name: r.Lot, Method: r.Method, Figure: func(string) (float64, bool) { return 0, false }})
		}
		if text := trouble(r); text != "" {
			out[k].Problems = append(out[k].Problems, text)
		}
	}
	return out
}

// trouble is in one sentence what is wrong with a run and what to do: its first
// refusal, else its first doubt, and how many findings more there are. All of them
// stand whole among the findings of the join.
func trouble(r dataset.Run) string {
	var bad finding.List
	for _, f := range r.Findings {
		if f.Severity != finding.Note {
			bad.Add(f)
		}
	}
	if len(bad) == 0 {
		return ""
	}
	first := bad[0]
	if i := slices.IndexFunc(bad, func(f finding.Finding) bool { return f.Severity == finding.Refused }); i >= 0 {
		first = bad[i]
	}
	text := strings.TrimSpace("run "+cmp.Or(r.Run, r.Replicate)) + ": " + first.Found
	if first.Do != "" {
		text += "; " + first.Do
	}
	if more := len(bad) - 1; more > 0 {
		text += fmt.Sprintf(" (%d more among the findings)", more)
	}
	return text
}

type fileKind int

const (
	tableFile fileKind = iota
	curveFile
	valueFile
	lotsFile
	runsFile
)

// given is a list of the path; of none when it is empty.
func given(path string) []string {
	if path == "" {
		return nil
	}
	return []string{path}
}

// kindOf tells what a file of new lots is: a curve when it has viscosities over
// time, a joined table when it has every pasting feature of the model by its
// very name and no replicates, lots or runs when intake recognises them, feature
// values otherwise.
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
		if has[name] || !isPasting(name) {
			continue
		}
		switch kind, _ := intake.Recognise(s); kind {
		case intake.Lots:
			return lotsFile, nil
		case intake.Runs:
			return runsFile, nil
		}
		return valueFile, nil
	}
	return tableFile, nil
}

// isPasting reports whether a feature comes from a pasting curve.
func isPasting(feature string) bool {
	t, ok := trait.Lookup(feature)
	return ok && t.Role == trait.RoleFeature || whole.IsColumn(feature)
}
