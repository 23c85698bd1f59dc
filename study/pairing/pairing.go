// Package pairing is the job `pairs`: from a table to what pairs of tests say,
// tests that differ in the inhibitor, in added amylase, or in the flour's treatment.
//
//  1. Columns and pairs are found by the table's names (methods behind @, the
//     columns treatment and family), or taken as the request names them.
//  2. Repeatability comes from the table's own replicates, pooled over lots, or is
//     stated by the request. Where it is carried over from another column, or not
//     known at all, a finding says so.
//  3. Package forecast/pairs compares; what follows for other jobs is said as
//     findings, with the cautions of what is touched.
//
// It refuses a table without pairs. It computes no statistic itself.
package pairing

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast/pairs"
	"flourcast/stat/precision"
	"flourcast/study/job"
)

// Kinds of pairs.
const (
	Amylase   = "amylase"
	Dose      = "dose"
	Treatment = "treatment"
)

// Request names the table (CSV or workbook), the kind of pairs and, where the table
// does not tell, the columns. Level 0 is pairs.Level.
type Request struct {
	File    string
	Joined  *table.Table // instead of File, which then says what it is
	Kind    string
	Level   float64
	Methods []method.Method // a laboratory's own, beside the built-ins
	// Repeatability is the standard deviation of one result by column, in the
	// column's unit, as a laboratory states it; it comes before the table's own.
	Repeatability map[string]float64

	// Of amylase pairs: the two methods, and the index from which amylase governs;
	// nil takes pairs.AmylaseThreshold.
	Water, Inhibited string
	Threshold        *float64

	// Of a dose series: its columns and its lot, the target (nil: none), and whether
	// the logarithm of the figure is fitted.
	Feature, DoseColumn, Lot string
	Target                   *float64
	Log                      bool

	// Of treatment pairs: untreated and treated lots. Nil: by the columns treatment
	// and family.
	Pairs [][2]string
}

// Result is what `pairs` prints. One of Amylase, Dose and Treatment is there.
type Result struct {
	Schema    string           `json:"schema"`
	File      string           `json:"file"`
	Kind      string           `json:"kind"`
	Level     float64          `json:"level"`
	Amylase   *AmylasePairs    `json:"amylase,omitempty"`
	Dose      *DoseSeries      `json:"dose,omitempty"`
	Treatment *TreatmentPairs  `json:"treatment,omitempty"`
	Cautions  []method.Caution `json:"cautions"`
	Findings  finding.List     `json:"findings"`
}

// Pairs compares the pairs of a table. A request that the table cannot answer is a
// *job.RequestError, a table without a pair a *job.NothingUsableError.
func Pairs(_ context.Context, _ job.Env, q Request) (*Result, error) {
	if q.Level == 0 {
		q.Level = pairs.Level
	}
	if !(q.Level > 0 && q.Level < 1) {
		return nil, &job.RequestError{Found: fmt.Sprintf("level %g", q.Level), Want: "a confidence between 0 and 1", Do: "0.95 is usual"}
	}
	compare := map[string]func(*paired) error{Amylase: (*paired).amylase, Dose: (*paired).dose, Treatment: (*paired).treatment}[q.Kind]
	if compare == nil {
		return nil, &job.RequestError{Found: fmt.Sprintf("pairs of kind %q", q.Kind), Want: strings.Join([]string{Amylase, Dose, Treatment}, ", ")}
	}
	t, fl, err := tablefile.Of(q.Joined, q.File)
	var empty *tablefile.EmptyError
	if errors.As(err, &empty) {
		return nil, &job.NothingUsableError{What: err.Error(), Findings: fl}
	}
	if err != nil {
		return nil, err
	}
	for _, column := range slices.Sorted(maps.Keys(q.Repeatability)) {
		sd := q.Repeatability[column]
		if !(sd > 0) || math.IsInf(sd, 0) {
			return nil, &job.RequestError{Found: fmt.Sprintf("repeatability %g of %s", sd, column), Want: "a standard deviation above 0, in the column's unit"}
		}
		if !t.IsNumber(column) {
			return nil, unknown(t, column, "a column of figures, for the repeatability stated")
		}
	}
	p := &paired{t: t, q: q, out: &Result{Schema: "flourcast.pairs/1", File: q.File, Kind: q.Kind, Level: q.Level, Cautions: []method.Caution{}, Findings: fl}}
	if err := compare(p); err != nil {
		return nil, err
	}
	return p.out, nil
}

