package suitability

import (
	"context"
	"slices"

	"gonum.org/v1/gonum/stat"

	"flourcast/dataset"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/record"
	"flourcast/dataset/run"
	"flourcast/dataset/trait"
	"flourcast/eval/direction"
	"flourcast/forecast"
	"flourcast/study/card"
	"flourcast/study/newlots"
)

// How references were chosen.
const (
	ByProduction = "production"
	ByLimits     = "limits"
	ByRequest    = "request"
)

// mostReferences is how many reference lots are looked at, those that came last.
const mostReferences = 40

// references are the lots to compare a lot with.
func (m *maker) references(lot, product string, limits []*forecast.Spec) (lots []string, by string) {
	other := func(name string) bool { return name != lot && name != m.Against }
	if m.References != nil {
		return slices.DeleteFunc(slices.Clone(m.References), func(name string) bool { return !other(name) }), ByRequest
	}
	t := m.joined.Table
	choose := func(good func(row int) bool) (out []string) {
		for i := range t.Len() {
			p, _ := t.Text("product", i)
			if name := t.Lot(i); other(name) && p == product && good(i) {
				out = appendNew(out, name)
			}
		}
		return out[max(0, len(out)-mostReferences):]
	}
	lots = choose(func(row int) bool { ran, _ := t.Text("ran", row); return ran == record.Well })
	if len(lots) > 0 {
		return lots, ByProduction
	}
	lots = choose(func(row int) bool {
		met := 0
		for _, s := range limits {
			if s == nil {
				continue
			}
			v, ok := t.Number(s.Response, row)
			if !ok || s.Low != nil && v < *s.Low || s.High != nil && v > *s.High {
				return false
			}
			met++
		}
		return met > 0
	})
	if len(lots) > 0 {
		return lots, ByLimits
	}
	return nil, ""
}

// row is a lot's row of a joined table.
type row struct {
	table *dataset.Table
	at    int
}

func (r row) text(column string) string { s, _ := r.table.Text(column, r.at); return s }

func (r row) number(column string) (float64, bool) { return r.table.Number(column, r.at) }

// row is the lot's row, that of the product where it has several.
func (m *maker) row(lot, product string) (found row, ok bool) {
	for _, j := range []*dataset.Joined{m.joined, m.late} {
		if j == nil || ok {
			continue
		}
		for i := range j.Table.Len() {
			if p, _ := j.Table.Text("product", i); j.Table.Lot(i) == lot && (!ok || p == product) {
				found, ok = row{j.Table, i}, true
			}
		}
	}
	return found, ok
}

// readLate joins the lots asked for that have no row, because their runs wait for a
// runs file: they are read from their curves, as forecasts of them are.
func (m *maker) readLate(ctx context.Context) error {
	var late []string
	for _, lot := range m.wanted() {
		if _, ok := m.row(lot, ""); !ok {
			late = append(late, lot)
		}
	}
	if len(late) == 0 {
		return nil
	}
	files, err := m.book.Files(ctx, late...)
	if err != nil {
		return err
	}
	files.Runs, files.Methods, m.lateLots = nil, m.Methods, late
	m.late, err = dataset.Join(ctx, files, dataset.JoinOptions{Cores: m.env.Cores, Progress: m.env.Report()})
	return err
}

// figure is what the book has of a lot, by a model's name for it.
func (m *maker) figure(lot, feature string, c *card.Card) (float64, bool) {
	r, ok := m.row(lot, c.Product)
	if !ok {
		return 0, false
	}
	l := newlots.Lot{Name: lot, Method: r.text("method"), Figure: r.number}
	s, _, ok := l.Find(feature, c.Method)
	return s.Mean, ok
}

// gridStep is how far apart the points of the drawn curves are.
const gridStep = "4s"

