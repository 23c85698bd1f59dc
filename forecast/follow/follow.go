// Package follow says whether a model may still be trusted, from what was forecast
// at the time and measured since.
//
//  1. The error of each lot, measured − forecast, is divided by the standard error
//     that its own forecast stated.
//  2. One chart is judged: the exponentially weighted moving average of these
//     errors. Its limits come from simulated mills whose model errs as one made of
//     so many lots does; in one mill of ten, or fewer, a model that stays as good as
//     it was is called out within 60 lots.
//  3. A signal is *watch*. The average begins anew; a second signal to the same side
//     within 20 lots confirms the first: *recalibrate*. A signal that is not
//     confirmed by 20 lots has passed.
//  4. A CUSUM of the same errors is given to be drawn. Nothing is judged by it:
//     several judges together call out about four good models of ten.
//
// A lot that the model itself called outside of what it was calibrated on, and one
// without an interval, are not charted: they say nothing against the model. The
// package forecasts nothing anew, knows no files, and changes no verdict.
package follow

import (
	"fmt"
	"math"

	"flourcast/stat/control"
)

// What the chart says.
const (
	InControl   = "in control"
	Watch       = "watch"
	Recalibrate = "recalibrate"
	TooFew      = "too few lots to say"
)

const (
	lambda  = 0.2  // weight of the newest lot; common practice, no source
	within  = 20   // lots in which a signal must be confirmed; ours
	fewest  = 5    // lots below which nothing is said; ours
	horizon = 60   // lots for which the false alarms are limited
	alarms  = 0.10 // of good models within the horizon, at most
	aim     = 0.08
)

// Signal is one time that the chart left its limits. Confirmed: a second signal to
// the same side came within 20 lots; Passed: 20 lots went by without.
type Signal struct {
	At        int // counted from 0
	Side      control.Signal
	Confirmed bool
	By        int // the error at which it was confirmed
	Passed    bool
}

// Sum is one point of the CUSUM that is drawn: in standard errors.
type Sum struct{ Up, Down float64 }

// Judgement is what the chart says of errors in their order.
type Judgement struct {
	Status  string
	Points  []control.Point // the moving average and its limits, a point an error
	Signals []Signal
	Sums    []Sum
	// Since is where the drift that is called out began: the first error after the
	// average last stood on the other side. It is −1 when nothing is called out.
	Since int
}

// Judge charts standardised errors z in the order of their forecasts. It panics when
// the limits are not of Simulate, or an error is not finite.
func Judge(z []float64, l Limits) Judgement {
	if !(l.L > 0) {
		panic(fmt.Sprintf("follow: limits at %v", l.L))
	}
	for _, v := range z {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			panic("follow: an error that is not finite")
		}
	}
	j := Judgement{Status: InControl, Since: -1}
	j.Points, j.Signals = chart(z, l.L)
	for _, s := range (control.CUSUM{K: 0.5, H: math.MaxFloat64}).Run(z) {
		j.Sums = append(j.Sums, Sum{s.Up, s.Down})
	}
	for _, s := range j.Signals {
		switch {
		case s.Confirmed:
			j.Status = Recalibrate
		case !s.Passed && j.Status == InControl:
			j.Status = Watch
		}
	}
	if j.Status == InControl && len(z) < fewest {
		j.Status = TooFew
	}
	if j.Status == Watch || j.Status == Recalibrate {
		j.Since = began(j)
	}
	return j
}

// chart runs the average, begins it anew after each signal, and pairs the signals.
func chart(z []float64, limit float64) (points []control.Point, signals []Signal) {
	points = make([]control.Point, 0, len(z))
	e := control.EWMA{Lambda: lambda, L: limit, Sigma: 1}
	for start := 0; start < len(z); {
		run := e.Run(z[start:], nil, nil)
		k := 0
		for k < len(run) && run[k].Signal == control.None {
			k++
		}
		if k == len(run) {
			points = append(points, run...)
			break
		}
		points = append(points, run[:k+1]...)
		signals = append(signals, Signal{At: start + k, Side: run[k].Signal})
		start += k + 1
	}
	for i := range signals {
		s := &signals[i]
		for _, next := range signals[i+1:] {
			if !s.Confirmed && next.Side == s.Side && next.At-s.At <= within {
				s.Confirmed, s.By = true, next.At
			}
		}
		s.Passed = !s.Confirmed && len(z)-1-s.At >= within
	}
	return points, signals
}

// began is the start of the drift behind the first signal that stands.
func began(j Judgement) int {
	for _, s := range j.Signals {
		if s.Passed {
			continue
		}
		at := s.At
		for at > 0 && (j.Points[at-1].Value > 0) == (s.Side == control.Above) && j.Points[at-1].Signal == control.None {
			at--
		}
		return at
	}
	return -1
}

// Horizon is the number of lots for which the false alarms are limited.
func Horizon() int { return horizon }
