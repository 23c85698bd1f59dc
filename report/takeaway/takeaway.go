// Package takeaway puts what `export` wrote into words, and writes a model as one tidy
// table in CSV (RFC 4180): one figure a row, each with what it is, of which feature,
// and in which unit.
//
//  1. CSV: the verdict in the first row, then cautions, provenance, the equation, the
//     domain and the interval, figures at full precision.
//  2. Document: what was written, under which verdict, and what the files do not carry.
//
// It computes nothing. docs/export.md says how to score a lot from the table.
package takeaway

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/takeaway"
)

// table collects the rows of the tidy table.
type table struct{ rows [][]string }

// Columns of the table. part says what a row belongs to, item which figure it is, index
// the component, fold or error that it is of, counted from 1.
var columns = []string{"part", "item", "index", "feature", "value", "unit", "text"}

func (t *table) say(part, item, text string) {
	if text != "" {
		t.rows = append(t.rows, []string{part, item, "", "", "", "", text})
	}
}

func (t *table) figure(part, item string, index int, feature string, v float64, unit string) {
	at := ""
	if index > 0 {
		at = strconv.Itoa(index)
	}
	t.rows = append(t.rows, []string{part, item, at, feature, strconv.FormatFloat(v, 'g', -1, 64), unit, ""})
}

// CSV is the model as one tidy table, the same bytes for the same Result.
func CSV(r *takeaway.Result) ([]byte, error) {
	t := &table{rows: [][]string{columns}}
	t.say("verdict", r.Standing, r.Sentence)
	t.say("verdict", "notice", r.Notice)
	for _, o := range r.Overrides {
		t.say("verdict", "overridden", o)
	}
	for _, c := range r.Cautions {
		t.say("verdict", "caution", c)
	}
	for _, x := range [][2]string{{"response", r.Response}, {"kind", r.Kind}, {"product", r.Product}, {"pasting method", r.Method}, {"flour treatment", r.Treatment}, {"grade", r.Grade},
		{"fitted", r.Made.UTC().Format("2006-01-02T15:04:05Z")}, {"fitted by", "flourcast " + r.Program}, {"model file SHA-256", r.ModelSHA256}, {"interval", r.IntervalKind}} {
		t.say("model", x[0], x[1])
	}
	t.equation(r)
	t.domain(r.Scorer)
	t.interval(r)
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	if err := w.WriteAll(t.rows); err != nil {
		return nil, fmt.Errorf("tidy CSV: %w", err)
	}
	return b.Bytes(), nil
}

// equation has coefficients and scaling.
func (t *table) equation(r *takeaway.Result) {
	s := r.Scorer
	_, unit := phrase.AxisOf(r.Response)
	of := unit
	if s.Log {
		t.say("equation", "scale", "natural logarithm of the response")
		of = "ln(" + unit + ")"
	}
	t.figure("equation", "intercept", 0, "", s.Intercept, of)
	for _, f := range s.Features {
		t.figure("equation", "coefficient", 0, f.Name, f.Coefficient, per(of, f.Unit))
	}
	if s.Log {
		t.figure("equation", "smearing factor", 0, "", s.Smearing, "")
	}
}

// per is the unit of a coefficient.
func per(response, feature string) string {
	if feature == "" {
		return response
	}
	if response == "" {
		response = "1"
	}
	return response + "/(" + feature + ")"
}

func (t *table) domain(s takeaway.Scorer) {
	d := s.Domain
	for j, f := range s.Features {
		b := d.Bounds[j]
		for _, x := range []struct {
			item string
			v    float64
		}{{"mean", d.Mean[j]}, {"SD", d.SD[j]}, {"calibrated from", b.Calibrated[0]}, {"calibrated to", b.Calibrated[1]}, {"edge below", b.Edge[0]}, {"edge above", b.Edge[1]},
			{"outside below", b.Outer[0]}, {"outside above", b.Outer[1]}} {
			t.figure("domain", x.item, 0, f.Name, x.v, f.Unit)
		}
	}
	for a, axis := range d.Loadings {
		t.figure("domain", "variance", a+1, "", d.Variances[a], "")
		for j, f := range s.Features {
			t.figure("domain", "loading", a+1, f.Name, axis[j], "")
		}
	}
	t.figure("domain", "lots", 0, "", float64(d.Lots), "")
	t.figure("domain", "T2 edge", 0, "", d.T2.Edge, "")
	t.figure("domain", "T2 outside", 0, "", d.T2.Outer, "")
	t.figure("domain", "Q edge", 0, "", d.Q.Edge, "")
	t.figure("domain", "Q outside", 0, "", d.Q.Outer, "")
}

