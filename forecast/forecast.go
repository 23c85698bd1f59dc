package forecast

import (
	"flourcast/eval/domain"
	"flourcast/eval/interval"
)

// Decisions.
const (
	Accept = "accept"
	Hold   = "hold"
	Reject = "reject"
)

// Predictor is what a forecast needs of a fitted model; model.Fitted is one.
type Predictor interface {
	Predict(x []float64) float64
}

// Model is what a forecast needs to know of a fitted model.
type Model struct {
	Response      string
	Features      []string
	Method        string // "" when the table had none
	Fitted        Predictor
	Interval      interval.Interval
	Domain        *domain.Domain
	Standing      string // of the verdict
	StandingCause string // its sentence
	Overrides     []string
}

// Input is one new lot put to a model.
type Input struct {
	Lot      string
	Features map[string]float64 // by the model's feature names and units; a missing one is absent
	Method   string             // of the lot's runs, "" when unknown
	Problems []string           // why the runs themselves do not serve (failing run, method doubt); each holds
	Model    Model
	Spec     *Spec
	Level    float64 // of the interval
	Rule     *Rule   // nil: DefaultRule
}

// Rule is the decision rule: accept at probability ≥ Accept, reject at ≤ Reject, else hold.
type Rule struct {
	Accept float64 `json:"accept"`
	Reject float64 `json:"reject"`
}

// Forecast is the answer for one lot.
type Forecast struct {
	Lot         string   `json:"lot"`
	Response    string   `json:"response"`
	Value       *float64 `json:"value"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Level       float64  `json:"level"`
	Domain      string   `json:"domain"` // inside | edge | outside; "" when it could not be placed
	DomainBy    []string `json:"domain_by"`
	Probability *float64 `json:"probability"` // of meeting the spec
	Spec        string   `json:"spec"`
	Decision    string   `json:"decision"` // accept | hold | reject; "" without a spec and without a reason to hold
	Reasons     []string `json:"reasons"`
}

func Make(in Input) Forecast { panic("forecast: not built yet") }
