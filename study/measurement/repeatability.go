// Package measurement asks how well a laboratory measures: the jobs `repeatability`
// and `control`.
//
//  1. Repeatability takes duplicates of one session, or the n and SD of a joined
//     table, and gives each feature its repeatability, the suspects, and whether it
//     tells the lots apart.
//  2. Control charts the control flour and lists the days that are out of control
//     and the runs of those days.
//
// They name suspects and leave nothing out of any figure. They refuse input
// without a duplicate, or without a control run.
package measurement

import (
	"context"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/run"
	"flourcast/dataset/session"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/stat/precision"
	"flourcast/study/job"
)

// ApartRatio is how many repeatability SDs the SD between lots must be for a feature
// to tell lots apart (common practice, no source).
const ApartRatio = 3

// level of the confidence interval of a repeatability SD.
const level = 0.95

// RepeatabilityRequest names the files of a laboratory, or a joined table. Read are the
// files read or joined, for callers that have done it; then neither counts.
type RepeatabilityRequest struct {
	Table string
	Files dataset.Files
	Read  *dataset.Joined
}

// RepeatabilityResult is what `repeatability` prints: a group for each method and
// instrument.
type RepeatabilityResult struct {
	Schema   string          `json:"schema"`
	Source   string          `json:"source"` // "runs" or "table"
	Table    string          `json:"table"`
	Groups   []RepeatGroup   `json:"groups"`
	Aside    []session.Aside `json:"set_aside"` // runs that tell no repeatability
	Counts   dataset.Counts  `json:"counts"`    // rows read; of runs only
	Findings finding.List    `json:"findings"`
}

// RepeatGroup is one method on one instrument.
type RepeatGroup struct {
	Method     string             `json:"method"`
	Instrument string             `json:"instrument"`
	Runs       int                `json:"runs"`
	Lots       int                `json:"lots"`
	Features   []RepeatOfAFeature `json:"features"`
}

// RepeatOfAFeature is one feature of a group. Figures that cannot be had are null:
// all of repeatability without a duplicate, the CV where the mean is 0, what tells
// lots apart with one lot. SDWithoutOutliers is there only where Cochran's test finds
// outliers; RepeatSD is that of all.
type RepeatOfAFeature struct {
	Feature           string          `json:"feature"`
	Lots              int             `json:"lots"`
	Duplicated        int             `json:"lots_with_duplicates"`
	DF                int             `json:"df"`
	Mean              float64         `json:"mean"`
	RepeatSD          *float64        `json:"repeat_sd"`
	RepeatSDLow       *float64        `json:"repeat_sd_low"` // 95 % confidence interval
	RepeatSDHigh      *float64        `json:"repeat_sd_high"`
	RepeatLimit       *float64        `json:"repeat_limit"` // r = 2.8·s_r
	CVPct             *float64        `json:"cv_pct"`
	SDWithoutOutliers *float64        `json:"repeat_sd_without_outliers"`
	BetweenSD         *float64        `json:"between_lot_sd"`
	Ratio             *float64        `json:"between_over_repeat"`
	TellsApart        *bool           `json:"tells_lots_apart"`
	Suspects          []RepeatSuspect `json:"suspects"`
}

// RepeatSuspect is a lot that an outlier test names. Test is "Cochran" (its replicates
// differ more than those of other lots; Run is the one of three or more that stands apart,
// if one does), "Grubbs" or "Grubbs pair" (its mean stands apart from other lots', which a
// lot may rightly do).
type RepeatSuspect struct {
	Test      string  `json:"test"`
	Lot       string  `json:"lot"`
	Day       string  `json:"day"`
	Run       string  `json:"run"`
	Statistic float64 `json:"statistic"`
	P         float64 `json:"p"`
	Standing  string  `json:"standing"`
}