// interval has what normal theory and order statistics take.
func (t *table) interval(r *takeaway.Result) {
	s := r.Scorer
	_, unit := phrase.AxisOf(r.Response)
	t.figure("interval", "level", 0, "", r.Level, "")
	if p := s.Spread; p != nil {
		squared := unit
		if unit != "" {
			squared = "(" + unit + ")²"
		}
		t.figure("interval", "MSECV", 0, "", p.MSECV, squared)
		t.figure("interval", "degrees of freedom", 0, "", p.DF, "")
		t.figure("interval", "Student's t", 0, "", p.T, "")
		if p.Root != nil {
			t.figure("interval", "leverage base", 0, "", p.Base, "")
			for j, f := range s.Features {
				t.figure("interval", "leverage centre", 0, f.Name, p.Centre[j], f.Unit)
				for k, v := range p.Root[j] {
					t.figure("interval", "leverage root", k+1, f.Name, v, "")
				}
			}
		}
	}
	f := s.Folds
	if f == nil {
		return
	}
	t.figure("interval", "rank", 0, "", f.Rank, "")
	t.figure("interval", "level held", 0, "", f.Level, "")
	t.say("interval", "not finite", f.Reason)
	for k, m := range f.Models {
		t.figure("interval", "fold intercept", k+1, "", m.Intercept, "")
		for j, v := range m.Coefficients {
			t.figure("interval", "fold coefficient", k+1, s.Features[j].Name, v, "")
		}
	}
	for i, m := range f.Misses {
		t.figure("interval", "error fold", i+1, "", float64(m.Model+1), "")
		t.figure("interval", "error size", i+1, "", m.Size, "")
		t.figure("interval", "error weight", i+1, "", m.Weight, "")
	}
}

// Document is the document of `export`.
func Document(r *takeaway.Result) document.Document {
	d := document.Document{Title: "Taken away: " + r.Model, Subtitle: phrase.First(phrase.Label(r.Response)), Notice: r.Notice}
	if r.Product != "" {
		d.Subtitle += " of " + phrase.Product(r.Product)
	}
	d.Meta = []document.Pair{
		{Name: "model file", Value: fmt.Sprintf("SHA-256 %.12s…, fitted %s", r.ModelSHA256, r.Made.Format("2006-01-02"))},
		{Name: "interval", Value: fmt.Sprintf("%.3g %%, %s", 100*r.Level, r.IntervalKind)},
	}
	kind := document.Answer
	if !r.FitForUse() {
		kind = document.Caution
	}
	files := &document.Table{ID: "files", Caption: "Files written; each has the verdict on top", Columns: []document.Column{{Heading: "file"}, {Heading: "format"}, {Heading: "bytes", Align: document.Right}, {Heading: "SHA-256"}}}
	for _, f := range r.Files {
		files.Rows = append(files.Rows, []document.Cell{document.Words(f.Path), document.Words(formats[f.Format]), phrase.Count(f.Bytes), document.Words(fmt.Sprintf("%.12s…", f.SHA256))})
	}
	blocks := []document.Block{document.Callout{Kind: kind, Title: "The model is " + r.Standing, Text: phrase.Grounds(r.Standing, r.Sentence)}, files}
	d.Sections = []document.Section{{Heading: "Files", Blocks: blocks}, {Heading: "What the files do not do", Blocks: []document.Block{document.Findings(r.Findings)}},
		{Heading: "Cautions", Blocks: []document.Block{document.Paragraph(strings.Join(r.Cautions, " "))}}}
	return d
}

var formats = map[string]string{"pmml": "PMML 4.4", "xlsx": "workbook (XLSX)", "csv": "tidy CSV"}
