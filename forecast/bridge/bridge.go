// Package bridge brings the pasting features of one instrument, or site, to the scale
// of another, from lots that both have run.
//
//  1. Make compares the two feature by feature: correlation, a Deming line with the
//     ratio of error variances from the runs' repeatability, Passing–Bablok, limits of
//     agreement; and how far converted figures miss, for all features together.
//  2. Convert takes a lot's features over by the Deming lines, and says which lie
//     outside of the range that was paired.
//  3. Variance is what the bridge's own error adds to a forecast, through a model's
//     slopes; Widening is by how much it widens the forecast's interval.
//
// Different geometries correlate and do not agree: there is no fixed factor here, and
// a bridge holds only for this pair of instruments, this method, and between the
// lowest and highest figure that was paired. The package refuses features that do
// not rise together, and fewer than Least lots.
package bridge

import (
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/trait"
	"flourcast/stat/agreement"
)

// Least is the number of paired lots below which no bridge is made, Advised the one
// below which it is said to be unsure (ours; common practice asks for 40), and
// Narrow the correlation below which the paired lots span too little for a sure
// slope (0.975; common practice in clinical laboratories, from memory).
const (
	Least   = 10
	Advised = 30
	Narrow  = 0.975
	// MostWidening is by how much an interval may become wider before the bridge is
	// refused for the model (ours).
	MostWidening = 1.25
	level        = 0.95
)

// Lot is one lot's figures of one feature: means of the runs on either instrument, and
// the single runs that they are of.
type Lot struct {
	Name     string
	From, To []float64 // single runs; one or more each
}

