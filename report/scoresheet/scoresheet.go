// Package scoresheet writes a model as a workbook (XLSX, ISO/IEC 29500) that scores
// one lot with formulas: no macros, nothing that only one spreadsheet program knows.
//
//  1. Score has the verdict and the cautions on top, then the answer, then the cells
//     that a person fills: method, limits, the lot's figures. It is open; what is meant
//     to be typed into is marked.
//  2. Model has the equation and the domain, Folds and Errors what a jackknife+ or CV+
//     interval takes, About where it all comes from and what is not checked.
//  3. Every formula has its value written beside it, for readers that work nothing out.
//
// A lot outside what the model was calibrated on gets no figure but a hold; so does one
// with a figure missing. A model that is not fit for use decides nothing. The package
// writes formulas and computes nothing itself.
package scoresheet

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/domain"
	"flourcast/forecast"
	"flourcast/report/phrase"
	"flourcast/study/takeaway"

	"github.com/xuri/excelize/v2"
)

// The sheets. Score is where a person works.
const (
	Score  = "Score"
	Model  = "Model"
	Folds  = "Folds"
	Errors = "Errors"
	About  = "About"
)

// OutsideText stands in place of the forecast of a lot outside the domain.
const OutsideText = "outside the calibrated range: hold"

// book is a workbook being laid out.
type book struct {
	result         *takeaway.Result
	title, verdict string
	sheets         []*grid
	finish         []func(*excelize.File, map[style]int) error
	in             inputs
	score          *grid
	model          modelSheet
}

// inputs are the addresses, from other sheets, of what a person fills.
type inputs struct {
	first     int // row of the first feature
	method    string
	low, high string // limits
	accept    string
	reject    string
	figures   string // span of the features' figures
}

// Columns of Score.
const (
	colLabel = iota + 1
	colUnit
	colLot
	colFrom
	colTo
	colAverage
	colStands
)

func layOut(r *takeaway.Result) *book {
	b := &book{result: r, score: newGrid(Score, 42, 10, 16, 17, 13, 13, 16)}
	b.title = phrase.First(phrase.Label(r.Response)) + " forecast of one lot"
	if r.Product != "" {
		b.title = phrase.First(phrase.Label(r.Response)) + " of " + phrase.Product(r.Product) + ": forecast of one lot"
	}
	b.verdict = phrase.Verdict(r.Standing, r.Sentence)
	row := b.top()
	answers := row
	row += 12 // the answers are filled in once the model's cells are known
	b.ask(row)
	b.layModel()
	b.answer(answers)
	b.checkFeatures()
	b.sheets = append([]*grid{b.score}, b.sheets...)
	b.sheets = append(b.sheets, b.about())
	b.choices()
	return b
}

// top is title, notice, verdict and cautions; it returns the next free row.
func (b *book) top() int {
	g, r, row := b.score, b.result, 1
	say := func(s string, st style) {
		g.wide(row, colStands, s, st, 1+len(s)/105)
		row++
	}
	say(b.title, styleTitle)
	g.tall[1] = 22
	if r.Notice != "" {
		say(r.Notice, styleWarning)
	}
	st := styleVerdict
	if !r.FitForUse() {
		st = styleWarning
	}
	say(b.verdict, st)
	for _, o := range r.Overrides {
		say("Overridden: "+o, styleWarning)
	}
	for _, c := range r.Cautions {
		say(c, styleWords)
	}
	return row + 1
}

