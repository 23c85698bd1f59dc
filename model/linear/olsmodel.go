package linear

import (
	"encoding/json"
	"math"
	"slices"

	"flourcast/model"
	"flourcast/model/design"
)

// OLSModel is a least-squares fit with what is known about its coefficients.
type OLSModel struct {
	n         int
	intercept float64
	eq        model.Equation
	g         []float64 // p×p, original units: (UᵀU)⁻¹ = g·gᵀ for centred U
	xss       []float64 // sum of squares of each centred column
	rss, tss  float64
	condition float64
}

// Kind is "ols".
func (f *OLSModel) Kind() string { return "ols" }

// Predict evaluates the fit; it panics when len(x) is not p.
func (f *OLSModel) Predict(x []float64) float64 { return f.eq.Predict(x) }

// Linear is the fit in original units.
func (f *OLSModel) Linear() model.Linear {
	return model.Linear{Intercept: f.intercept, Coefficients: slices.Clone(f.eq.Coefficients)}
}

// DF is p.
func (f *OLSModel) DF() float64 { return float64(len(f.xss)) }

// Complexity is empty: there is no choice.
func (f *OLSModel) Complexity() model.Complexity { return model.Complexity{} }

// N is the number of training rows.
func (f *OLSModel) N() int { return f.n }

// Sigma is the residual standard deviation √(RSS/(n − p − 1)).
func (f *OLSModel) Sigma() float64 {
	return math.Sqrt(f.rss / float64(f.n-len(f.xss)-1))
}

// R2 is 1 − RSS/TSS about the mean.
func (f *OLSModel) R2() float64 { return 1 - f.rss/f.tss }

// Condition is the ratio of the largest to the smallest singular value of the
// centred columns at equal length: 10^k costs about k digits.
func (f *OLSModel) Condition() float64 { return f.condition }

// StandardErrors are those of the intercept, σ·√h(0), and then of the
// coefficients, σ·√diag((UᵀU)⁻¹): p + 1 figures.
func (f *OLSModel) StandardErrors() []float64 {
	sigma, p := f.Sigma(), len(f.xss)
	out := []float64{sigma * math.Sqrt(f.LeverageAt(make([]float64, p)))}
	for j := range p {
		out = append(out, sigma*norm(f.g[j*p:(j+1)*p]))
	}
	return out
}

// LeverageAt is h(x) = 1/n + (x − mean)ᵀ(UᵀU)⁻¹(x − mean): a prediction's
// variance is σ²·h for the mean and σ²·(1 + h) for a new row. It panics when
// len(x) is not p.
func (f *OLSModel) LeverageAt(x []float64) float64 {
	p := len(f.xss)
	if len(x) != p {
		panic("linear: LeverageAt needs as many figures as the model has features")
	}
	h := 1 / float64(f.n)
	for k := range p {
		v := 0.0
		for j := range p {
			v += f.g[j*p+k] * (x[j] - f.eq.XMean[j])
		}
		h += v * v
	}
	return h
}

// VIF is each feature's variance inflation factor, the diagonal of the inverse
// correlation matrix: 1/(1 − R²) of the feature on the others.
func (f *OLSModel) VIF() []float64 {
	p := len(f.xss)
	out := make([]float64, p)
	for j := range p {
		v := norm(f.g[j*p : (j+1)*p])
		out[j] = v * v * f.xss[j]
	}
	return out
}

// Rows are one fit's figures row by row: residual y − ŷ, leverage, and Cook's
// distance e²h/((p + 1)σ²(1 − h)²). PRESS is Σ (e/(1 − h))², the leave-one-row-out
// error in closed form (Allen 1974, from memory). Cook is nil when σ is 0, and
// PRESS is absent (ok false) when a row has leverage 1.
type Rows struct {
	Residual, Leverage, Cook []float64
	PRESS                    float64
	PRESSOK                  bool
}

// Rows computes the row figures of the training matrix m.
func (f *OLSModel) Rows(m *design.Matrix) Rows {
	r := Rows{PRESSOK: true}
	s2 := f.Sigma() * f.Sigma()
	k := float64(len(f.xss) + 1)
	for i, y := range m.Y() {
		e, h := y-f.Predict(m.Row(i)), f.LeverageAt(m.Row(i))
		r.Residual, r.Leverage = append(r.Residual, e), append(r.Leverage, h)
		if 1-h < 1e-12 {
			r.PRESSOK, r.PRESS = false, 0
			continue
		}
		d := e / (1 - h)
		if r.PRESSOK {
			r.PRESS += d * d
		}
		if s2 > 0 {
			r.Cook = append(r.Cook, d*d*h/(k*s2))
		}
	}
	if len(r.Cook) != m.N() {
		r.Cook = nil
	}
	return r
}

func norm(v []float64) float64 {
	ss := 0.0
	for _, x := range v {
		ss += x * x
	}
	return math.Sqrt(ss)
}

type olsPayload struct {
	Rows         int       `json:"rows"`
	XMean        []float64 `json:"x_mean"`
	XSS          []float64 `json:"x_ss"`
	YMean        float64   `json:"y_mean"`
	Intercept    float64   `json:"intercept"`
	Coefficients []float64 `json:"coefficients"`
	Root         []float64 `json:"inverse_root"`
	RSS          float64   `json:"rss"`
	TSS          float64   `json:"tss"`
	Condition    float64   `json:"condition"`
}

// MarshalJSON writes what UnmarshalOLS reads.
func (f *OLSModel) MarshalJSON() ([]byte, error) {
	return json.Marshal(olsPayload{f.n, f.eq.XMean, f.xss, f.eq.YMean, f.intercept, f.eq.Coefficients, f.g, f.rss, f.tss, f.condition})
}

// UnmarshalOLS reads a saved fit. Errors are *model.PayloadError.
func UnmarshalOLS(data []byte) (*OLSModel, error) {
	var s olsPayload
	if err := model.DecodePayload("ols", data, &s); err != nil {
		return nil, err
	}
	p := len(s.Coefficients)
	for _, c := range []struct {
		name       string
		have, want int
	}{{"x_mean", len(s.XMean), p}, {"x_ss", len(s.XSS), p}, {"inverse_root", len(s.Root), p * p}} {
		if err := model.CheckLength("ols", c.name, c.have, c.want); err != nil {
			return nil, err
		}
	}
	if s.Rows < p+2 || s.RSS < 0 || s.TSS <= 0 || s.Condition < 1 {
		return nil, &model.PayloadError{Kind: "ols", Found: "rows, rss, tss or condition out of range", Want: "rows ≥ features + 2, rss ≥ 0, tss > 0, condition ≥ 1"}
	}
	return &OLSModel{s.Rows, s.Intercept, model.Equation{XMean: s.XMean, Coefficients: s.Coefficients, YMean: s.YMean}, s.Root, s.XSS, s.RSS, s.TSS, s.Condition}, nil
}