// Repeatability reads the runs, or the table, and estimates repeatability by method
// and instrument. It returns a *job.RequestError for both or neither, and
// *job.NothingUsableError where no lot has duplicates.
func Repeatability(ctx context.Context, env job.Env, q RepeatabilityRequest) (*RepeatabilityResult, error) {
	files := len(q.Files.Curves)+len(q.Files.Pasting) > 0
	if q.Read == nil && files == (q.Table != "") {
		return nil, &job.RequestError{Found: "both a table and files of runs, or neither", Want: "a joined table, or --runs with --curves or --pasting"}
	}
	res := &RepeatabilityResult{Schema: "flourcast.repeatability/1", Source: "runs", Table: q.Table, Groups: []RepeatGroup{}, Aside: []session.Aside{}}
	var groups []group
	if q.Read != nil || files {
		read := q.Read
		if read == nil {
			var err error
			if read, err = dataset.ReadRuns(ctx, q.Files, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()}); err != nil {
				return nil, err
			}
		}
		picked := session.Pick(read.Runs)
		res.Counts, res.Findings = read.Counts, append(read.Findings, picked.Findings...)
		res.Aside = append(res.Aside, picked.Aside...)
		if q.Read == nil && len(q.Files.Runs) == 0 {
			res.Findings.Add(finding.Finding{Code: "session-not-stated", Severity: finding.Doubt, Found: "no runs file: replicates of one lot are taken as duplicates of one session",
				Want: "kind, day and instrument of each run", Do: "give a runs file, so that retests and other days are told apart"})
		}
		groups = fromSessions(picked.Sessions)
	} else {
		res.Source = "table"
		t, fl, err := dataset.ReadTable(q.Table)
		if err != nil {
			return nil, err
		}
		res.Findings = append(fl, finding.Finding{Code: "session-not-stated", Severity: finding.Note, Found: "a table holds n and SD of all runs pooled for a lot: of other days and instruments too, if there were any",
			Do: "give the runs themselves for repeatability by instrument"})
		groups = fromTable(t)
	}
	duplicated := false
	for _, g := range groups {
		out := RepeatGroup{Method: g.method, Instrument: g.instrument, Runs: g.runs, Lots: g.lots, Features: []RepeatOfAFeature{}}
		for t := range trait.Each() {
			if cells := g.cells[t.ID]; len(cells) > 0 {
				f := estimate(t.ID, cells)
				duplicated = duplicated || f.RepeatSD != nil
				out.Features = append(out.Features, f)
			}
		}
		res.Groups = append(res.Groups, out)
	}
	if !duplicated {
		return nil, &job.NothingUsableError{What: "no lot with duplicates of one session: repeatability cannot be told", Findings: res.Findings}
	}
	return res, nil
}

// cell is one session of a feature: n figures, their mean and SD. Values and runs are
// empty for a table.
type cell struct {
	lot, day string
	n        int
	mean, sd float64 // sd for n ≥ 2
	values   []float64
	runs     []string
}

// group is the cells of one method and instrument, by feature.
type group struct {
	method, instrument string
	runs, lots         int
	cells              map[string][]cell
}

func groupOf(groups *[]group, method, instrument string) *group {
	k := slices.IndexFunc(*groups, func(g group) bool { return g.method == method && g.instrument == instrument })
	if k < 0 {
		k = len(*groups)
		*groups = append(*groups, group{method: method, instrument: instrument, cells: map[string][]cell{}})
	}
	return &(*groups)[k]
}

func fromSessions(sessions []session.Session) []group {
	var groups []group
	seen := map[[3]string]bool{}
	for _, s := range sessions {
		g := groupOf(&groups, s.Method, s.Instrument)
		g.runs += len(s.Runs)
		if key := [3]string{s.Method, s.Instrument, s.Lot}; !seen[key] {
			seen[key] = true
			g.lots++
		}
		for t := range trait.Each() {
			c := cell{lot: s.Lot, day: s.Day}
			for _, r := range s.Runs {
				if v, ok := r.Features.Get(t.ID); ok {
					c.values, c.runs = append(c.values, v), append(c.runs, nameOf(r))
				}
			}
			if len(c.values) == 0 {
				continue
			}
			sum := summary(c.values)
			c.n, c.mean, c.sd = len(c.values), sum.Mean, sum.SD
			g.cells[t.ID] = append(g.cells[t.ID], c)
		}
	}
	return groups
}

func nameOf(r *run.Run) string {
	if r.Run != "" {
		return r.Run
	}
	return "replicate " + r.Replicate
}

// fromTable takes NAME, NAME_n and NAME_sd of features. A lot stands in a table once
// for each product: its first row counts.
func fromTable(t *dataset.Table) []group {
	var groups []group
	type key struct{ lot, method string }
	seen := map[key]bool{}
	for row := range t.Len() {
		counted := map[string]bool{}
		for _, column := range t.Columns() {
			id, method := trait.Split(column)
			if x, ok := trait.Lookup(id); !ok || x.ID != id || x.Role != trait.RoleFeature {
				continue
			}
			if method == "" {
				method, _ = t.Text("method", row)
			}
			mean, ok := t.Number(column, row)
			if !ok || seen[key{t.Lot(row), method}] {
				continue
			}
			g := groupOf(&groups, method, "")
			c := cell{lot: t.Lot(row), n: 1, mean: mean}
			if n, ok := t.Number(column+"_n", row); ok && n >= 2 {
				if sd, ok := t.Number(column+"_sd", row); ok && sd >= 0 {
					c.n, c.sd = int(n), sd
				}
			}
			g.cells[id] = append(g.cells[id], c)
			if !counted[method] {
				counted[method] = true
				g.lots++
				g.runs += c.n
			}
		}
		for method := range counted { // in no order: a set is filled
			seen[key{t.Lot(row), method}] = true
		}
	}
	return groups
}

func summary(values []float64) (s struct{ Mean, SD float64 }) {
	r, err := precision.Repeatability([][]float64{values})
	if err != nil { // one value
		s.Mean = values[0]
		return s
	}
	s.Mean, s.SD = r.Mean, r.SD
	return s
}