// ask lays out the cells that a person fills.
func (b *book) ask(row int) {
	g, r := b.score, b.result
	line := func(label, unit string, input cell, remark string) string {
		g.line(row, colLabel, text(label), text(unit), input, text(remark).in(styleFaint))
		row++
		return of(g, row-1, colLot)
	}
	g.wide(row, colStands, "Type into the shaded cells", styleHeading, 1)
	row++
	line("lot", "", cell{}.in(styleInput), "")
	if r.Method != "" {
		b.in.method = line("pasting method of the runs", "", cell{}.in(styleInput), "the model is for "+r.Method+" and holds lots of any other")
	}
	unit := unitOf(r.Response)
	low, high := cell{}.in(styleInput), cell{}.in(styleInput)
	if r.Spec != nil {
		if r.Spec.Low != nil {
			low.value = *r.Spec.Low
		}
		if r.Spec.High != nil {
			high.value = *r.Spec.High
		}
	}
	b.in.low = line("lower limit of "+phrase.Label(r.Response), unit, low, "leave empty where there is none")
	b.in.high = line("upper limit of "+phrase.Label(r.Response), unit, high, "leave empty where there is none")
	b.in.accept = line("accept from a probability of", "", figure(r.Scorer.Rule.Accept).in(styleInput), "agree both beforehand")
	b.in.reject = line("reject up to a probability of", "", figure(r.Scorer.Rule.Reject).in(styleInput), "")
	row++
	g.line(row, colLabel, text("Figures of the lot (means of its runs)").in(styleHeading), text("unit").in(styleHeading), text("this lot").in(styleHeading),
		text("calibrated from").in(styleHeading), text("to").in(styleHeading), text("average").in(styleHeading), text("stands").in(styleHeading))
	row++
	b.in.first = row
	for j, f := range r.Scorer.Features {
		c, d := r.Scorer.Domain.Bounds[j].Calibrated, decimalsOf(f.Name)
		g.line(row, colLabel, text(f.Label), text(f.Unit), cell{}.in(styleInput), figure(c[0]).in(d), figure(c[1]).in(d), figure(f.Average).in(d))
		row++
	}
	b.in.figures = span(g, b.in.first, colLot, row-1, colLot)
}

// answer lays out the answers from row on.
func (b *book) answer(row int) {
	g, r, m := b.score, b.result, &b.model
	unit, decimals := unitOf(r.Response), decimalsOf(r.Response)
	g.wide(row, colStands, "Answer", styleHeading, 1)
	line := func(label, unit, f string, st style, remark string) {
		row++
		g.line(row, colLabel, text(label), text(unit), formula(f).in(st), text(remark).in(styleFaint))
	}
	missing := fmt.Sprintf(`COUNT(%s)<%d`, b.in.figures, len(r.Scorer.Features))
	known := func(f string) string { // f where the lot may be given a figure
		return fmt.Sprintf(`IF(%s,"–",IF(%s="%s","–",%s))`, missing, m.where, domain.Outside, f)
	}
	line("decision", "", b.decision(missing), styleDecision, "")
	g.merged = append(g.merged, [3]int{row, colLot, colStands})
	line("forecast of "+phrase.Label(r.Response), unit, fmt.Sprintf(`IF(%s,"a figure is missing: hold",IF(%s="%s","%s",%s))`, missing, m.where, domain.Outside, OutsideText, m.value), decimals.bold(), "")
	kind := fmt.Sprintf("%.3g %% interval (%s)", 100*r.Level, r.IntervalKind)
	if f := r.Scorer.Folds; f != nil && !f.Finite {
		kind = f.Reason
	}
	line("from", unit, known(m.low), decimals, kind)
	line("to", unit, known(m.high), decimals, "")
	if m.se != "" {
		line("standard error", unit, known(m.se), decimals.finer(), "normal theory")
	}
	line("probability of meeting the limits", "", known(fmt.Sprintf(`IF(COUNT(%s,%s)=0,"no limits",%s)`, b.in.low, b.in.high, m.probability)), style{"figure", 3}, m.probabilityWords)
	if m.counted != "" {
		line("the same, counted from errors", "", known(fmt.Sprintf(`IF(COUNT(%s,%s)=0,"no limits",%s)`, b.in.low, b.in.high, m.counted)), style{"figure", 3}, "without a distribution")
	}
	line("calibrated range", "", fmt.Sprintf(`IF(%s,"–",%s)`, missing, m.where), styleWords, "inside, edge or outside; outside is held")
	line("T² (how far out)", "", fmt.Sprintf(`IF(%s,"–",%s)`, missing, m.t2), style{"figure", 2}, fmt.Sprintf("edge above %.3g, outside above %.3g", r.Scorer.Domain.T2.Edge, r.Scorer.Domain.T2.Outer))
	line("Q (how unlike their pattern)", "", fmt.Sprintf(`IF(%s,"–",%s)`, missing, m.q), style{"figure", 3}, fmt.Sprintf("edge above %.3g, outside above %.3g", r.Scorer.Domain.Q.Edge, r.Scorer.Domain.Q.Outer))
}

