package ridge

import (
	"encoding/json"
	"strconv"

	"flourcast/model"
)

// Path is a ridge fit for every penalty.
type Path struct {
	n                int
	scaling          model.Scaling
	xMean, scale     []float64
	yMeans           []float64 // of each step: see model.Standard.MeanAt
	lambdas, df, all []float64 // all: coefficients, steps×p, original units
	rss              []float64
}

// Model is one penalty's fit.
type Model struct {
	n          int
	scaling    model.Scaling
	eq         model.Equation
	lambda, df float64
}

// fill computes every λ's coefficients from squared singular values, Vᵀ·Zᵀy, V
// (p×k) and yᵀy, and the height at the means.
func (r *Path) fill(square, vzy, v []float64, yy float64, meanAt func(b []float64) float64) {
	p, k := len(r.xMean), len(square)
	r.df, r.all = make([]float64, len(r.lambdas)), make([]float64, len(r.lambdas)*p)
	solveAll(square, vzy, v, r.lambdas, make([]float64, k), r.all)
	for a, lambda := range r.lambdas {
		rss := yy
		for c, s := range square {
			r.df[a] += s / (s + lambda)
			rss -= vzy[c] * vzy[c] * (s + 2*lambda) / ((s + lambda) * (s + lambda))
		}
		r.rss = append(r.rss, max(0, rss))
		for j := range p {
			r.all[a*p+j] /= r.scale[j]
		}
		r.yMeans = append(r.yMeans, meanAt(r.all[a*p:(a+1)*p]))
	}
}

// solveAll writes V·(square + λ)⁻¹·vzy for every λ into b (steps×p).
func solveAll(square, vzy, v, lambdas, scratch, b []float64) {
	k := len(square)
	if k == 0 {
		clear(b)
		return
	}
	p := len(v) / k
	for a, lambda := range lambdas {
		for c, s := range square {
			scratch[c] = vzy[c] / (s + lambda)
		}
		for j := range p {
			sum := 0.0
			for c, w := range v[j*k : (j+1)*k] {
				sum += w * scratch[c]
			}
			b[a*p+j] = sum
		}
	}
}

// GCV is the generalised cross-validation criterion of penalty i,
//
//	(RSS/n) / (1 − (1 + df)/n)²
//
// with the effective degrees of freedom df and one more for the intercept (Golub,
// Heath and Wahba 1979, Technometrics 21:215, from memory). R's MASS::lm.ridge
// gives RSS/(n − df)², which leaves the intercept out. It knows nothing of lots, nor
// that the scales were taken from the same rows: evaluation by lot decides, this is
// a check. A penalty whose df leave no row over has none (ok false).
func (r *Path) GCV(i int) (value float64, ok bool) {
	left := 1 - (1+r.df[i])/float64(r.n)
	if !(left > 1e-9) {
		return 0, false
	}
	return r.rss[i] / float64(r.n) / (left * left), true
}

// Least is the penalty of the least GCV, the largest of equals. ok is false when
// no penalty has one.
func (r *Path) Least() (at int, ok bool) {
	least := 0.0
	for i := range r.lambdas {
		if v, has := r.GCV(i); has && (!ok || v < least) {
			at, least, ok = i, v, true
		}
	}
	return at, ok
}

// Len is the number of penalties.
func (r *Path) Len() int { return len(r.lambdas) }

// Label is "lambda 0.1".
func (r *Path) Label(i int) string {
	return "lambda " + strconv.FormatFloat(r.lambdas[i], 'g', 4, 64)
}

// At is the fit of penalty i, the largest first.
func (r *Path) At(i int) model.Fitted {
	p := len(r.xMean)
	return &Model{r.n, r.scaling, model.Equation{XMean: r.xMean, Coefficients: r.all[i*p : (i+1)*p : (i+1)*p], YMean: r.yMeans[i]}, r.lambdas[i], r.df[i]}
}

// Kind is "ridge".
func (f *Model) Kind() string { return "ridge" }

// Predict evaluates the fit; it panics when len(x) is not p.
func (f *Model) Predict(x []float64) float64 { return f.eq.Predict(x) }

// Linear is the fit in original units.
func (f *Model) Linear() model.Linear { return f.eq.Linear() }

// DF is the effective number, Σ d²/(d² + λ) over singular values d of Z.
func (f *Model) DF() float64 { return f.df }

// Complexity is the penalty.
func (f *Model) Complexity() model.Complexity {
	return model.Complexity{Name: "lambda", Value: f.lambda}
}

type payload struct {
	Rows         int           `json:"rows"`
	Scaling      model.Scaling `json:"scaling"`
	Lambda       float64       `json:"lambda"`
	DF           float64       `json:"df"`
	XMean        []float64     `json:"x_mean"`
	YMean        float64       `json:"y_mean"`
	Coefficients []float64     `json:"coefficients"`
}

// MarshalJSON writes what Unmarshal reads.
func (f *Model) MarshalJSON() ([]byte, error) {
	return json.Marshal(payload{f.n, f.scaling, f.lambda, f.df, f.eq.XMean, f.eq.YMean, f.eq.Coefficients})
}

// Unmarshal reads a saved fit. Errors are *model.PayloadError or
// *model.SettingError.
func Unmarshal(data []byte) (*Model, error) {
	var s payload
	if err := model.DecodePayload("ridge", data, &s); err != nil {
		return nil, err
	}
	scaling, err := s.Scaling.Check("ridge")
	if err != nil {
		return nil, err
	}
	if err := model.CheckLength("ridge", "x_mean", len(s.XMean), len(s.Coefficients)); err != nil {
		return nil, err
	}
	if s.Rows < 2 || s.Lambda <= 0 || s.DF < 0 {
		return nil, &model.PayloadError{Kind: "ridge", Found: "rows, lambda or df out of range", Want: "rows ≥ 2, lambda > 0, df ≥ 0"}
	}
	return &Model{s.Rows, scaling, model.Equation{XMean: s.XMean, Coefficients: s.Coefficients, YMean: s.YMean}, s.Lambda, s.DF}, nil
}
