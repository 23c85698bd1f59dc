package pairing

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/forecast/pairs"
	"flourcast/study/job"
)

// DoseSeries is a fitted series, the dose for the target, and the lots that were
// screened by it. Line is the curve with its band.
type DoseSeries struct {
	Lot        string        `json:"lot"`
	Feature    string        `json:"feature"`
	DoseColumn string        `json:"dose_column"`
	Points     []pairs.Point `json:"points"`
	Curve      string        `json:"curve"` // line, parabola; of the logarithm
	SD         float64       `json:"sd_about_the_curve"`
	DF         float64       `json:"df"`
	EffectP    *float64      `json:"effect_p"`
	CurvatureP *float64      `json:"curvature_p"`
	LackOfFitP *float64      `json:"lack_of_fit_p"`
	Low        pairs.Point   `json:"low"` // ends of the series, on the curve
	High       pairs.Point   `json:"high"`
	Line       []Band        `json:"line"`
	Target     *float64      `json:"target"`
	Dose       *pairs.Dose   `json:"dose"`
	Screened   []Screened    `json:"screened"`
}

// Band is the curve at a dose with the band of its mean.
type Band struct {
	Dose  float64 `json:"dose"`
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Screened is a lot without added amylase and the dose that it acts like; without
// one, Reason says why.
type Screened struct {
	Lot        string      `json:"lot"`
	Mean       float64     `json:"mean"`
	N          int         `json:"n"`
	Equivalent *pairs.Dose `json:"equivalent"`
	Reason     string      `json:"reason,omitempty"`
}

// enzyme is the caution of added amylase; from memory.
var enzyme = method.Caution{Topic: "Enzyme", Text: "Fungal amylase is an enzyme: its dust sensitises lungs and can cause asthma. Weigh it under extraction, follow its safety data sheet, and declare it where local rules ask for that."}

const linePoints = 41

func (p *paired) dose() error {
	if p.q.Feature == "" {
		return &job.RequestError{Found: "no feature", Want: "the column that the dose moves: peak_mPas, breakdown_mPas, a stirring number", Do: "name it with --feature"}
	}
	if !p.t.IsNumber(p.q.Feature) {
		return unknown(p.t, p.q.Feature, "a column of figures")
	}
	column, err := p.doseColumn()
	if err != nil {
		return err
	}
	lot, points, screened, err := p.series(column)
	if err != nil {
		return err
	}
	s, err := pairs.NewSeries(points, p.q.Log)
	if err != nil {
		return &job.NothingUsableError{What: "no series of " + p.q.Feature + " over " + column + ": " + err.Error(), Findings: p.out.Findings}
	}
	d := &DoseSeries{Lot: lot, Feature: p.q.Feature, DoseColumn: column, Points: s.Points, Curve: []string{"", "line", "parabola"}[s.Degree], SD: s.SD, DF: s.DF,
		EffectP: s.Effect, CurvatureP: s.Curvature, LackOfFitP: s.LackOfFit, Target: p.q.Target, Screened: []Screened{}, Line: []Band{}}
	if s.Log {
		d.Curve += " of the logarithm"
	}
	d.Low, d.High = s.Range()
	for i := range linePoints {
		at := d.Low.Dose + (d.High.Dose-d.Low.Dose)*float64(i)/(linePoints-1)
		v, low, high := s.Band(at, p.q.Level)
		d.Line = append(d.Line, Band{at, v, low, high})
	}
	if p.q.Target != nil {
		dose, err := s.DoseFor(*p.q.Target, p.q.Level)
		if err != nil {
			return refused("target ", err)
		}
		d.Dose = &dose
	}
	for _, x := range screened {
		if dose, err := s.Equivalent(x.Mean, x.N, p.q.Level); err != nil {
			x.Reason = err.Error()
		} else {
			x.Equivalent = &dose
		}
		d.Screened = append(d.Screened, x)
	}
	p.out.Dose = d
	p.out.Cautions = append(p.out.Cautions, method.Method{}.Cautions()...)
	p.out.Cautions = append(p.out.Cautions, enzyme)
	p.doseFindings(d)
	return nil
}

func (p *paired) doseFindings(d *DoseSeries) {
	if d.LackOfFitP != nil && *d.LackOfFitP < 0.05 {
		p.add("lack-of-fit", finding.Doubt, d.Feature, fmt.Sprintf("the %s misses the means of repeated doses by more than they scatter (p = %.2g)", d.Curve, *d.LackOfFitP), "a curve that fits",
			"try --log, or take doses nearer to the target only")
	}
	if d.LackOfFitP == nil {
		p.add("doses-not-repeated", finding.Note, d.DoseColumn, "too few doses, or none repeated: whether the curve fits was not tested", "", "test each dose twice")
	}
	if d.Dose != nil && (d.Dose.Low == nil || d.Dose.High == nil) {
		p.add("interval-beyond-series", finding.Doubt, d.DoseColumn, "the interval of the dose goes beyond the series", "a target well within it", "extend the series on that side")
	}
}

// doseColumn is the column named, or the one whose name says dose.
func (p *paired) doseColumn() (string, error) {
	if p.q.DoseColumn != "" {
		if !p.t.IsNumber(p.q.DoseColumn) {
			return "", unknown(p.t, p.q.DoseColumn, "a column of doses")
		}
		return p.q.DoseColumn, nil
	}
	var found []string
	for _, c := range numbers(p.t) {
		if c == "dose" || strings.HasPrefix(c, "dose_") {
			found = append(found, c)
		}
	}
	if len(found) != 1 {
		return "", &job.RequestError{Found: fmt.Sprintf("%d columns called dose or dose_…", len(found)), Want: "one", Do: "name it with --dose-column"}
	}
	return found[0], nil
}

// series parts the rows into those of the lot that amylase was added to and lots
// without a dose, to be screened.
func (p *paired) series(column string) (lot string, points []pairs.Point, screened []Screened, err error) {
	var lots []string
	at := map[string]int{}
	for row := range p.t.Len() {
		name := p.t.Lot(row)
		v, ok := p.t.Number(p.q.Feature, row)
		dose, dosed := p.t.Number(column, row)
		switch {
		case !ok:
			p.add("row-without-figure", finding.Doubt, p.q.Feature, "no figure of lot "+name, "a figure in every row", "the row is left out; fill it in")
		case dosed && (p.q.Lot == "" || name == p.q.Lot):
			if points = append(points, pairs.Point{Dose: dose, Value: v}); !slices.Contains(lots, name) {
				lots = append(lots, name)
			}
		case !dosed:
			k, known := at[name]
			if !known {
				k = len(screened)
				at[name] = k
				screened = append(screened, Screened{Lot: name})
			}
			x := &screened[k]
			x.Mean = (x.Mean*float64(x.N) + v) / float64(x.N+1)
			x.N++
		}
	}
	switch {
	case len(lots) == 0:
		return "", nil, nil, &job.NothingUsableError{What: "no row with a dose and " + p.q.Feature, Findings: p.out.Findings}
	case len(lots) > 1:
		return "", nil, nil, &job.RequestError{Found: "doses of " + some(lots, 8), Want: "a series of one lot", Do: "choose it with --lot"}
	}
	return lots[0], points, screened, nil
}