func unknown(t *table.Table, column, want string) error {
	found := "no column " + column
	if t.Has(column) {
		found = "text in column " + column
	}
	return &job.RequestError{Found: found, Want: want, Do: "name one of: " + some(numbers(t), 12)}
}

// numbers are the columns of figures that are not companions of another.
func numbers(t *table.Table) (out []string) {
	for _, c := range t.Columns() {
		companion := false
		for _, end := range []string{"_n", "_sd", "_se"} {
			if of, cut := strings.CutSuffix(c, end); cut && t.Has(of) {
				companion = true
			}
		}
		if t.IsNumber(c) && !companion {
			out = append(out, c)
		}
	}
	return out
}

// refused is a comparison that pairs refuses, as a request that cannot be answered.
func refused(what string, err error) error {
	var e *pairs.Error
	if !errors.As(err, &e) {
		return err
	}
	return &job.RequestError{Found: what + e.Found, Want: e.Want, Do: e.Do}
}

// some is the first names of a list.
func some(names []string, most int) string {
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}

// paired is a comparison at work.
type paired struct {
	t   *table.Table
	q   Request
	out *Result
}

func (p *paired) add(code string, s finding.Severity, column, found, want, do string) {
	p.out.Findings.Add(finding.Finding{Code: code, Severity: s, At: finding.Place{File: p.q.File, Column: column}, Found: found, Want: want, Do: do})
}

// solvent is that of a method, "" when unknown.
func (p *paired) solvent(id string) trait.Solvent { return p.method(id).Solvent }

func (p *paired) method(id string) method.Method {
	if k := slices.IndexFunc(p.q.Methods, func(m method.Method) bool { return m.ID == id }); k >= 0 {
		return p.q.Methods[k]
	}
	m, _ := method.Lookup(id)
	return m
}

// methods are those by which the table has a feature, in the order of its columns,
// with the column of each. A bare column is of the one method that the table names.
func (p *paired) methods(feature string) (ids []string, column map[string]string) {
	column = map[string]string{}
	for _, c := range numbers(p.t) {
		id, m := trait.Split(c)
		if id != feature {
			continue
		}
		if m == "" && p.t.Has("method") {
			if values := p.t.Values("method"); len(values) == 1 {
				m = values[0]
			}
		}
		if _, twice := column[m]; !twice {
			ids, column[m] = append(ids, m), c
		}
	}
	return ids, column
}

// results is how many results the figure of a row is the mean of.
func (p *paired) results(column string, row int) int {
	if n, ok := p.t.Number(column+"_n", row); ok && n >= 1 {
		return int(n)
	}
	return 1
}

// stated is the degrees of freedom given to a repeatability that is stated: as good
// as known.
const stated = 10000

// repeatability is the standard deviation of one result in a column: as stated, or
// pooled over the table's lots; relative, it is over the lot's mean. nil when the
// table has no replicates.
func (p *paired) repeatability(column string, relative bool) (r *pairs.Repeatability, basis string) {
	if sd, ok := p.q.Repeatability[column]; ok && !relative {
		return &pairs.Repeatability{SD: sd, DF: stated}, "stated"
	}
	var n []int
	var sd []float64
	seen := map[string]bool{}
	for row := range p.t.Len() {
		mean, ok := p.t.Number(column, row)
		s, spread := p.t.Number(column+"_sd", row)
		if !ok || !spread || seen[p.t.Lot(row)] || s < 0 || relative && !(mean > 0) {
			continue
		}
		seen[p.t.Lot(row)] = true
		if relative {
			s /= mean
		}
		n, sd = append(n, p.results(column, row)), append(sd, s)
	}
	pooled, err := precision.Pooled(n, sd)
	if err != nil {
		return nil, ""
	}
	return &pairs.Repeatability{SD: pooled.SD, DF: float64(pooled.DF)}, fmt.Sprintf("replicates of %d lots", len(n))
}