// curves are the mean curves of the lot and of the present flour, and what the
// reference lots' curves span: only where three or more have one, and only at times
// that all of them have.
func (m *maker) curves(ctx context.Context, lot, methodID string, references []string) ([]Curve, error) {
	runs, err := m.runs(ctx, slices.Concat([]string{lot}, given(m.Against), references))
	if err != nil {
		return nil, err
	}
	grid, err := whole.ParseGrid("time", gridStep)
	if err != nil {
		return nil, err
	}
	plan, err := grid.Plan(run.Method(m.Methods, methodID))
	if err != nil {
		return nil, nil // a method without a programme has no common grid: no picture
	}
	laid := map[string][]line{}
	for _, r := range runs {
		if r.Pooled && r.Curve != nil && r.Method == methodID {
			tr, _ := trace.Read(*r.Curve, run.Method(m.Methods, methodID))
			v, present := plan.Lay(tr)
			laid[r.Lot] = append(laid[r.Lot], line{v, present})
		}
	}
	var times []float64
	for _, name := range plan.Columns() {
		s, _ := whole.Second(name)
		times = append(times, s)
	}
	var out []Curve
	var span []line
	c := Curve{Role: Reference}
	for _, name := range references {
		if runs := laid[name]; len(runs) > 0 {
			span, c.Codes = append(span, mean(runs)), append(c.Codes, m.coded(name))
		}
	}
	if c.Lots = len(span); c.Lots >= 3 {
		for k, t := range times {
			low, high, all := span[0].v[k], span[0].v[k], true
			for _, s := range span {
				low, high, all = min(low, s.v[k]), max(high, s.v[k]), all && s.present[k]
			}
			if all {
				c.TimeS, c.LowMPas, c.HighMPas = append(c.TimeS, t), append(c.LowMPas, low), append(c.HighMPas, high)
			}
		}
		if len(c.TimeS) > 1 {
			out = append(out, c)
		}
	}
	for _, one := range []struct{ lot, role string }{{m.Against, Present}, {lot, This}} {
		runs := laid[one.lot]
		if len(runs) == 0 {
			continue
		}
		c, s := Curve{Role: one.role, Lots: 1, Codes: []string{}}, mean(runs)
		for k, t := range times {
			if s.present[k] {
				c.TimeS, c.MPas = append(c.TimeS, t), append(c.MPas, s.v[k])
			}
		}
		if len(c.TimeS) > 1 {
			out = append(out, c)
		}
	}
	return out, nil
}

// runs are the runs of some lots with their curves, pooled as the join pools them.
func (m *maker) runs(ctx context.Context, lots []string) ([]dataset.Run, error) {
	var out []dataset.Run
	for _, late := range []bool{false, true} {
		some := slices.DeleteFunc(slices.Clone(lots), func(lot string) bool { return slices.Contains(m.lateLots, lot) != late })
		if len(some) == 0 {
			continue
		}
		files, err := m.book.Files(ctx, some...)
		if err != nil {
			return nil, err
		}
		files.Methods = m.Methods
		if late {
			files.Runs = nil
		}
		joined, err := dataset.ReadRuns(ctx, files, dataset.JoinOptions{Cores: m.env.Cores, Progress: m.env.Report(), Keep: true})
		if err != nil {
			return nil, err
		}
		run.Pool(joined.Runs, nil)
		out = append(out, joined.Runs...)
	}
	return out, nil
}

// line is a curve on the grid.
type line struct {
	v       []float64
	present []bool
}

// mean is the mean of a lot's runs, where all of them are.
func mean(runs []line) line {
	out := line{make([]float64, len(runs[0].v)), slices.Repeat([]bool{true}, len(runs[0].v))}
	for _, r := range runs {
		for k := range r.v {
			out.v[k] += r.v[k] / float64(len(runs))
			out.present[k] = out.present[k] && r.present[k]
		}
	}
	return out
}

// Where a figure lies against others.
const (
	Below  = "below"
	Within = "within"
	Above  = "above"
)

// What a feature says of the response.
const (
	PointsHigher = "higher"
	PointsLower  = "lower"
	PointsSame   = "same"
)

// Feature is one feature of the lot set against those of other lots, with what is
// published of it. Low and High are the 10th and 90th percentile of the figures of
// Compared lots (all of them below ten lots); Of is which lots they are: references, or
// those of the model. Sign and Standing are of the published direction, "" where there
// is none; Disagree where publications contradict each other. Own is what the
// laboratory's lots answer to it. Points is what the feature says of the response, set
// against Than: the present flour where there is one and the feature's repeatability is
// known, the compared lots otherwise.
type Feature struct {
	Feature  string   `json:"feature"`
	Value    float64  `json:"value"`
	Present  *float64 `json:"present"`
	Low      float64  `json:"low"`
	High     float64  `json:"high"`
	Compared int      `json:"compared"`
	Of       string   `json:"of"` // reference | model
	Position string   `json:"position"`
	Sign     string   `json:"sign"`
	Standing string   `json:"standing"`
	Disagree bool     `json:"disagree"`
	Own      string   `json:"own_lots"`
	Source   string   `json:"source"`
	Points   string   `json:"points"`
	Than     string   `json:"points_than"` // present flour | reference | model
}

