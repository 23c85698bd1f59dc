package operating

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/record"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/stat/tolerance"
	"flourcast/study/job"
)

// ProductionRequest names a table with a row a lot, and the column that says which
// ran well in production. Share is what the limits are to hold of all lots that run
// well, Confidence how sure of that (both 0.95 when 0). What names the column that
// says what the trouble was; "" is "trouble" where the table has it.
type ProductionRequest struct {
	Table         *table.Table
	File          string
	TableFindings finding.List
	RanWell       string
	What          string
	Product       string
	Features      []string // nil: peak viscosity, breakdown, final viscosity, setback from trough, as far as there
	Share         float64
	Confidence    float64
}

// ProductionResult is what `window --ran-well` prints.
type ProductionResult struct {
	Schema     string          `json:"schema"`
	File       string          `json:"file"`
	Column     string          `json:"column"`
	Product    string          `json:"product"`
	Share      float64         `json:"share"`
	Confidence float64         `json:"confidence"`
	Rows       int             `json:"rows"`
	Well       int             `json:"well"`
	Trouble    int             `json:"trouble"`
	NotStated  int             `json:"not_stated"`
	Refused    int             `json:"refused"` // rows whose word is not known
	Needs      int             `json:"needs"`   // lots that ran well, for distribution-free limits
	Features   []FeatureWindow `json:"features"`
	Findings   finding.List    `json:"findings"`
}

// FeatureWindow is the window of one feature from the lots that ran well.
type FeatureWindow struct {
	Feature string `json:"feature"`
	Well    int    `json:"well"`    // lots with the figure
	Trouble int    `json:"trouble"` // likewise
	// Normal is mean ± k·SD of the lots that ran well; nil where it cannot be had.
	// AndersonDarling asks whether they may be taken for normal, NotNormal says that it
	// is doubtful; nil below 8 lots.
	Normal          *NormalLimits `json:"normal"`
	AndersonDarling *float64      `json:"anderson_darling"`
	NotNormal       bool          `json:"not_normal"`
	// Free are limits that hold whatever the distribution; nil below Needs lots.
	Free    *FreeLimits `json:"free"`
	Reason  string      `json:"reason,omitempty"` // why limits are missing
	Past    *PastLots   `json:"past"`             // by the normal limits
	Figures []Figure    `json:"figures"`
}

// NormalLimits are mean ± K·SD.
type NormalLimits struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
	K    float64 `json:"k"`
}

// FreeLimits are the Rank-th lot from either end.
type FreeLimits struct {
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	Rank       int     `json:"rank"`
	Confidence float64 `json:"confidence"`
}

// PastLots counts how past lots would have fared, each judged by limits made without
// it and its family; lots that had trouble are in no limits anyway.
type PastLots struct {
	WellInside     int `json:"well_inside"`
	WellOutside    int `json:"well_outside"`
	TroubleInside  int `json:"trouble_inside"`
	TroubleOutside int `json:"trouble_outside"`
}

// Figure is one lot.
type Figure struct {
	Lot     string  `json:"lot"`
	Value   float64 `json:"value"`
	RanWell bool    `json:"ran_well"`
	What    string  `json:"what,omitempty"`
}

// FromProduction makes windows of each feature. A row whose word is not known is
// refused with its place; one without a word is not stated and not counted. Errors:
// *job.RequestError for columns that are not there and impossible shares,
// *job.NothingUsableError when no lot ran well.
func FromProduction(q ProductionRequest) (*ProductionResult, error) {
	res := &ProductionResult{Schema: "flourcast.window_production/1", File: q.File, Column: q.RanWell, Product: q.Product, Share: orElse(q.Share, 0.95),
		Confidence: orElse(q.Confidence, 0.95), Features: []FeatureWindow{}, Findings: slices.Clone(q.TableFindings)}
	var err error
	if res.Needs, err = tolerance.Needs(res.Share, res.Confidence, tolerance.Both); err != nil {
		return nil, &job.RequestError{Field: "share", Found: err.Error(), Want: "a share and a confidence, each between 0 and 1"}
	}
	if !q.Table.Has(q.RanWell) {
		return nil, &job.RequestError{Field: "ran-well", Found: "no column " + q.RanWell, Want: "the column that says which lots ran well", Do: "name one of " + strings.Join(q.Table.Columns(), ", ")}
	}
	features, err := chosen(q)
	if err != nil {
		return nil, err
	}
	well, trouble := res.sort(q)
	if res.Well == 0 {
		return nil, &job.NothingUsableError{What: fmt.Sprintf("%s: no lot ran well by column %s", q.File, q.RanWell), Findings: res.Findings}
	}
	what := q.What
	if what == "" {
		what = "trouble"
	}
	for _, name := range features {
		res.Features = append(res.Features, featureWindow(q.Table, name, what, well, trouble, res))
	}
	return res, nil
}

// Leading are the figures that a window from production has where none is named.
var Leading = []string{"peak_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas"}

