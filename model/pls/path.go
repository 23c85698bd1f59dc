package pls

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"flourcast/model"
)

// base is what all steps of a path share.
type base struct {
	rows         int
	scaling      model.Scaling
	xMean, scale []float64
	xss, yss     float64 // sums of squares of Z and of centred y
}

// component is one latent direction: weights w (length 1), rotation r (t = Z·r),
// loadings p, y loading q, and tᵀt.
type component struct {
	w, r, p []float64
	q, tt   float64
}

// orient makes the largest |w| positive (the first of equals).
func (c *component) orient() {
	at := 0
	for j, v := range c.w {
		if math.Abs(v) > math.Abs(c.w[at]) {
			at = j
		}
	}
	if c.w[at] < 0 {
		for j := range c.w {
			c.w[j], c.r[j], c.p[j] = -c.w[j], -c.r[j], -c.p[j]
		}
		c.q = -c.q
	}
}

// Path is a fit with 1…A components.
type Path struct {
	base
	components []component
	b          [][]float64 // [step] coefficients, original units
	yMeans     []float64   // [step] height at the means: see model.Standard.MeanAt
	cap        model.Cap
}

// solve adds up coefficients, b = Σ q·r/scale.
func (p *Path) solve(meanAt func(b []float64) float64) {
	sum := make([]float64, len(p.xMean))
	for _, c := range p.components {
		for j, r := range c.r {
			sum[j] += c.q * r / p.scale[j]
		}
		p.b, p.yMeans = append(p.b, slices.Clone(sum)), append(p.yMeans, meanAt(sum))
	}
}

// Len is the number of components.
func (p *Path) Len() int { return len(p.components) }

// At is the model with i + 1 components.
func (p *Path) At(i int) model.Fitted {
	if i < 0 || i >= len(p.components) {
		panic("pls: no such step")
	}
	return &Model{path: p, a: i + 1}
}

// Label is "3 components".
func (p *Path) Label(i int) string {
	if i == 0 {
		return "1 component"
	}
	return fmt.Sprint(i+1, " components")
}

// Cap tells whether the path is shorter than was asked for, and why.
func (p *Path) Cap() (model.Cap, bool) { return p.cap, p.cap.Given < p.cap.Asked }

// Model is a fit with a stated number of components.
type Model struct {
	path *Path
	a    int
}

// Kind is "pls".
func (m *Model) Kind() string { return "pls" }

// Predict evaluates the model; it panics when len(x) is not p.
func (m *Model) Predict(x []float64) float64 { return m.equation().Predict(x) }

// Linear is the model in original units.
func (m *Model) Linear() model.Linear { return m.equation().Linear() }

func (m *Model) equation() model.Equation {
	return model.Equation{XMean: m.path.xMean, Coefficients: m.path.b[m.a-1], YMean: m.path.yMeans[m.a-1]}
}

// DF is the number of components (common practice; the true number is rather
// higher).
func (m *Model) DF() float64 { return float64(m.a) }

// Complexity is the number of components.
func (m *Model) Complexity() model.Complexity {
	return model.Complexity{Name: "components", Value: float64(m.a)}
}

// Components is the number of components.
func (m *Model) Components() int { return m.a }

// Weights are w, [component][feature], each of length 1 with its largest figure
// positive.
func (m *Model) Weights() [][]float64 {
	return m.each(func(c component) []float64 { return c.w })
}

// Loadings are p, [component][feature]: Z is Σ t·pᵀ plus what is left.
func (m *Model) Loadings() [][]float64 {
	return m.each(func(c component) []float64 { return c.p })
}

// Rotations are r, [component][feature]: t = Z·r.
func (m *Model) Rotations() [][]float64 {
	return m.each(func(c component) []float64 { return c.r })
}

func (m *Model) each(part func(component) []float64) [][]float64 {
	out := make([][]float64, m.a)
	for a := range out {
		out[a] = slices.Clone(part(m.path.components[a]))
	}
	return out
}

// YLoadings are q, one a component: ŷ = ȳ + Σ q·t.
func (m *Model) YLoadings() []float64 {
	return m.per(func(c component) float64 { return c.q })
}

// ScoreSS are tᵀt of the training rows, one a component.
func (m *Model) ScoreSS() []float64 {
	return m.per(func(c component) float64 { return c.tt })
}

// XExplained is the share of the features' variance in each component,
// tᵀt·pᵀp/ΣZ².
func (m *Model) XExplained() []float64 {
	return m.per(func(c component) float64 { return c.tt * dot(c.p, c.p) / m.path.xss })
}

// YExplained is the share of the response's variance in each component, as
// calibrated: q²·tᵀt/Σ(y − ȳ)².
func (m *Model) YExplained() []float64 {
	return m.per(func(c component) float64 { return c.q * c.q * c.tt / m.path.yss })
}

func (m *Model) per(figure func(component) float64) []float64 {
	out := make([]float64, m.a)
	for a := range out {
		out[a] = figure(m.path.components[a])
	}
	return out
}

// Scores are t of a row in original units, one a component. It panics when
// len(x) is not p.
func (m *Model) Scores(x []float64) []float64 {
	if len(x) != len(m.path.xMean) {
		panic("pls: Scores needs as many figures as the model has features")
	}
	out := make([]float64, m.a)
	for j, v := range x {
		z := (v - m.path.xMean[j]) / m.path.scale[j]
		for a := range out {
			out[a] += z * m.path.components[a].r[j]
		}
	}
	return out
}

