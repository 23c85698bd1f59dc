// Package validation judges a model's forecasts on lots that were measured and
// never used for it.
//
//  1. A lot of the training set, by its name or by all its figures, is left out and
//     named; so is a lot without every feature, and a lot of a family that the model
//     was made from (a common parent, or cultivar and delivery), unless it is meant.
//  2. The others are forecast as any new lot would be; rows of one lot are averaged.
//  3. Bias, SEP, RMSEP, slope, RPD and RER are worked out, each with its limit as
//     ISO 12099 and AACC 39-00 use them (both from memory), and the lots inside
//     their interval are counted.
//
// The error of a lot is measured − forecast. Fewer lots than Advised is said.
// Figures that do not exist for so few lots are absent. It refuses no number of
// lots but none at all, and it changes no verdict.
package validation

import (
	"math"

	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/eval/metric"
	"flourcast/study/card"

	"gonum.org/v1/gonum/stat/distuv"
)

// Advised is the number of validation lots below which figures are said to be
// unsure (20; ASTM E1655, from memory).
const Advised = 20

// Row is a measured row put to the model: X by the card's features, or a Problem
// that forbids it.
type Row struct {
	Lot      string
	X        []float64
	Measured float64
	Family   string // of lots that share a parent, or cultivar and delivery; "" if alone
	Problem  string
}

// Lot is one lot's forecast beside its measurement.
type Lot struct {
	Lot      string   `json:"lot"`
	Measured float64  `json:"measured"`
	Forecast float64  `json:"forecast"`
	Error    float64  `json:"error"` // measured − forecast
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	Inside   *bool    `json:"inside"` // of the interval; absent where it is infinite
	Domain   string   `json:"domain"` // inside | edge | outside what was calibrated
}

// LeftOut is a measured lot that does not count, and why.
type LeftOut struct {
	Lot    string `json:"lot"`
	Reason string `json:"reason"`
}

// Related is a measured lot that shares its family (a parent, or cultivar and
// delivery) with a lot that the model was made from: no independent test of it.
type Related struct {
	Lot    string `json:"lot"`
	Of     string `json:"of"`
	Family string `json:"family"`
}

// Result is what Judge finds: the figures, the lots behind them, those left out,
// and those related to the model's own, whether they counted or not.
type Result struct {
	Figures
	Lots    []Lot     `json:"lots"`
	LeftOut []LeftOut `json:"left_out"`
	Related []Related `json:"related"`
}

// Tested is a figure with the limit that chance alone keeps it within (95 %), which
// may be absent.
type Tested struct {
	Value  float64  `json:"value"`
	Limit  *float64 `json:"limit"`
	Beyond bool     `json:"beyond"`
}

// Slope is the line of measured on forecast; T beyond Limit says that forecasts
// are stretched or squeezed.
type Slope struct {
	Slope     float64 `json:"slope"`
	Intercept float64 `json:"intercept"`
	T         float64 `json:"t"`
	Limit     float64 `json:"limit"`
	Beyond    bool    `json:"beyond"`
}