// decision holds for whatever speaks against deciding, in the order in which a person
// would mend it; then it goes by the rule.
func (b *book) decision(missing string) string {
	r, m := b.result, &b.model
	if r.NotFit() {
		return `"hold: the model is ` + r.Standing + `"`
	}
	f := fmt.Sprintf(`IF(%[1]s>=%[2]s,"%[3]s",IF(%[1]s<=%[4]s,"%[5]s","hold: too unsure to decide by, measure"))`, m.probability, b.in.accept, forecast.Accept, b.in.reject, forecast.Reject)
	hold := func(when, why string) { f = fmt.Sprintf(`IF(%s,"hold: %s",%s)`, when, why, f) }
	hold(fmt.Sprintf(`OR(NOT(ISNUMBER(%[1]s)),NOT(ISNUMBER(%[2]s)),%[2]s>=%[1]s)`, b.in.accept, b.in.reject), "state the two probabilities, reject below accept")
	hold(fmt.Sprintf(`AND(COUNT(%[1]s,%[2]s)=2,%[1]s>=%[2]s)`, b.in.low, b.in.high), "the lower limit is not below the upper one")
	f = fmt.Sprintf(`IF(COUNT(%s,%s)=0,"no limits given: nothing is decided",%s)`, b.in.low, b.in.high, f)
	hold(fmt.Sprintf(`OR(ISTEXT(%s),ISTEXT(%s))`, b.in.low, b.in.high), "a limit is not a number")
	if folds := r.Scorer.Folds; folds != nil && !folds.Finite {
		hold("TRUE", folds.Reason)
	}
	hold(fmt.Sprintf(`%s="%s"`, m.where, domain.Outside), "outside the calibrated range")
	if b.in.method != "" {
		hold(fmt.Sprintf(`TRIM(%s)<>"%s"`, b.in.method, quoted(r.Method)), "the method is not "+quoted(r.Method)+", or not stated")
	}
	hold(missing, "a figure is missing or is not a number")
	return f
}

// checkFeatures says of each figure where it stands.
func (b *book) checkFeatures() {
	for j := range b.result.Scorer.Features {
		row := b.in.first + j
		b.score.set(row, colStands, formula(fmt.Sprintf(`IF(ISNUMBER(%s),%s,"type a number")`, at(row, colLot), b.model.stands(j))).in(styleWords))
	}
}

// choices gives the method's cell its choice, and the sheet its print form.
func (b *book) choices() {
	b.finish = append(b.finish, func(f *excelize.File, _ map[style]int) error {
		if b.in.method == "" || strings.ContainsAny(b.result.Method, `,"`) { // a list of choices cannot have them
			return nil
		}
		v := excelize.NewDataValidation(true)
		v.Sqref = strings.ReplaceAll(strings.TrimPrefix(b.in.method, Score+"!"), "$", "")
		if err := v.SetDropList([]string{b.result.Method, "another"}); err != nil {
			return err
		}
		return f.AddDataValidation(Score, v)
	}, func(f *excelize.File, _ map[style]int) error {
		portrait, fit, a4 := "portrait", 1, 9
		long := 0
		if err := f.SetPageLayout(Score, &excelize.PageLayoutOptions{Orientation: &portrait, Size: &a4, FitToWidth: &fit, FitToHeight: &long}); err != nil {
			return err
		}
		yes := true
		return f.SetSheetProps(Score, &excelize.SheetPropsOptions{FitToPage: &yes})
	})
}

// quoted is a text within a formula's quotes.
func quoted(s string) string { return strings.ReplaceAll(s, `"`, `""`) }

func unitOf(column string) string {
	t, _ := trait.Lookup(column)
	return t.Unit
}
