package blending

import (
	"flourcast/finding"
	"flourcast/forecast/money"
	"flourcast/study/blendrun"
)

// Line is one flour of the recipe.
type Line struct {
	Flour  string        `json:"flour"`
	Share  float64       `json:"share"`
	Price  money.Amount  `json:"price"`
	StockT *float64      `json:"stock_t"`
	Tonnes *float64      `json:"tonnes,omitempty"`
	Cost   *money.Amount `json:"cost,omitempty"` // of those tonnes
}

// Limit is what became of one limit. Limit is what was asked for, Held what the blend was
// solved for (drawn in by Confidence). Saves is what relaxing it by one unit saves per
// tonne of blend. Probability is that of keeping the limits of this column, from the
// deviations of own blends; absent without.
type Limit struct {
	Column      string   `json:"column"` // or stock_t
	Flour       string   `json:"flour,omitempty"`
	Side        string   `json:"side"`
	Limit       float64  `json:"limit"`
	Held        float64  `json:"held"`
	Value       float64  `json:"value"`
	Kept        bool     `json:"kept"`
	Binds       bool     `json:"binds"`
	Saves       float64  `json:"saves"`
	Probability *float64 `json:"probability"`
}

// Expected is one property of the blend. Exact says that the rule is one of mass. ByMass
// and ByLog are what the two stated rules give, for pasting figures; their span is the
// least doubt about the rule. SD is by how much OwnBlends of the laboratory's lay off the
// rule, with DF degrees of freedom; both absent without.
type Expected struct {
	Column    string   `json:"column"`
	Rule      string   `json:"rule"`
	Exact     bool     `json:"exact"`
	Value     float64  `json:"value"`
	ByMass    *float64 `json:"by_mass"`
	ByLog     *float64 `json:"by_log"`
	SD        *float64 `json:"sd"`
	DF        int      `json:"df,omitempty"`
	Bias      *float64 `json:"bias,omitempty"`
	OwnBlends int      `json:"own_blends"`
}

// Relaxed is a limit of a conflict. Needed is what the nearest blend has.
type Relaxed struct {
	Column string  `json:"column"`
	Flour  string  `json:"flour,omitempty"`
	Side   string  `json:"side"`
	Limit  float64 `json:"limit"`
	Needed float64 `json:"needed"`
}

// Result is what `blend` prints. Shares names every flour that could be used. Cost is per
// tonne of blend, Total of Tonnes; MostT is what the stock allows of this blend. When
// Feasible is false Shares is empty, Cost absent, and Binding the limits that conflict.
type Result struct {
	Schema       string              `json:"schema"`
	Stock        string              `json:"stock"`
	Feasible     bool                `json:"feasible"`
	Stated       bool                `json:"stated"` // the shares were given, not found
	Mixing       string              `json:"mixing"`
	Currency     string              `json:"currency,omitempty"`
	Shares       map[string]float64  `json:"shares"`
	Cost         *money.Amount       `json:"cost"`
	Binding      []string            `json:"binding"`
	ShadowPrices map[string]float64  `json:"shadow_prices"`
	Recipe       []Line              `json:"recipe"`
	Limits       []Limit             `json:"limits"`
	Expected     []Expected          `json:"expected"`
	Tonnes       *float64            `json:"tonnes,omitempty"`
	Total        *money.Amount       `json:"total,omitempty"`
	MostT        *float64            `json:"most_t"`
	Conflict     []Relaxed           `json:"conflict,omitempty"`
	Nearest      []Relaxed           `json:"nearest,omitempty"`
	Compared     []blendrun.Compared `json:"compared,omitempty"`
	Ratio        *Ratio              `json:"ratio,omitempty"`
	Confidence   float64             `json:"confidence,omitempty"`
	RowsRead     int                 `json:"rows_read"`
	RowsAccepted int                 `json:"rows_accepted"`
	RowsRefused  int                 `json:"rows_refused"`
	Findings     finding.List        `json:"findings"`
	Advice       string              `json:"advice"`
}
