package verdict

import "flourcast/eval/direction"

// Standings, outcomes, grades.
const (
	FitForUse    = "fit for use"
	Provisional  = "provisional"
	NotFitForUse = "not fit for use"

	Pass        = "pass"
	Caution     = "caution"
	Fail        = "fail"
	NotAssessed = "not assessed"

	RanksLots       = "ranks lots"
	ScreensLots     = "screens lots"
	ControlsQuality = "controls quality"
)

// Evidence is what is known of a model. A nil part is not assessed.
type Evidence struct {
	Response     string
	Lots         int
	Q2           *float64 // cross-validated, choices made inside
	PermutationP *float64
	Directions   []direction.Answer
	Protein      *Gain
	CropYears    int // with enough lots each (Thresholds.LotsPerYear)
	Years        *Years
	Coverage     *Coverage
	Reference    *Reference
	OneLot       *OneLot
	Data         *Data

	RPD           *float64 // SD of the response / RMSECV
	IntervalWidth *float64 // of a forecast at level 0.90, response units
	SpecWidth     *float64 // high − low of a two-sided specification

	Overrides  []Override
	Thresholds *Thresholds // nil: Defaults()
}

// Gain is what the model adds beyond protein alone: the difference in Q² with its 95 % interval.
type Gain struct{ Value, Low, High float64 }

// Years is leave-one-crop-year-out: Q² pooled over all years left out, and the worst year.
type Years struct {
	Q2      float64
	Worst   string
	WorstQ2 *float64
}

// Coverage is how many of N lots of years left out fell inside their interval at Level.
type Coverage struct {
	Inside, N int
	Level     float64
}

// Reference compares the model's error with the error of the response itself.
type Reference struct {
	RMSECV float64
	SE     float64 // of a lot mean of the response
	DF     float64
}

// OneLot names the lot without which the standing or a direction changes; Lot "" when none does.
type OneLot struct{ Lot, Changes string }

// Data is what the data themselves gave to doubt.
type Data struct {
	Doubts int
	Split  bool // replicates of one lot stood in training and test
	Leak   bool
	Detail string
}

// Override is a contradiction that a person has decided to accept.
type Override struct {
	Rule   string `json:"rule"`
	Reason string `json:"reason"`
	By     string `json:"by"`
}

// Thresholds are the limits of the checks.
type Thresholds struct{}

// Verdict is the answer.
type Verdict struct {
	Standing    string     `json:"standing"`
	Grade       string     `json:"grade"`
	GradeReason string     `json:"grade_reason"`
	Checks      []Check    `json:"checks"`
	Sentence    string     `json:"sentence"`
	Overrides   []Override `json:"overrides"`
}

// Check is one check's answer.
type Check struct {
	Name      string   `json:"name"`
	Outcome   string   `json:"outcome"`
	Figure    *float64 `json:"figure"`
	Threshold *float64 `json:"threshold"`
	Detail    string   `json:"detail"`
	Cure      string   `json:"cure"`
}

func Defaults() Thresholds { return Thresholds{} }

func Judge(e Evidence) Verdict { panic("verdict: not built yet") }
