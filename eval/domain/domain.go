package domain

import "flourcast/model/design"

// Domain is what the calibration lots covered.
type Domain struct{ features []string }

// Placement says where a lot stands.
type Placement struct {
	Where    string   `json:"where"` // inside | edge | outside
	By       []string `json:"by"`    // features, heaviest first
	Reasons  []Reason `json:"reasons"`
	Leverage float64  `json:"leverage"`
	T2       float64  `json:"t2"`
	T2Limit  float64  `json:"t2_limit"`
	T2Outer  float64  `json:"t2_outer"`
	Q        float64  `json:"q"`
	QLimit   float64  `json:"q_limit"`
	QOuter   float64  `json:"q_outer"`
}

// Reason is one feature's part in a placement.
type Reason struct {
	Feature string  `json:"feature"`
	Test    string  `json:"test"` // range | t2 | q
	Value   float64 `json:"value"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	Share   float64 `json:"share"`
}

func Build(m *design.Matrix) (*Domain, error) { panic("domain: not built yet") }

func (d *Domain) Place(x []float64) Placement { panic("domain: not built yet") }

func (d *Domain) Features() []string { return d.features }

func (d *Domain) MarshalJSON() ([]byte, error) { panic("domain: not built yet") }

func (d *Domain) UnmarshalJSON(data []byte) error { panic("domain: not built yet") }
