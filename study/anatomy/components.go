package anatomy

import (
	"flourcast/eval/domain"
	"flourcast/model/design"
	"flourcast/model/pls"
)

// Components is what PLS says of itself. Lists by feature are in the order of the
// model's features, those by component from the first.
type Components struct {
	Each []Component `json:"components"`
	VIP  []float64   `json:"vip"` // by feature, over all components
	// Limits of T² and Q: of the training rows themselves, and of new ones. Those of
	// Q are nil where the components leave nothing.
	T2Limit    Limits  `json:"t2_limit_training"`
	T2LimitNew Limits  `json:"t2_limit_new"`
	QLimit     *Limits `json:"q_limit"`
	Rows       []Score `json:"rows"`
}

// Component is one latent direction. XExplained and YExplained are shares of the
// variance of features and response, as calibrated.
type Component struct {
	XExplained float64   `json:"x_explained"`
	YExplained float64   `json:"y_explained"`
	YLoading   float64   `json:"y_loading"`
	ScoreSS    float64   `json:"score_ss"`
	Weights    []float64 `json:"weights"`
	Loadings   []float64 `json:"loadings"`
	Rotations  []float64 `json:"rotations"`
}

// Limits are exceeded by chance in 5 % and in 1 % of rows.
type Limits struct {
	At95 float64 `json:"95"`
	At99 float64 `json:"99"`
}

// Score is one training row on the components.
type Score struct {
	Lot    string    `json:"lot"`
	Scores []float64 `json:"scores"`
	T2     float64   `json:"t2"`
	Q      float64   `json:"q"`
}

// PLS gives the components of a fit on its training matrix. Limits: T² after
// Tracy, Young & Mason 1992, Q after Jackson & Mudholkar 1979 (see package
// domain).
func PLS(f *pls.Model, m *design.Matrix) *Components {
	n, a := m.N(), f.Components()
	limits := func(at func(level float64) float64) Limits { return Limits{at(0.95), at(0.99)} }
	out := &Components{VIP: f.VIP(),
		T2Limit:    limits(func(l float64) float64 { return domain.T2LimitSeen(n, a, l) }),
		T2LimitNew: limits(func(l float64) float64 { return domain.T2Limit(n, a, l) })}
	if left, ok := f.ResidualVariances(m); ok {
		if q := limits(func(l float64) float64 { return domain.QLimit(left, l) }); q.At95 > 0 {
			out.QLimit = &q
		}
	}
	x, y, q, ss, w, l, r := f.XExplained(), f.YExplained(), f.YLoadings(), f.ScoreSS(), f.Weights(), f.Loadings(), f.Rotations()
	for k := range a {
		out.Each = append(out.Each, Component{x[k], y[k], q[k], ss[k], w[k], l[k], r[k]})
	}
	for i, lot := range m.Lots() {
		row := m.Row(i)
		out.Rows = append(out.Rows, Score{lot, f.Scores(row), f.T2(row), f.Q(row)})
	}
	return out
}
