package suitability

import (
	"context"
	"slices"

	"flourcast/dataset/treatment"
	"flourcast/eval/domain"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/comparison"
	"flourcast/study/enduse"
)

// What was not checked.
const (
	UncheckedSafety      = "food_safety"
	UncheckedProcess     = "own_process"
	UncheckedMade        = "not_made"
	UncheckedDestination = "destination"
	UncheckedTreatment   = "treatment"
	UncheckedSprouting   = "sprouting"
	UncheckedResponses   = "responses"
	UncheckedPresent     = "present"
	UncheckedReferences  = "references"
)

// one makes a sheet of each lot for one product.
func (m *maker) one(ctx context.Context, models []book.Model) error {
	product := m.Products[0]
	if len(models) == 0 { // only a window: it is ranked by itself
		return m.several(ctx, nil)
	}
	used, left := usable(models, len(m.Models) > 0)
	forecasts := make([]*study.ForecastResult, len(used))
	limits := make([]*forecast.Spec, len(used))
	for k, x := range used {
		var err error
		if limits[k], err = m.limits(ctx, x.Card); err != nil {
			return err
		}
		forecasts[k], err = study.ForecastBook(ctx, m.env, study.BookForecastRequest{Dir: m.Dir, Wanted: m.wanted(), Unrecorded: true,
			ForecastRequest: study.ForecastRequest{Card: x.Card, Spec: limits[k], Level: m.Level, Methods: m.Methods}})
		if err != nil {
			return err
		}
	}
	windows, err := m.inWindows(ctx, product)
	if err != nil {
		return err
	}
	for _, lot := range m.Lots {
		s, references := m.sheet(lot, product, limits)
		s.Windows = windows[lot]
		for k, x := range used {
			e := m.expected(lot, x, forecasts[k], limits[k])
			s.NotFit = s.NotFit || slices.Contains(e.Trouble, TroubleNotFit)
			s.Expected = append(s.Expected, e)
			if s.Notice == "" {
				s.Notice = forecasts[k].Notice
			}
		}
		lead := used[0].Card
		s.Method, s.Features = lead.Method, m.lots.Features(lot, m.Against, lead, references)
		var err error
		if s.Curves, err = m.curves(ctx, lot, lead.Method, references); err != nil {
			return err
		}
		measured := slices.ContainsFunc(s.Expected, func(e Expected) bool { return e.Measured != nil })
		if !measured {
			s.unchecked(UncheckedMade)
		}
		if len(left) > 0 {
			s.unchecked(UncheckedResponses, left...)
		}
		m.res.Sheets = append(m.res.Sheets, *s)
	}
	return nil
}

// inWindows are the lots held against the windows of one product.
func (m *maker) inWindows(ctx context.Context, product string) (map[string][]enduse.Fit, error) {
	q := enduse.Request{Book: m.Dir, Only: m.Lots, Methods: m.Methods, Level: m.Level}
	for _, w := range m.Windows {
		if w.Product == product {
			q.Windows = append(q.Windows, w)
		}
	}
	if len(q.Windows) == 0 {
		return nil, nil
	}
	r, err := enduse.Rank(ctx, m.env, q)
	if err != nil {
		return nil, err
	}
	out := map[string][]enduse.Fit{}
	for _, l := range r.Lots {
		out[l.Lot] = l.Fits
	}
	return out, nil
}

// wanted are the lots to forecast.
func (m *maker) wanted() []string {
	out := slices.Clone(m.Lots)
	if m.Against != "" {
		out = appendNew(out, m.Against)
	}
	return out
}

// sheet begins a lot's sheet: references, treatment, and what is never checked.
func (m *maker) sheet(lot, product string, limits []*forecast.Spec) (*Sheet, []string) {
	s := &Sheet{Lot: lot, Present: m.Against, Products: m.Products, Curves: []comparison.Curve{}, References: []string{}, Expected: []Expected{}, Features: []comparison.Feature{}, Fits: []enduse.Fit{}, Models: []Model{}, Unchecked: []Unchecked{}}
	references, by := m.references(lot, product, limits)
	s.ChosenBy = by
	for _, r := range references {
		s.References = append(s.References, m.coded(r))
	}
	s.unchecked(UncheckedSafety)
	s.unchecked(UncheckedProcess)
	r, ok := m.lots.Row(lot, product)
	written := ""
	if ok {
		written = r.Text("treatment")
	}
	kind := treatment.Parse(written).Kind
	s.Treatment = string(kind)
	if kind == treatment.NotStated {
		s.unchecked(UncheckedTreatment)
	}
	if m.Destination == "" {
		s.unchecked(UncheckedDestination)
	} else {
		s.Permission = string(treatment.Abroad(kind, m.Destination))
	}
	falling := false
	if ok {
		_, falling = r.Number("falling_number_s")
	}
	if !falling {
		s.unchecked(UncheckedSprouting)
	}
	if m.Against == "" {
		s.unchecked(UncheckedPresent)
	}
	if len(references) == 0 {
		s.unchecked(UncheckedReferences)
	}
	return s, references
}

func (s *Sheet) unchecked(code string, columns ...string) {
	s.Unchecked = append(s.Unchecked, Unchecked{code, columns})
}

