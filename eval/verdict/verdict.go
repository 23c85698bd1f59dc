// Package verdict answers two questions about a model: may it be trusted, and
// what is it good for.
//
//  1. The caller gathers Evidence: plain figures that evaluation measured. What
//     it could not measure stays nil.
//  2. Judge puts each figure to its check against thresholds that are data. A
//     check answers pass, caution, fail or not assessed, with the figure, the
//     threshold, the reason and the cure.
//  3. Any fail makes the model not fit for use; any caution makes it provisional;
//     else it is fit for use. The grade says what a trusted model serves for.
//
// A check that the data cannot answer is not assessed and costs nothing, with two
// exceptions that are cautions: fewer than three crop years of five lots, and a
// model that was never tested against chance. It refuses to grade a model that is
// not fit for use. It computes no statistics on lots and knows no files.
//
// # In a few lines
//
// Hand in what was measured; nil is what was not:
//
//	v := verdict.Judge(verdict.Evidence{Response: "hardness_N", Lots: 48, Q2: &q2, PermutationP: &p})
//	fmt.Println(v.Standing, v.Grade, v.Sentence)
//	for _, c := range v.Checks {
//		fmt.Println(c.Name, c.Outcome, c.Detail, c.Cure)
//	}
package verdict

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/direction"
)

// Standings of a model.
const (
	FitForUse    = "fit for use"
	Provisional  = "provisional"
	NotFitForUse = "not fit for use"
)

// Outcomes of a check.
const (
	Pass        = "pass"
	Caution     = "caution"
	Fail        = "fail"
	NotAssessed = "not assessed"
)

// Grades of a trusted model, the least first.
const (
	RanksLots       = "ranks lots"
	ScreensLots     = "screens lots"
	ControlsQuality = "controls quality"
)

// Evidence is what is known of a model. A nil part was not measured.
type Evidence struct {
	Response     string
	Lots         int
	Q2           *float64 // cross-validated, every choice made inside the folds
	PermutationP *float64 // of the test against chance
	Directions   []direction.Answer
	Protein      *Gain
	CropYears    int // with enough lots each, see Thresholds.LotsPerYear
	Years        *Years
	Coverage     *Coverage
	Reference    *Reference
	OneLot       *OneLot
	Data         *Data

	RPD           *float64 // SD of the response over RMSECV
	IntervalWidth *float64 // of a forecast at level 0.90, in response units
	SpecWidth     *float64 // of a two-sided specification, in response units

	Overrides  []Override
	Thresholds *Thresholds // nil: Defaults
}

// Gain is what the model adds beyond protein alone: a difference of Q² with its
// 95 % interval.
type Gain struct{ Value, Low, High float64 }

// Years is leave-one-crop-year-out: Q² pooled over all lots, and the year that
// went worst.
type Years struct {
	Q2      float64
	Worst   string
	WorstQ2 *float64
}

// Coverage is how many of N lots of left-out years lay inside their interval at
// Level; Years tells it of each year, and may be nil.
type Coverage struct {
	Inside, N int
	Level     float64
	Years     []CoveredYear
}

// CoveredYear is Coverage of one left-out year.
type CoveredYear struct {
	Name      string
	Inside, N int
}

// Reference sets the model's error against the standard error of a lot mean of
// the response itself, which has DF degrees of freedom. N is the lots.
type Reference struct {
	RMSECV float64
	SE     float64
	DF     float64
}

// OneLot names the lot without which the standing or a direction changes, and
// what changes; Lot is empty when none does.
type OneLot struct{ Lot, Changes string }

// Data is what the data themselves gave to doubt: findings of doubt, replicates
// of one lot that stood in training and test at once, a leak. Detail is optional.
type Data struct {
	Doubts int
	Split  bool
	Leak   bool
	Detail string
}

// Override is the recorded reason for which a person goes on with a model
// although an established rule is contradicted. It needs rule and reason.
type Override struct {
	Rule   string `json:"rule"`
	Reason string `json:"reason"`
	By     string `json:"by"`
}

// Verdict is the answer. Overrides are those that were needed; Changed lists
// thresholds that are not the built-in ones.
type Verdict struct {
	Standing    string     `json:"standing"`
	Grade       string     `json:"grade"` // "" when not fit for use, or when no figure tells
	GradeReason string     `json:"grade_reason"`
	Checks      []Check    `json:"checks"`
	Sentence    string     `json:"sentence"`
	Overrides   []Override `json:"overrides"`
	Changed     []string   `json:"changed_thresholds"`
}

// Check is one check's answer. Figure and Threshold are absent where there is
// none.
type Check struct {
	Name      string   `json:"name"`
	Outcome   string   `json:"outcome"` // pass | caution | fail | not assessed
	Figure    *float64 `json:"figure"`
	Threshold *float64 `json:"threshold"`
	Detail    string   `json:"detail"`
	Cure      string   `json:"cure"`
}

// Judge answers every check and draws standing, grade and sentence from them. A
// figure that is not finite never passes.
func Judge(e Evidence) Verdict {
	t := Defaults()
	if e.Thresholds != nil {
		t = *e.Thresholds
	}
	j := judge{Evidence: e, t: t}
	v := Verdict{Overrides: []Override{}, Changed: t.Changed()}
	directions, used := j.directions()
	v.Overrides = append(v.Overrides, used...)
	v.Checks = []Check{j.enoughLots(), j.betterThanMean(), directions, j.covered(), j.beyondProtein(), j.acrossYears(),
		j.coverage(), j.reference(), j.oneLot(), j.data()}
	v.Standing = FitForUse
	for _, c := range v.Checks {
		switch {
		case c.Outcome == Fail:
			v.Standing = NotFitForUse
		case c.Outcome == Caution && v.Standing == FitForUse:
			v.Standing = Provisional
		}
	}
	if v.Standing != NotFitForUse {
		v.Grade, v.GradeReason = j.grade()
	}
	v.Sentence = j.sentence(v)
	return v
}

