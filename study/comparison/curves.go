package comparison

import (
	"context"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/run"
	"flourcast/forecast"
)

// How a lot's line in a picture is meant.
const (
	This      = "this lot"
	Present   = "present flour"
	Reference = "reference"
)

// Curve is the mean curve of a lot's runs, or for Reference the least and the most of
// the reference lots' curves at each time (LowMPas, HighMPas). Names are the reference lots. Times are
// in seconds.
type Curve struct {
	Role     string    `json:"role"`
	Lots     int       `json:"lots"`
	Names    []string  `json:"names"`
	TimeS    []float64 `json:"time_s"`
	MPas     []float64 `json:"mPas,omitempty"`
	LowMPas  []float64 `json:"low_mPas,omitempty"`
	HighMPas []float64 `json:"high_mPas,omitempty"`
}

// gridStep is how far apart the points of the drawn curves are.
const gridStep = "4s"

// Curves are the mean curves of the lot and of the present flour ("": none), and what the
// reference lots' curves span: only where three or more have one, and only at times
// that all of them have.
func (l *Lots) Curves(ctx context.Context, lot, present, methodID string, references []string) ([]Curve, error) {
	runs, err := l.runs(ctx, append([]string{lot, present}, references...))
	if err != nil {
		return nil, err
	}
	grid, err := whole.ParseGrid("time", gridStep)
	if err != nil {
		return nil, err
	}
	plan, err := grid.Plan(run.Method(l.methods, methodID))
	if err != nil {
		return nil, nil // a method without a programme has no common grid: no picture
	}
	laid := map[string][]whole.Row{}
	for _, r := range runs {
		if r.Pooled && r.Curve != nil && r.Method == methodID {
			tr, _ := trace.Read(*r.Curve, run.Method(l.methods, methodID))
			laid[r.Lot] = append(laid[r.Lot], plan.Lay(tr))
		}
	}
	var times []float64
	for _, name := range plan.Columns() {
		s, _ := whole.Second(name)
		times = append(times, s)
	}
	var out []Curve
	var span []whole.Row
	c := Curve{Role: Reference, Names: []string{}}
	for _, name := range references {
		if runs := laid[name]; len(runs) > 0 {
			span, c.Names = append(span, whole.Mean(runs)), append(c.Names, name)
		}
	}
	if c.Lots = len(span); c.Lots >= 3 {
		for k, t := range times {
			low, high, all := span[0].Values[k], span[0].Values[k], true
			for _, s := range span {
				low, high, all = min(low, s.Values[k]), max(high, s.Values[k]), all && s.Present[k]
			}
			if all {
				c.TimeS, c.LowMPas, c.HighMPas = append(c.TimeS, t), append(c.LowMPas, low), append(c.HighMPas, high)
			}
		}
		if len(c.TimeS) > 1 {
			out = append(out, c)
		}
	}
	for _, one := range []struct{ lot, role string }{{present, Present}, {lot, This}} {
		runs := laid[one.lot]
		if len(runs) == 0 {
			continue
		}
		c, s := Curve{Role: one.role, Lots: 1, Names: []string{}}, whole.Mean(runs)
		for k, t := range times {
			if s.Present[k] {
				c.TimeS, c.MPas = append(c.TimeS, t), append(c.MPas, s.Values[k])
			}
		}
		if len(c.TimeS) > 1 {
			out = append(out, c)
		}
	}
	return out, nil
}

// Behind is what the curves of reference lots of the lot's product by a method span, to
// be drawn behind the lot's own, and how they were chosen; nil where fewer than three
// have such a curve. Limits are the specifications of the product that the book has,
// the last of each customer and response.
func (l *Lots) Behind(ctx context.Context, lot, methodID string) (span *Curve, by string, err error) {
	r, ok := l.Row(lot, "")
	if !ok {
		return nil, "", nil
	}
	product := r.Text("product")
	specs, err := l.book.Specs(ctx)
	if err != nil {
		return nil, "", err
	}
	last := map[[2]string]int{}
	var limits []*forecast.Spec
	for _, s := range specs {
		if s.What.Product != product {
			continue
		}
		limit, key := s.What.Limits(), [2]string{s.What.Customer, s.What.Response}
		if i, ok := last[key]; ok {
			limits[i] = &limit
			continue
		}
		last[key] = len(limits)
		limits = append(limits, &limit)
	}
	references, by := l.References(product, limits, lot)
	if len(references) == 0 {
		return nil, "", nil
	}
	curves, err := l.Curves(ctx, "", "", methodID, references)
	if err != nil || len(curves) == 0 {
		return nil, "", err
	}
	return &curves[0], by, nil
}

// runs are the runs of some lots with their curves, pooled as the join pools them.
func (l *Lots) runs(ctx context.Context, lots []string) ([]dataset.Run, error) {
	var out []dataset.Run
	for _, late := range []bool{false, true} {
		some := slices.DeleteFunc(slices.Clone(lots), func(lot string) bool { return lot == "" || slices.Contains(l.lateLots, lot) != late })
		if len(some) == 0 {
			continue
		}
		files, err := l.book.Files(ctx, some...)
		if err != nil {
			return nil, err
		}
		files.Methods = l.methods
		if late {
			files.Runs = nil
		}
		joined, err := dataset.ReadRuns(ctx, files, dataset.JoinOptions{Cores: l.env.Cores, Progress: l.env.Report(), Keep: true})
		if err != nil {
			return nil, err
		}
		run.Pool(joined.Runs, nil)
		out = append(out, joined.Runs...)
	}
	return out, nil
}