// mostFeatures is how many features a sheet has room for.
const mostFeatures = 5

// features are the model's features that have a name in the glossary, those with a
// published direction first.
func (m *maker) features(lot string, c *card.Card, references []string) []Feature {
	out := []Feature{}
	for j, name := range c.Features {
		if _, known := trait.Lookup(name); !known {
			continue
		}
		v, ok := m.figure(lot, name, c)
		if !ok {
			continue
		}
		f := Feature{Feature: name, Value: v, Of: Reference}
		if m.Against != "" {
			if p, ok := m.figure(m.Against, name, c); ok {
				f.Present = &p
			}
		}
		var others []float64
		for _, r := range references {
			if x, ok := m.figure(r, name, c); ok {
				others = append(others, x)
			}
		}
		if len(others) < 3 {
			f.Of, others = "model", nil
			for _, r := range c.Training {
				others = append(others, r.X[j])
			}
		}
		f.against(others)
		position := f.Position
		f.Than = f.Of
		if r, known := c.Repeat[name]; known && f.Present != nil {
			position, f.Than = beside(v-*f.Present, r.SD), Present
		}
		f.direction(c, position)
		out = append(out, f)
	}
	slices.SortStableFunc(out, func(a, b Feature) int { return rank(a) - rank(b) })
	return out[:min(len(out), mostFeatures)]
}

// rank puts established directions first, then other ones, then features without.
func rank(f Feature) int {
	return slices.Index([]string{direction.Established, direction.Contextual, direction.Contested, ""}, f.Standing)
}

// against places the value among other figures.
func (f *Feature) against(others []float64) {
	slices.Sort(others)
	f.Compared, f.Low, f.High, f.Position = len(others), others[0], others[len(others)-1], Within
	if len(others) >= 10 {
		f.Low, f.High = stat.Quantile(0.1, stat.Empirical, others, nil), stat.Quantile(0.9, stat.Empirical, others, nil)
	}
	switch {
	case f.Value < f.Low:
		f.Position = Below
	case f.Value > f.High:
		f.Position = Above
	}
}

// repeatFactor times the repeatability SD is what two single runs of one flour differ by
// in one of 20 cases (1.96·√2 = 2.77, the repeatability limit of ISO 5725-6): less is no
// difference.
const repeatFactor = 2.77

// beside places a difference from the present flour.
func beside(difference, repeatSD float64) string {
	switch {
	case difference > repeatFactor*repeatSD:
		return Above
	case difference < -repeatFactor*repeatSD:
		return Below
	}
	return Within
}

// direction finds what is published of the feature: the rule of the best standing that
// applies; where contested rules contradict each other, that they do. With the position
// of the lot it says where the feature points.
func (f *Feature) direction(c *card.Card, position string) {
	id, _ := trait.Split(f.Feature)
	var found []direction.Answer
	for _, a := range c.Directions {
		if of, _ := trait.Split(a.Feature); of == id && a.Applies {
			found = append(found, a)
		}
	}
	order := []string{direction.Established, direction.Contextual, direction.Contested}
	slices.SortStableFunc(found, func(a, b direction.Answer) int {
		return slices.Index(order, a.Rule.Standing) - slices.Index(order, b.Rule.Standing)
	})
	if len(found) == 0 {
		return
	}
	best := found[0]
	f.Sign, f.Standing, f.Own = best.Rule.Sign, best.Rule.Standing, best.Outcome
	for _, a := range found {
		f.Disagree = f.Disagree || a.Rule.Standing == best.Rule.Standing && a.Rule.Sign != best.Rule.Sign
	}
	// A rule of the laboratory's own may name what is the laboratory's business.
	for _, r := range direction.Builtin() {
		if r.ID == best.Rule.ID && r.Source == best.Rule.Source {
			f.Source = r.Source
		}
	}
	if f.Disagree {
		return
	}
	switch {
	case position == Within || f.Sign == direction.None:
		f.Points = PointsSame
	case f.Sign == direction.Rises && position == Above, f.Sign == direction.Falls && position == Below:
		f.Points = PointsHigher
	case f.Sign == direction.Rises, f.Sign == direction.Falls:
		f.Points = PointsLower
	}
}