// LeverageAt is h(x) = 1/n + Σ t²/tᵀt: how far a row lies out, on the model's
// components.
func (m *Model) LeverageAt(x []float64) float64 {
	h := 1 / float64(m.path.rows)
	for a, t := range m.Scores(x) {
		h += t * t / m.path.components[a].tt
	}
	return h
}

// LeverageForm is LeverageAt in plain figures, for whoever has to work it out without
// this package:
//
//	h(x) = base + Σ_a (Σ_j root[j][a]·(x_j − centre_j))²
func (m *Model) LeverageForm() (base float64, centre []float64, root [][]float64) {
	for j, scale := range m.path.scale {
		row := make([]float64, m.a)
		for a := range row {
			c := m.path.components[a]
			row[a] = c.r[j] / (scale * math.Sqrt(c.tt))
		}
		root = append(root, row)
	}
	return 1 / float64(m.path.rows), slices.Clone(m.path.xMean), root
}

// VIP is each feature's importance in the projection,
//
//	√(p·Σ SS_a·w_ja² / Σ SS_a),  SS_a = q_a²·t_aᵀt_a
//
// over the model's components (Chong and Jun 2005, Chemometrics and Intelligent
// Laboratory Systems 78:103). The mean of VIP² is 1.
func (m *Model) VIP() []float64 {
	w := make([][]float64, m.a)
	ss := make([]float64, m.a)
	for a, c := range m.path.components[:m.a] {
		w[a], ss[a] = c.w, c.q*c.q*c.tt
	}
	return vip(w, ss)
}

func vip(w [][]float64, ss []float64) []float64 {
	out := make([]float64, len(w[0]))
	total := 0.0
	for a, s := range ss {
		total += s
		for j, v := range w[a] {
			out[j] += s * v * v
		}
	}
	for j := range out {
		out[j] = math.Sqrt(float64(len(out)) * out[j] / total)
	}
	return out
}

type payload struct {
	Rows      int           `json:"rows"`
	Scaling   model.Scaling `json:"scaling"`
	XMean     []float64     `json:"x_mean"`
	Scale     []float64     `json:"scale"`
	YMean     float64       `json:"y_mean"`
	XSS       float64       `json:"x_ss"`
	YSS       float64       `json:"y_ss"`
	Weights   [][]float64   `json:"weights"`
	Loadings  [][]float64   `json:"loadings"`
	Rotations [][]float64   `json:"rotations"`
	YLoadings []float64     `json:"y_loadings"`
	ScoreSS   []float64     `json:"score_ss"`
}

// MarshalJSON writes what Unmarshal reads.
func (m *Model) MarshalJSON() ([]byte, error) {
	b := m.path.base
	return json.Marshal(payload{b.rows, b.scaling, b.xMean, b.scale, m.path.yMeans[m.a-1], b.xss, b.yss, m.Weights(), m.Loadings(), m.Rotations(), m.YLoadings(), m.ScoreSS()})
}

// Unmarshal reads a saved model. Errors are *model.PayloadError or
// *model.SettingError.
func Unmarshal(data []byte) (*Model, error) {
	var s payload
	if err := model.DecodePayload("pls", data, &s); err != nil {
		return nil, err
	}
	scaling, err := s.Scaling.Check("pls")
	if err != nil {
		return nil, err
	}
	p, a := len(s.XMean), len(s.Weights)
	bad := &model.PayloadError{Kind: "pls", Found: "figures out of range", Want: "at least one feature and component, scales and sums of squares above 0"}
	if p == 0 || a == 0 || s.Rows < 2 || s.XSS <= 0 || s.YSS <= 0 {
		return nil, bad
	}
	lengths := []struct {
		name       string
		have, want int
	}{{"scale", len(s.Scale), p}, {"loadings", len(s.Loadings), a}, {"rotations", len(s.Rotations), a}, {"y_loadings", len(s.YLoadings), a}, {"score_ss", len(s.ScoreSS), a}}
	for _, l := range lengths {
		if err := model.CheckLength("pls", l.name, l.have, l.want); err != nil {
			return nil, err
		}
	}
	path := &Path{base: base{s.Rows, scaling, s.XMean, s.Scale, s.XSS, s.YSS}, cap: model.Cap{Asked: a, Given: a}}
	for _, v := range s.Scale {
		if v <= 0 {
			return nil, bad
		}
	}
	for i := range a {
		for _, v := range [][]float64{s.Weights[i], s.Loadings[i], s.Rotations[i]} {
			if err := model.CheckLength("pls", fmt.Sprint("component ", i+1), len(v), p); err != nil {
				return nil, err
			}
		}
		if s.ScoreSS[i] <= 0 {
			return nil, bad
		}
		path.components = append(path.components, component{s.Weights[i], s.Rotations[i], s.Loadings[i], s.YLoadings[i], s.ScoreSS[i]})
	}
	path.solve(func([]float64) float64 { return s.YMean })
	for _, v := range path.b[a-1] {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return nil, bad
		}
	}
	return &Model{path, a}, nil
}