// Estimate is a figure with its 95 % interval.
type Estimate struct {
	Value float64 `json:"value"`
	SE    float64 `json:"se,omitempty"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

func estimate(e agreement.Estimate) Estimate { return Estimate(e) }

// Feature is how one feature compares. Slope and Intercept are Deming's: to =
// Intercept + Slope·from. Delta is the variance of a mean's error on To over that on
// From; Assumed where repeatability was not measured on both and 1 stands for it.
// Residual is the SD of To about the line (n − 2); Mean and Spread (Σ(x − x̄)²) are
// of From. The Passing–Bablok line is absent where its interval does not exist.
type Feature struct {
	Name        string    `json:"feature"`
	Low         float64   `json:"low"` // paired range, on From
	High        float64   `json:"high"`
	R           float64   `json:"r"`
	RepeatFrom  *float64  `json:"repeat_sd_from"` // of single runs
	RepeatTo    *float64  `json:"repeat_sd_to"`
	Delta       float64   `json:"delta"`
	Assumed     bool      `json:"delta_assumed"`
	Slope       Estimate  `json:"slope"`
	Intercept   Estimate  `json:"intercept"`
	MedianSlope *Estimate `json:"passing_bablok_slope"`
	MedianShift *Estimate `json:"passing_bablok_intercept"`
	Bias        Estimate  `json:"bias"` // mean of to − from
	BiasSD      float64   `json:"difference_sd"`
	LimitLow    Estimate  `json:"limit_low"` // limits of agreement
	LimitHigh   Estimate  `json:"limit_high"`
	Residual    float64   `json:"residual_sd"`
	Mean        float64   `json:"mean_from"`
	Spread      float64   `json:"spread_from"`
	Points      []Point   `json:"points"`
}

// Point is one paired lot: means.
type Point struct {
	Lot  string  `json:"lot"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// Error says why no bridge can be made, or not used.
type Error struct{ What, Found, Want, Do string }

func (e *Error) Error() string {
	return fmt.Sprintf("bridge: %s: found %s, expected %s; %s", e.What, e.Found, e.Want, e.Do)
}

// Bridge is a whole bridge; Make or Decode gives one. Covariance is that of what
// converted features miss (p×p, in Features' order and units).
type Bridge struct {
	Schema     string      `json:"schema"`
	Program    string      `json:"program"`
	Made       string      `json:"made"`
	Notice     string      `json:"notice,omitempty"`
	By         string      `json:"by"` // instrument | site …
	From       string      `json:"from"`
	To         string      `json:"to"`
	Method     string      `json:"method"`
	Source     string      `json:"source"`
	Lots       int         `json:"lots"`
	Features   []Feature   `json:"features"`
	Covariance [][]float64 `json:"covariance"`
	SHA256     string      `json:"sha256"`
}

// Make compares features (names, each with the same lots in the same order). The
// error is an *Error that names the feature.
func Make(names []string, lots [][]Lot) (*Bridge, error) {
	if len(names) == 0 || len(names) != len(lots) {
		panic("bridge: as many sets of lots as features expected, one at least")
	}
	b := &Bridge{Schema: Schema, Lots: len(lots[0])}
	if b.Lots < Least {
		return nil, &Error{"lots", fmt.Sprint(b.Lots), fmt.Sprintf("%d or more run on both", Least), "run more lots on both, over the whole range that is to be forecast"}
	}
	residuals := make([][]float64, len(names))
	for j, name := range names {
		if len(lots[j]) != b.Lots {
			panic("bridge: features of different lots")
		}
		f, left, err := compare(name, lots[j])
		if err != nil {
			return nil, err
		}
		b.Features, residuals[j] = append(b.Features, f), left
	}
	b.Covariance = make([][]float64, len(names))
	for j := range names {
		b.Covariance[j] = make([]float64, len(names))
		for k := range names {
			for i := range residuals[j] {
				b.Covariance[j][k] += residuals[j][i] * residuals[k][i] / float64(b.Lots-2)
			}
		}
	}
	return b, nil
}

// compare fits one feature, and gives what each lot's To lies off the line.
func compare(name string, lots []Lot) (f Feature, left []float64, err error) {
	f.Name = name
	fail := func(err error) (Feature, []float64, error) {
		return f, nil, &Error{trait.Label(name), err.Error(), "a relation between the two", "see the runs, or leave the feature out"}
	}
	var x, y []float64
	for _, l := range lots {
		x, y = append(x, mean(l.From)), append(y, mean(l.To))
		f.Points = append(f.Points, Point{l.Name, x[len(x)-1], y[len(y)-1]})
	}
	if f.R, err = agreement.Correlation(x, y); err != nil {
		return fail(err)
	}
	if f.R <= 0 {
		return f, nil, &Error{trait.Label(name), fmt.Sprintf("r %.2f", f.R), "figures that rise together", "see whether columns or instruments were exchanged"}
	}
	f.ratio(lots)
	line, err := agreement.Deming(x, y, f.Delta, level)
	if err != nil {
		return fail(err)
	}
	f.Slope, f.Intercept = estimate(line.Slope), estimate(line.Intercept)
	if m, err := agreement.PassingBablok(x, y, level); err == nil {
		slope, shift := estimate(m.Slope), estimate(m.Intercept)
		f.MedianSlope, f.MedianShift = &slope, &shift
	}
	d, err := agreement.BlandAltman(x, y, level)
	if err != nil {
		return fail(err)
	}
	f.Bias, f.BiasSD, f.LimitLow, f.LimitHigh = estimate(d.Bias), d.SD, estimate(d.Lower), estimate(d.Upper)
	f.Low, f.High, f.Mean = slices.Min(x), slices.Max(x), mean(x)
	ss := 0.0
	for i := range x {
		f.Spread += (x[i] - f.Mean) * (x[i] - f.Mean)
		left = append(left, y[i]-line.At(x[i]))
		ss += left[i] * left[i]
	}
	f.Residual = math.Sqrt(ss / float64(len(x)-2))
	return f, left, nil
}

// ratio takes δ from the repeatability of single runs, each divided by how many a
// mean is of (harmonically over lots). It needs two degrees of freedom and some
// spread on either side; else δ is 1, and said to be assumed.
func (f *Feature) ratio(lots []Lot) {
	pooled := func(side func(Lot) []float64) (sd, perMean float64, ok bool) {
		ss, df := 0.0, 0
		for _, l := range lots {
			v := side(l)
			m := mean(v)
			for _, x := range v {
				ss += (x - m) * (x - m)
			}
			df += len(v) - 1
			perMean += 1 / float64(len(v)) / float64(len(lots))
		}
		if df < 2 || ss == 0 {
			return 0, perMean, false
		}
		return math.Sqrt(ss / float64(df)), perMean, true
	}
	from, shareFrom, okFrom := pooled(func(l Lot) []float64 { return l.From })
	to, shareTo, okTo := pooled(func(l Lot) []float64 { return l.To })
	if okFrom {
		f.RepeatFrom = &from
	}
	if okTo {
		f.RepeatTo = &to
	}
	f.Delta, f.Assumed = 1, true
	if okFrom && okTo {
		f.Delta, f.Assumed = to*to*shareTo/(from*from*shareFrom), false
	}
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// find gives the place of a feature by its bare name; −1 without.
func (b *Bridge) find(name string) int {
	id, by := trait.Split(name)
	if by != "" && b.Method != "" && by != b.Method {
		return -1
	}
	return slices.IndexFunc(b.Features, func(f Feature) bool { return f.Name == id })
}

// Has reports whether the bridge carries a feature, name or name@method.
func (b *Bridge) Has(name string) bool { return b.find(name) >= 0 }

// At converts one figure of a feature that the bridge has; outside is set beyond the
// paired range. It panics for another feature.
func (b *Bridge) At(name string, from float64) (to float64, outside bool) {
	k := b.find(name)
	if k < 0 {
		panic("bridge: no feature " + name)
	}
	f := b.Features[k]
	return f.Intercept.Value + f.Slope.Value*from, from < f.Low || from > f.High
}

// Slope is that of a feature that the bridge has; it panics for another.
func (b *Bridge) Slope(name string) float64 {
	k := b.find(name)
	if k < 0 {
		panic("bridge: no feature " + name)
	}
	return b.Features[k].Slope.Value
}

// Variance is what the bridge adds to the variance of a forecast with the given
// slopes, by feature, in squared response units, for a lot whose From figures are
// given:
//
//	Σ_jk β_j β_k √(1 + h_j)√(1 + h_k)·C_jk,   h = 1/n + (x − x̄)²/Σ(x − x̄)²
//
// with C the covariance of what converted features miss. It holds the repeatability of
// To once, which the calibration's errors hold too: a little wide rather than narrow.
// Features that the bridge does not have add nothing.
func (b *Bridge) Variance(slopes, from map[string]float64) float64 {
	weight := make([]float64, len(b.Features))
	for name, beta := range slopes {
		if k := b.find(name); k >= 0 {
			f := b.Features[k]
			x, ok := from[name]
			if !ok {
				x = f.Mean
			}
			weight[k] = beta * math.Sqrt(1+1/float64(b.Lots)+(x-f.Mean)*(x-f.Mean)/f.Spread)
		}
	}
	v := 0.0
	for j, wj := range weight {
		for k, wk := range weight {
			v += wj * wk * b.Covariance[j][k]
		}
	}
	return max(0, v)
}

// Widening is by how much an interval with mean squared error msecv becomes wider in
// the middle of the paired range: √(1 + Variance/msecv). It is infinite for msecv 0.
func (b *Bridge) Widening(slopes map[string]float64, msecv float64) float64 {
	v := b.Variance(slopes, nil)
	if v == 0 {
		return 1
	}
	return math.Sqrt(1 + v/msecv)
}