// Coverage is how many of N lots lay inside their interval at Level, the exact
// binomial 95 % interval of that share, and the chance of so few or fewer if the
// level holds. Few is set when that is below 0.05; too many are never a fault.
type Coverage struct {
	Inside int     `json:"inside"`
	N      int     `json:"n"`
	Level  float64 `json:"level"`
	Kind   string  `json:"interval_kind"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	P      float64 `json:"p"`
	Few    bool    `json:"too_few"`
}

// Figures are what the lots say together. What does not exist is absent.
type Figures struct {
	N      int      `json:"n"`
	Bias   *Tested  `json:"bias"` // mean error; limit t(0.975, n − 1)·SEP/√n
	SEP    *Tested  `json:"sep"`  // limit SEC·√F(0.95; n − 1, n_c − p − 1): worse than calibration beyond it
	RMSEP  *float64 `json:"rmsep"`
	RMSECV float64  `json:"rmsecv"` // of the calibration, to compare
	SEC    *float64 `json:"sec"`    // of the calibration: √(Σe²/(n_c − p − 1)) on its own lots
	Slope  *Slope   `json:"slope"`
	RPD    *float64 `json:"rpd"` // SD of the measured over SEP
	RER    *float64 `json:"rer"` // range of the measured over SEP
	// RPDBand and RERBand are what the bands say of them; see Bands.
	RPDBand  string    `json:"rpd_band"`
	RERBand  string    `json:"rer_band"`
	Coverage *Coverage `json:"coverage"`
	// WithinDomain counts the lots that lie inside what was calibrated.
	WithinDomain int `json:"within_domain"`
}

// Judge forecasts rows and works the figures out. The rows must all be of the
// card's product and method. With relatives, lots related to the model's own count.
// The errors are those of the card's parts.
func Judge(c *card.Card, rows []Row, level float64, relatives bool) (Result, error) {
	lots, left, related := split(c, rows, relatives)
	fitted, err := c.Fitted()
	if err != nil {
		return Result{}, err
	}
	source := interval.Source{Normal: *c.Interval, Cross: c.Cross, Leverage: func(x []float64) float64 { return c.Domain.Place(x).Leverage }}
	if own, ok := fitted.(interface{ LeverageAt(x []float64) float64 }); ok {
		source.Leverage = own.LeverageAt
	}
	out := []Lot{}
	for _, r := range lots {
		l := Lot{Lot: r.Lot, Measured: r.Measured, Forecast: fitted.Predict(r.X), Domain: c.Domain.Place(r.X).Where}
		l.Error = l.Measured - l.Forecast
		around, err := source.Around(r.X, l.Forecast, level)
		if err != nil {
			return Result{}, err
		}
		if l.Low, l.High = around.Low, around.High; l.Low != nil && l.High != nil {
			inside := *l.Low <= l.Measured && l.Measured <= *l.High
			l.Inside = &inside
		}
		out = append(out, l)
	}
	f, err := Measure(c, out, level, source.Kind())
	if err != nil {
		return Result{}, err
	}
	if related == nil {
		related = []Related{}
	}
	return Result{f, out, left, related}, nil
}

// Measure works the figures out of lots that were forecast already, with intervals
// of the level and kind. The errors are those of the card's parts.
func Measure(c *card.Card, lots []Lot, level float64, kind string) (Figures, error) {
	fitted, err := c.Fitted()
	if err != nil {
		return Figures{}, err
	}
	f := Figures{N: len(lots), RMSECV: c.CV.RMSECV}
	for _, l := range lots {
		if l.Domain == domain.Inside {
			f.WithinDomain++
		}
	}
	f.fill(lots)
	f.calibration(c, fitted.Predict, fitted.DF())
	f.Coverage = covered(lots, level, kind)
	return f, nil
}

// fill works out what needs the lots only.
func (f *Figures) fill(lots []Lot) {
	if len(lots) == 0 {
		return
	}
	measured, forecast := make([]float64, len(lots)), make([]float64, len(lots))
	for i, l := range lots {
		measured[i], forecast[i] = l.Measured, l.Forecast
	}
	e := metric.Errors(measured, forecast)
	rmsep := metric.RMSE(e)
	f.RMSEP = &rmsep
	if limit, ok := metric.BiasLimit(e); ok {
		bias := metric.Bias(e)
		f.Bias = &Tested{bias, &limit, math.Abs(bias) > limit}
	}
	if line, ok := metric.Slope(measured, forecast); ok {
		f.Slope = &Slope{line.Slope, line.Intercept, line.T, line.Limit, line.T > line.Limit}
	}
	if v, ok := metric.RPD(measured, forecast); ok {
		f.RPD, f.RPDBand = &v, RPDBands.Of(v)
	}
	if v, ok := metric.RER(measured, forecast); ok {
		f.RER, f.RERBand = &v, RERBands.Of(v)
	}
	if sep, ok := metric.SEP(e); ok {
		f.SEP = &Tested{Value: sep}
	}
}

// calibration sets SEP against the calibration's own error.
func (f *Figures) calibration(c *card.Card, predict func([]float64) float64, df float64) {
	n, p := len(c.Training), int(math.Ceil(df))
	if n-p-1 >= 1 {
		ss := 0.0
		for _, r := range c.Training {
			e := r.Measured - predict(r.X)
			ss += e * e
		}
		sec := math.Sqrt(ss / float64(n-p-1))
		f.SEC = &sec
	}
	if f.SEP == nil || f.SEC == nil {
		return
	}
	if limit, ok := metric.ErrorLimit(*f.SEC, f.N, n, p, 0.05); ok {
		f.SEP.Limit, f.SEP.Beyond = &limit, f.SEP.Value > limit
	}
}

// covered counts the lots with a finite interval that lie inside it.
func covered(lots []Lot, level float64, kind string) *Coverage {
	c := &Coverage{Level: level, Kind: kind}
	for _, l := range lots {
		if l.Inside == nil {
			continue
		}
		c.N++
		if *l.Inside {
			c.Inside++
		}
	}
	if c.N == 0 {
		return nil
	}
	c.Low, c.High = exact(c.Inside, c.N)
	c.P = distuv.Binomial{N: float64(c.N), P: level}.CDF(float64(c.Inside))
	c.Few = c.P < 0.05
	return c
}

// exact is the 95 % interval of a share of k in n (Clopper & Pearson 1934,
// Biometrika 26:404, from memory).
func exact(k, n int) (low, high float64) {
	high = 1
	if k > 0 {
		low = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(0.025)
	}
	if k < n {
		high = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(0.975)
	}
	return low, high
}