// chosen are the features asked for, or the leading ones that the table has.
func chosen(q ProductionRequest) ([]string, error) {
	if len(q.Features) > 0 {
		for _, f := range q.Features {
			if !q.Table.IsNumber(f) {
				return nil, &job.RequestError{Field: "feature", Found: "no column of figures " + f, Want: "a feature of the table", Do: "name one of " + strings.Join(q.Table.Columns(), ", ")}
			}
		}
		return q.Features, nil
	}
	var out []string
	for _, id := range Leading {
		for _, c := range q.Table.Columns() {
			if base, _ := trait.Split(c); base == id && q.Table.IsNumber(c) {
				out = append(out, c)
			}
		}
	}
	if out == nil {
		return nil, &job.RequestError{Field: "feature", Found: "no pasting feature in the table", Want: "the name of a feature"}
	}
	return out, nil
}

// sort parts the rows by what the notes say.
func (r *ProductionResult) sort(q ProductionRequest) (well, trouble []int) {
	for i := range q.Table.Len() {
		if p, ok := q.Table.Text("product", i); q.Product != "" && ok && p != q.Product {
			continue
		}
		r.Rows++
		word, ok := q.Table.Text(q.RanWell, i)
		ran, known := record.RanAs(word)
		switch {
		case !ok || strings.TrimSpace(word) == "":
			r.NotStated++
		case known && ran == record.Well:
			well = append(well, i)
		case known:
			trouble = append(trouble, i)
		default:
			r.Refused++
			r.Findings.Add(finding.Finding{Code: "note-not-read", Severity: finding.Refused, At: finding.Place{File: q.File, Row: i + 2, Column: q.RanWell}, Found: fmt.Sprintf("%q for lot %s", word, q.Table.Lot(i)),
				Want: record.RanWords(), Do: "write one of these"})
		}
	}
	r.Well, r.Trouble = len(well), len(trouble)
	return well, trouble
}

func featureWindow(t *table.Table, name, what string, well, trouble []int, r *ProductionResult) FeatureWindow {
	w := FeatureWindow{Feature: name, Figures: []Figure{}}
	var good, bad []float64
	var ranWell, ranBadly []judged
	for _, group := range []struct {
		rows []int
		well bool
		to   *[]float64
		past *[]judged
	}{{well, true, &good, &ranWell}, {trouble, false, &bad, &ranBadly}} {
		for _, i := range group.rows {
			v, ok := t.Number(name, i)
			if !ok {
				continue
			}
			*group.to = append(*group.to, v)
			family, ok := t.Text("family", i)
			if !ok {
				family = t.Lot(i)
			}
			*group.past = append(*group.past, judged{v, family})
			f := Figure{Lot: t.Lot(i), Value: v, RanWell: group.well}
			if !group.well {
				f.What, _ = t.Text(what, i)
			}
			w.Figures = append(w.Figures, f)
		}
	}
	w.Well, w.Trouble = len(good), len(bad)
	if a, doubtful, err := tolerance.AndersonDarling(good); err == nil {
		w.AndersonDarling, w.NotNormal = &a, doubtful
	}
	k, err := tolerance.Factor(len(good), r.Share, r.Confidence, tolerance.Both)
	var limits *NormalLimits
	if err == nil {
		limits, err = normalLimits(good, k)
	}
	if err != nil {
		w.Reason = err.Error()
		return w
	}
	w.Normal = limits
	w.Past = pastLots(ranWell, ranBadly, r.Share, r.Confidence)
	if f, ok, err := tolerance.Free(good, r.Share, r.Confidence, tolerance.Both); err == nil && ok {
		w.Free = &FreeLimits{Low: *f.Low, High: *f.High, Rank: f.Rank, Confidence: f.Confidence}
	} else {
		w.Reason = fmt.Sprintf("distribution-free limits need %d lots that ran well, there are %d", r.Needs, len(good))
	}
	return w
}

// normalLimits are mean ± k·SD of figures that differ.
func normalLimits(figures []float64, k float64) (*NormalLimits, error) {
	mean, sd, err := tolerance.Moments(figures)
	if err != nil {
		return nil, err
	}
	return &NormalLimits{Low: mean - k*sd, High: mean + k*sd, Mean: mean, SD: sd, K: k}, nil
}

// judged is a lot's figure, and the lots that it is related to.
type judged struct {
	value  float64
	family string
}

// pastLots judges each lot by the normal limits of the lots that ran well and are not
// of its family; k belongs to how many those are. It is nil where they give no limits.
func pastLots(good, bad []judged, share, confidence float64) *PastLots {
	var p PastLots
	for _, group := range []struct {
		lots            []judged
		inside, outside *int
	}{{good, &p.WellInside, &p.WellOutside}, {bad, &p.TroubleInside, &p.TroubleOutside}} {
		for _, lot := range group.lots {
			var others []float64
			for _, o := range good {
				if o.family != lot.family {
					others = append(others, o.value)
				}
			}
			k, err := tolerance.Factor(len(others), share, confidence, tolerance.Both)
			if err != nil {
				return nil
			}
			l, err := normalLimits(others, k)
			if err != nil {
				return nil
			}
			if lot.value >= l.Low && lot.value <= l.High {
				*group.inside++
			} else {
				*group.outside++
			}
		}
	}
	return &p
}