// judge carries the evidence and thresholds through the checks.
type judge struct {
	Evidence
	t Thresholds
}

// grade says what a trusted model serves for. With a two-sided specification of
// width W and forecast intervals of width I (level 0.90), W/I tells: a lot in the
// middle is accepted at probability 0.95 from W/I = 1.2, and half of the range
// accepts from 2 (our rule, common practice, no source). Else bands of RPD tell:
// below 2.0 ranks lots, from 2.0 screens lots, from 3.0 controls quality
// (Williams 2014, NIR News 25:22, from memory; the bands are somewhat arbitrary
// and depend on the spread of the set).
func (j judge) grade() (grade, reason string) {
	pick := func(v, screens, controls float64) string {
		switch {
		case v >= controls:
			return ControlsQuality
		case v >= screens:
			return ScreensLots
		}
		return RanksLots
	}
	if j.SpecWidth != nil && j.IntervalWidth != nil && *j.IntervalWidth > 0 && *j.SpecWidth > 0 {
		share := *j.SpecWidth / *j.IntervalWidth
		return pick(share, j.t.SpecScreens, j.t.SpecControls), fmt.Sprintf(
			"the specification is %s times as wide as a 90 %% forecast interval; from %s it screens lots, from %s it controls quality (our rule, no source)",
			short(share), stated(j.t.SpecScreens), stated(j.t.SpecControls))
	}
	if j.RPD != nil && *j.RPD > 0 {
		return pick(*j.RPD, j.t.RPDScreens, j.t.RPDControls), fmt.Sprintf(
			"RPD %s (SD of the response over the error of forecasts, %d lots); from %s it screens lots, from %s it controls quality (bands after Williams 2014, NIR News 25:22, from memory; they are somewhat arbitrary)",
			short(*j.RPD), j.Lots, stated(j.t.RPDScreens), stated(j.t.RPDControls))
	}
	return "", "neither RPD nor a specification was given"
}

// sentence says the verdict to a quality manager, the leading reason first.
func (j judge) sentence(v Verdict) string {
	name := label(j.Response)
	var because []string
	worst := Caution
	if v.Standing == NotFitForUse {
		worst = Fail
	}
	for _, c := range v.Checks {
		if c.Outcome == worst {
			because = append(because, c.Detail)
		}
	}
	more := ""
	if n := len(because) - 1; n == 1 {
		more = " (and one more reason)"
	} else if n > 1 {
		more = fmt.Sprintf(" (and %d more reasons)", n)
	}
	var s string
	switch v.Standing {
	case NotFitForUse:
		s = fmt.Sprintf("Not fit for use: do not decide on lots by this forecast of %s, because %s%s.", name, because[0], more)
	case Provisional:
		s = fmt.Sprintf("Provisional: use this forecast of %s beside your own tests, because %s%s%s.", name, because[0], more, serves(v.Grade))
	default:
		s = fmt.Sprintf("Fit for use: over %d lots this model forecasts %s better than their average does%s%s.", j.Lots, name, j.agreement(), serves(v.Grade))
	}
	for _, o := range v.Overrides {
		s += fmt.Sprintf(" Rule %s is contradicted and was overridden: %s.", o.Rule, strings.TrimSuffix(o.Reason, "."))
	}
	if len(v.Changed) > 0 {
		s += " Thresholds were changed: " + strings.Join(v.Changed, "; ") + "."
	}
	return s
}

func serves(grade string) string {
	switch grade {
	case RanksLots:
		return "; it ranks lots, which is a modest use"
	case ScreensLots:
		return "; it screens lots, and a lot near a limit needs its own test"
	case ControlsQuality:
		return "; it is precise enough to control quality"
	}
	return ""
}

// agreement names the first established rule that the data confirm.
func (j judge) agreement() string {
	for _, a := range j.Directions {
		if a.Applies && a.Rule.Standing == direction.Established && a.Outcome == direction.Confirmed {
			return ", and " + moves(a.Rule) + ", as is established"
		}
	}
	return ""
}

func moves(r direction.Rule) string {
	verb := " goes with "
	switch r.Sign {
	case direction.Rises:
		verb = " rises with "
	case direction.Falls:
		verb = " falls as "
		return label(r.Response) + verb + label(r.Feature) + " rises"
	}
	return label(r.Response) + verb + label(r.Feature)
}

// label is a trait's name in full words; an unknown column's own name.
func label(column string) string {
	if column == "" {
		return "the response"
	}
	return trait.Name(column)
}

// short writes a figure for a sentence: two decimals, a real minus sign, and an
// end to very large ones.
func short(v float64) string {
	switch {
	case math.IsNaN(v):
		return "not a number"
	case v > 999:
		return "above 999"
	case v < -999:
		return "below −999"
	}
	s := fmt.Sprintf("%.2f", v)
	if s == "-0.00" {
		s = "0.00"
	}
	return strings.Replace(s, "-", "−", 1)
}

// stated writes a figure that somebody set, a threshold or a level: without zeros
// that say nothing.
func stated(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(short(v), "0"), ".")
}