// expected is what one model says of the lot.
func (m *maker) expected(lot string, x book.Model, r *study.ForecastResult, limits *forecast.Spec) Expected {
	c := x.Card
	e := Expected{Response: c.Response, Level: m.Level, Limits: limits, Trouble: []string{},
		Model: facts(x)}
	trouble := func(code string) { e.Trouble = append(e.Trouble, code) }
	if c.Verdict.Standing == verdict.NotFitForUse {
		trouble(TroubleNotFit)
	}
	if len(c.Verdict.Overrides) > 0 {
		trouble(TroubleOverridden)
	}
	if r, ok := m.lots.Row(lot, c.Product); ok {
		if v, ok := r.Number(c.Response); ok {
			e.Measured = &v
		}
		if year := r.Text("crop_year"); year != "" && e.Model.Years > 0 && !slices.ContainsFunc(c.Training, func(t card.Row) bool { return t.CropYear == year }) {
			trouble(TroubleYear)
		}
	}
	if slices.ContainsFunc(c.Training, func(t card.Row) bool { return t.Lot == lot }) {
		trouble(TroubleKnown)
	}
	for _, f := range r.Forecasts {
		switch f.Lot {
		case lot:
			e.Value, e.Low, e.High, e.Probability, e.Decision = f.Value, f.Low, f.High, f.Probability, f.Decision
			if f.IntervalLevel > 0 {
				e.Level = f.IntervalLevel
			}
			switch {
			case f.Value == nil:
				trouble(TroubleNoValue)
			case f.Domain == domain.Outside:
				trouble(TroubleOutside)
			case f.Decision == forecast.Hold && c.Verdict.Standing != verdict.NotFitForUse && (f.Probability == nil || r.Rule.Decide(*f.Probability) != forecast.Hold):
				trouble(TroubleRun)
			case f.Domain == domain.Edge:
				trouble(TroubleEdge)
			}
		case m.Against:
			if e.Present == nil {
				e.Present, e.PresentForecast = f.Value, f.Value != nil
			}
		}
	}
	if m.Against != "" {
		if r, ok := m.lots.Row(m.Against, c.Product); ok {
			if v, ok := r.Number(c.Response); ok {
				e.Present, e.PresentForecast = &v, false
			}
		}
	}
	return e
}

// several ranks the products for each lot. A model whose product states no limits
// forecasts, and gives no probability.
func (m *maker) several(ctx context.Context, models []book.Model) error {
	var targets []enduse.Target
	var open []book.Model
	var limits []*forecast.Spec
	for _, x := range models {
		l, err := m.limits(ctx, x.Card)
		if err != nil {
			return err
		}
		if l == nil {
			open = append(open, x)
			continue
		}
		limits = append(limits, l)
		targets = append(targets, enduse.Target{Card: x.Card, Spec: *l})
	}
	ranked := map[string][]enduse.Fit{}
	if len(targets)+len(m.Windows) > 0 {
		r, err := enduse.Rank(ctx, m.env, enduse.Request{Targets: targets, Windows: m.Windows, Book: m.Dir, Only: m.Lots, Methods: m.Methods, Level: m.Level})
		if err != nil {
			return err
		}
		for _, l := range r.Lots {
			ranked[l.Lot] = l.Fits
		}
	}
	for _, x := range open {
		if x.Card.Verdict.Standing == verdict.NotFitForUse {
			continue // without limits it would only add a figure that nobody may use
		}
		r, err := study.ForecastBook(ctx, m.env, study.BookForecastRequest{Dir: m.Dir, Wanted: m.Lots, Unrecorded: true, ForecastRequest: study.ForecastRequest{Card: x.Card, Level: m.Level, Methods: m.Methods}})
		if err != nil {
			return err
		}
		for _, f := range r.Forecasts {
			ranked[f.Lot] = append(ranked[f.Lot], enduse.Fit{Product: r.Product, By: "model", Response: r.Response, Limits: []string{}, Standing: r.Standing, Value: f.Value, Low: f.Low, High: f.High,
				Level: f.IntervalLevel, Domain: f.Domain, Class: enduse.Unknown, Reasons: f.Reasons})
		}
	}
	for _, lot := range m.Lots {
		product := m.Products[0]
		if fits := ranked[lot]; len(fits) > 0 {
			product = fits[0].Product
		}
		s, references := m.sheet(lot, product, limits)
		s.Fits = ranked[lot]
		for _, x := range models {
			s.Models = append(s.Models, facts(x))
		}
		for _, f := range s.Fits {
			s.NotFit = s.NotFit || f.Standing == verdict.NotFitForUse && f.Value != nil
		}
		if len(models) > 0 {
			s.Method = methodFor(m.lots, lot, models)
			var err error
			if s.Curves, err = m.curves(ctx, lot, s.Method, references); err != nil {
				return err
			}
			s.Notice = models[0].Card.Notice
		}
		s.unchecked(UncheckedMade)
		m.res.Sheets = append(m.res.Sheets, *s)
	}
	return nil
}

// curves are those of the sheet, the reference lots coded.
func (m *maker) curves(ctx context.Context, lot, method string, references []string) ([]comparison.Curve, error) {
	out, err := m.lots.Curves(ctx, lot, m.Against, method, references)
	for _, c := range out {
		for i, name := range c.Names {
			c.Names[i] = m.coded(name)
		}
	}
	return out, err
}

// references are the lots to compare a lot with.
func (m *maker) references(lot, product string, limits []*forecast.Spec) (lots []string, by string) {
	if m.References == nil {
		return m.lots.References(product, limits, lot, m.Against)
	}
	return slices.DeleteFunc(slices.Clone(m.References), func(name string) bool { return name == lot || name == m.Against }), ByRequest
}

// ByRequest says that the reference lots were named by whoever asked.
const ByRequest = "request"

// methodFor is the method of the models by which the lot has runs, or that of the first.
func methodFor(lots *comparison.Lots, lot string, models []book.Model) string {
	var methods []string
	for _, x := range models {
		methods = append(methods, x.Card.Method)
	}
	if by, ok := lots.MethodOf(lot, methods); ok {
		return by
	}
	return methods[0]
}
