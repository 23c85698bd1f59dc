package direction

import (
	"context"

	"flourcast/dataset/trait"
)

// FeatureColumn is one feature over the rows of an Evidence. Present nil: all
// are present. Solvent "": the Evidence's.
type FeatureColumn struct {
	ID       string
	X        []float64
	Present  []bool
	RepeatSD *float64
	Solvent  trait.Solvent
}

// Evidence is what a laboratory measured: one row a lot (rows of one lot are
// averaged first).
type Evidence struct {
	Product  string
	Solvent  trait.Solvent
	Response string
	Kind     string // instrumental | preference
	Lots     []string
	Y        []float64
	Features []FeatureColumn
	Protein  *FeatureColumn
	Year     []string // "" where unknown; nil: none known
}

// Outcomes.
const (
	Confirmed    = "confirmed"
	Contradicted = "contradicted"
	CannotTell   = "cannot tell"
)

// Answer is one rule put to the data.
type Answer struct {
	Rule         Rule         `json:"rule"`
	Feature      string       `json:"feature"` // the column that was tested
	Applies      bool         `json:"applies"` // product and solvent are the rule's
	Outcome      string       `json:"outcome"`
	Code         string       `json:"code"`
	Reason       string       `json:"reason"`
	R            *float64     `json:"r"`
	Low          *float64     `json:"low"`
	High         *float64     `json:"high"`
	N            int          `json:"n"`
	Needed       *int         `json:"needed"` // lots that would be needed
	Within       *Correlation `json:"within_year"`
	GivenProtein *Correlation `json:"given_protein"`
}

// Correlation is a correlation with its 95 % interval.
type Correlation struct {
	R    float64 `json:"r"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	N    int     `json:"n"`
}

func Check(ctx context.Context, rules []Rule, e Evidence, seed uint64, cores int) ([]Answer, error) {
	panic("direction: not built yet")
}
