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
	"flourcast/study/enduse"
	"flourcast/study/newlots"
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
	for _, lot := range m.Lots {
		s, references := m.sheet(lot, product, limits)
		for k, x := range used {
			e := m.expected(lot, x, forecasts[k], limits[k])
			s.NotFit = s.NotFit || slices.Contains(e.Trouble, TroubleNotFit)
			s.Expected = append(s.Expected, e)
			if s.Notice == "" {
				s.Notice = forecasts[k].Notice
			}
		}
		lead := used[0].Card
		s.Method, s.Features = lead.Method, m.features(lot, lead, references)
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

// wanted are the lots to forecast.
func (m *maker) wanted() []string {
	out := slices.Clone(m.Lots)
	if m.Against != "" {
		out = appendNew(out, m.Against)
	}
	return out
}

// usable leaves models that are not fit for use out, unless there is no other or they
// were asked for by name. left are the responses of those left out.
func usable(models []book.Model, named bool) (used []book.Model, left []string) {
	for _, x := range models {
		if x.Card.Verdict.Standing != verdict.NotFitForUse || named {
			used = append(used, x)
		} else {
			left = append(left, x.Card.Response)
		}
	}
	if len(used) == 0 {
		return models[:1], left[1:]
	}
	return used, left
}

// sheet begins a lot's sheet: references, treatment, and what is never checked.
func (m *maker) sheet(lot, product string, limits []*forecast.Spec) (*Sheet, []string) {
	s := &Sheet{Lot: lot, Present: m.Against, Products: m.Products, Curves: []Curve{}, References: []string{}, Expected: []Expected{}, Features: []Feature{}, Fits: []enduse.Fit{}, Unchecked: []Unchecked{}}
	references, by := m.references(lot, product, limits)
	s.ChosenBy = by
	for _, r := range references {
		s.References = append(s.References, m.coded(r))
	}
	s.unchecked(UncheckedSafety)
	s.unchecked(UncheckedProcess)
	r, ok := m.row(lot, product)
	written := ""
	if ok {
		written = r.text("treatment")
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
		_, falling = r.number("falling_number_s")
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
		Model: Model{Row: x.ID, Made: c.Made, Standing: c.Verdict.Standing, Grade: c.Verdict.Grade}}
	var lots, years []string
	for _, t := range c.Training {
		lots = appendNew(lots, t.Lot)
		if t.CropYear != "" {
			years = appendNew(years, t.CropYear)
		}
	}
	e.Model.Lots, e.Model.Years = len(lots), len(years)
	trouble := func(code string) { e.Trouble = append(e.Trouble, code) }
	if c.Verdict.Standing == verdict.NotFitForUse {
		trouble(TroubleNotFit)
	}
	if len(c.Verdict.Overrides) > 0 {
		trouble(TroubleOverrid)
	}
	if r, ok := m.row(lot, c.Product); ok {
		if v, ok := r.number(c.Response); ok {
			e.Measured = &v
		}
		if year := r.text("crop_year"); year != "" && len(years) > 0 && !slices.Contains(years, year) {
			trouble(TroubleYear)
		}
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
		if r, ok := m.row(m.Against, c.Product); ok {
			if v, ok := r.number(c.Response); ok {
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
		r, err := enduse.Rank(ctx, m.env, enduse.Request{Targets: targets, Windows: m.Windows, Known: m.known(m.Lots), Book: m.Dir, Only: m.Lots, Methods: m.Methods, Level: m.Level})
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
		s, references := m.sheet(lot, m.Products[0], limits)
		s.Fits = ranked[lot]
		for _, f := range s.Fits {
			s.NotFit = s.NotFit || f.Standing == verdict.NotFitForUse && f.Value != nil
		}
		if len(models) > 0 {
			s.Method = m.methodFor(lot, models)
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

// methodFor is the method of the models by which the lot has runs, or that of the first.
func (m *maker) methodFor(lot string, models []book.Model) string {
	runs := m.joined.Runs
	if m.late != nil {
		runs = slices.Concat(runs, m.late.Runs)
	}
	for _, r := range runs {
		if r.Lot == lot && slices.ContainsFunc(models, func(x book.Model) bool { return x.Card.Method == r.Method }) {
			return r.Method
		}
	}
	return models[0].Card.Method
}

// known are the lots as windows read them.
func (m *maker) known(lots []string) []newlots.Lot {
	out := []newlots.Lot{}
	for _, lot := range lots {
		l := newlots.Lot{Name: lot, Figure: func(string) (float64, bool) { return 0, false }}
		if r, ok := m.row(lot, ""); ok {
			l.Method, l.Figure = r.text("method"), r.number
		}
		out = append(out, l)
	}
	return out
}
