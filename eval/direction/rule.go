package direction

import (
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Rule is one published or commonly held direction: how a response moves with a
// feature, for a product, a solvent and a kind of response.
type Rule struct {
	ID         string        `json:"id"`
	Product    string        `json:"product"`
	Feature    string        `json:"feature"`
	Solvent    trait.Solvent `json:"solvent"` // or Any
	Response   string        `json:"response"`
	Kind       string        `json:"kind"`
	Sign       string        `json:"sign"`
	Standing   string        `json:"standing"`
	R          *float64      `json:"r"`
	N          *int          `json:"n"`
	CILow      *float64      `json:"ci_low"`
	CIHigh     *float64      `json:"ci_high"`
	Conditions string        `json:"conditions"`
	Evidence   string        `json:"evidence"`
	Source     string        `json:"source"`
	Remark     string        `json:"remark"`
}

// Any is the solvent of a rule that holds whatever the paste was made with.
const Any trait.Solvent = "any"

// Signs, standings.
const (
	Rises   = "+"
	Falls   = "-"
	None    = "0"
	Optimum = "optimum"

	Established = "established"
	Contested   = "contested"
	Contextual  = "contextual"
)

func Builtin() []Rule { panic("direction: not built yet") }

func ReadRules(name string, data []byte) ([]Rule, finding.List) { panic("direction: not built yet") }
