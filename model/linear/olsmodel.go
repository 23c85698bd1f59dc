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
	origin    bool // no intercept
	weighted  bool // sums of squares are of weighted rows, mean weight 1
}

// Kind is "ols".
func (f *OLSModel) Kind() string { return "ols" }

// Predict evaluates the fit; it panics when len(x) is not p.
func (f *OLSModel) Predict(x []float64) float64 { return f.eq.Predict(x) }

// Linear is the fit in original units.
func (f *OLSModel) Linear() model.Linear {
	return model.Linear{Intercept: f.intercept, Coefficients: slices.Clone(f.eq.Coefficients)}
}

// DF is p, or p − 1 through the origin, so that n − DF − 1 are left.
func (f *OLSModel) DF() float64 { return float64(f.parameters() - 1) }

// parameters counts the intercept.
func (f *OLSModel) parameters() int {
	if f.origin {
		return len(f.xss)
	}
	return len(f.xss) + 1
}

// Origin says that the fit has no intercept.
func (f *OLSModel) Origin() bool { return f.origin }

// Weighted reports whether rows had weights of their own.
func (f *OLSModel) Weighted() bool { return f.weighted }

// Complexity is empty: there is no choice.
func (f *OLSModel) Complexity() model.Complexity { return model.Complexity{} }

// N is the number of training rows.
func (f *OLSModel) N() int { return f.n }

// Sigma is the residual standard deviation √(RSS/(n − p − 1)), n − p through the
// origin; of weighted rows, that of a row of average weight.
func (f *OLSModel) Sigma() float64 {
	return math.Sqrt(f.rss / float64(f.n-f.parameters()))
}

// R2 is 1 − RSS/TSS about the (weighted) mean, or about zero through the origin.
func (f *OLSModel) R2() float64 { return 1 - f.rss/f.tss }

// Condition is the ratio of the largest to the smallest singular value of the
// centred columns at equal length: 10^k costs about k digits.
func (f *OLSModel) Condition() float64 { return f.condition }

// StandardErrors are those of the intercept, σ·√h(0), and of the p coefficients,
// σ·√diag((UᵀU)⁻¹). Through the origin there is no intercept and it is 0.
func (f *OLSModel) StandardErrors() (intercept float64, coefficients []float64) {
	sigma, p := f.Sigma(), len(f.xss)
	if !f.origin {
		intercept = sigma * math.Sqrt(f.LeverageAt(make([]float64, p)))
	}
	coefficients = make([]float64, p)
	for j := range p {
		coefficients[j] = sigma * norm(f.g[j*p:(j+1)*p])
	}
	return intercept, coefficients
}

// LeverageAt is h(x) = 1/n + (x − mean)ᵀ(UᵀU)⁻¹(x − mean), xᵀ(XᵀX)⁻¹x through the
// origin: a prediction's variance is σ²·h for the mean and σ²·(1 + h) for a new
// row (of average weight). It panics when len(x) is not p.
func (f *OLSModel) LeverageAt(x []float64) float64 {
	p := len(f.xss)
	if len(x) != p {
		panic("linear: LeverageAt needs as many figures as the model has features")
	}
	h := 0.0
	if !f.origin {
		h = 1 / float64(f.n)
	}
	for k := range p {
		v := 0.0
		for j := range p {
			v += f.g[j*p+k] * (x[j] - f.eq.XMean[j])
		}
		h += v * v
	}
	return h
}

// LeverageForm is LeverageAt in plain figures, for whoever has to work it out without
// this package:
//
//	h(x) = base + Σ_k (Σ_j root[j][k]·(x_j − centre_j))²
func (f *OLSModel) LeverageForm() (base float64, centre []float64, root [][]float64) {
	p := len(f.xss)
	if !f.origin {
		base = 1 / float64(f.n)
	}
	for j := range p {
		root = append(root, slices.Clone(f.g[j*p:(j+1)*p]))
	}
	return base, slices.Clone(f.eq.XMean), root
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

// Rows are one fit's figures row by row: residual y − ŷ, leverage w·h(x), and
// Cook's distance w·e²h/(kσ²(1 − h)²) with k = p + 1 parameters (p through the
// origin; Cook 1977, Technometrics 19:15, from memory). PRESS is Σ (e/(1 − h))², the leave-one-row-out
// error in closed form (Allen 1974, from memory). Cook is nil when σ is 0, and
// PRESS is absent (ok false) when a row has leverage 1.
type Rows struct {
	Residual, Leverage, Cook []float64
	PRESS                    float64
	PRESSOK                  bool
}

// Rows computes the row figures of the training matrix m. The error is that of a
// weighted fit's matrix without weights.
func (f *OLSModel) Rows(m *design.Matrix) (Rows, error) {
	r := Rows{PRESSOK: true}
	s2 := f.Sigma() * f.Sigma()
	k := float64(f.parameters())
	var w []float64
	if f.weighted {
		var err error
		if w, err = rowWeights(m); err != nil {
			return r, err
		}
	}
	for i, y := range m.Y() {
		e, h, weight := y-f.Predict(m.Row(i)), f.LeverageAt(m.Row(i)), 1.0
		if w != nil {
			weight = w[i]
		}
		h *= weight
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
			r.Cook = append(r.Cook, weight*d*d*h/(k*s2))
		}
	}
	if len(r.Cook) != m.N() {
		r.Cook = nil
	}
	return r, nil
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
	Origin       bool      `json:"origin,omitempty"`
	Weighted     bool      `json:"weighted,omitempty"`
}

// MarshalJSON writes what UnmarshalOLS reads.
func (f *OLSModel) MarshalJSON() ([]byte, error) {
	return json.Marshal(olsPayload{f.n, f.eq.XMean, f.xss, f.eq.YMean, f.intercept, f.eq.Coefficients, f.g, f.rss, f.tss, f.condition, f.origin, f.weighted})
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
	if s.Rows < (OLS{Origin: s.Origin}).least(p) || (s.Origin && (p == 0 || s.Intercept != 0)) || s.RSS < 0 || s.TSS <= 0 || s.Condition < 1 {
		return nil, &model.PayloadError{Kind: "ols", Found: "rows, rss, tss or condition out of range", Want: "rows ≥ features + 2, rss ≥ 0, tss > 0, condition ≥ 1"}
	}
	return &OLSModel{s.Rows, s.Intercept, model.Equation{XMean: s.XMean, Coefficients: s.Coefficients, YMean: s.YMean}, s.Root, s.XSS, s.RSS, s.TSS, s.Condition, s.Origin, s.Weighted}, nil
}
