package trial

import (
	"fmt"
	"math"
	"math/rand/v2"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
)

// lots are simulated lots of white salted noodles tested in water. All figures are
// in standard units here; table gives them the size that such flours have.
type lots struct {
	name     []string
	year     []string
	peak     []float64
	hard     []float64
	protein  []float64 // nil: not measured
	falling  []float64 // nil: not measured
	peakSpan float64   // SD of the peak, mPa·s; 0: 350
	pairs    bool      // peak and breakdown were measured in duplicate
	own      []ownCurve
}

// ownCurve is what a lot's curve has beside its peak.
type ownCurve struct{ breakdown, setback, time, onset float64 }

// independent are n lots of four crop years whose peak and hardness have nothing to
// do with each other.
func independent(r *rand.Rand, n int) *lots {
	l := &lots{}
	for i := range n {
		l.name = append(l.name, fmt.Sprintf("L%03d", i+1))
		l.year = append(l.year, fmt.Sprint(2021+i%4))
		l.peak = append(l.peak, r.NormFloat64())
		l.hard = append(l.hard, r.NormFloat64())
		l.own = append(l.own, ownCurve{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
	}
	return l
}

// related are n lots whose hardness has the correlation rho with the peak and with
// breakdown alike. With breakdown = 0.76·peak + 0.65·own, hardness follows
// (peak + 0.369·own)/1.066, whose correlation with both is 0.938.
func related(r *rand.Rand, n int, rho float64) *lots {
	l := independent(r, n)
	own := (1 - breakdownR) / math.Sqrt(1-breakdownR*breakdownR)
	size := math.Sqrt(1 + own*own)
	by := rho * size // on the standardised sum
	for i := range l.hard {
		strength := (l.peak[i] + own*l.own[i].breakdown) / size
		l.hard[i] = by*strength + math.Sqrt(1-by*by)*l.hard[i]
	}
	return l
}

// breakdownR is the correlation of breakdown with the peak.
const breakdownR = 0.76

// table writes the lots as a joined table. The curve's other figures go with the
// peak as closely as in 85 wheats (setback 0.97, breakdown 0.76; master thesis on 85
// wheats, author not visible); pasting temperature goes with nothing.
func (l *lots) table() (*table.Table, error) {
	n := len(l.name)
	with := func(r float64, own func(ownCurve) float64) []float64 {
		out := make([]float64, n)
		for i, c := range l.own {
			out[i] = r*l.peak[i] + math.Sqrt(1-r*r)*own(c)
		}
		return out
	}
	sized := func(v []float64, mean, sd float64) []float64 {
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = mean + sd*x
		}
		return out
	}
	same := func(text string) []string {
		out := make([]string, n)
		for i := range out {
			out[i] = text
		}
		return out
	}
	span := l.peakSpan
	if span == 0 {
		span = 350
	}
	columns := []column.Column{column.Text("lot", l.name), column.Text("product", same("white-salted-noodle")), column.Text("method", same("noodle-water")), column.Text("crop_year", l.year)}
	add := func(name string, v []float64) {
		known := make([]bool, n)
		for i := range known {
			known[i] = true
		}
		columns = append(columns, column.Numbers(name, v, known))
	}
	if l.protein != nil {
		add("protein_pct", sized(l.protein, 9.5, 0.6))
	}
	if l.falling != nil {
		add("falling_number_s", l.falling)
	}
	add("pasting_temp_C", sized(with(0, func(c ownCurve) float64 { return c.onset }), 67, 1.5))
	add("peak_time_s", sized(with(0.4, func(c ownCurve) float64 { return c.time }), 370, 8))
	add("peak_mPas", sized(l.peak, 2600, span))
	if l.pairs {
		add("peak_mPas_n", constant(n, 2))
		add("peak_mPas_sd", constant(n, 40))
	}
	add("breakdown_mPas", sized(with(breakdownR, func(c ownCurve) float64 { return c.breakdown }), 800, span*16/35))
	if l.pairs {
		add("breakdown_mPas_n", constant(n, 2))
		add("breakdown_mPas_sd", constant(n, 40))
	}
	add("setback_trough_mPas", sized(with(0.97, func(c ownCurve) float64 { return c.setback }), 1500, 200))
	add("hardness_N", sized(l.hard, 4, 0.5))
	return table.New("lot", columns...)
}

func constant(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}
