package bookkeeping

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"

	"flourcast/dataset/labbook"
	"flourcast/forecast"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/newlots"
)

// modelled is a model of the book, ready to forecast.
type modelled struct {
	card *card.Card
	m    forecast.Model
}

// asModel reads a model of the book; it has to be what its key says.
func (c *checker) asModel(r labbook.Row) {
	read, err := card.Decode(fmt.Sprintf("row %d", r.ID), r.Payload)
	if err != nil {
		c.differs(r, "model", err.Error(), "the model as it was fitted")
		return
	}
	if read.SHA256 != r.Key {
		c.differs(r, "model", read.SHA256, r.Key)
		return
	}
	fitted, err := read.Fitted()
	if err == nil {
		var m forecast.Model
		if m, err = newlots.Model(read, fitted); err == nil {
			c.models[r.Key] = modelled{read, m}
		}
	}
	if err != nil {
		c.differs(r, "model", err.Error(), "one that can forecast")
	}
}

// forecasts checks models, and makes every stored forecast anew.
func (c *checker) forecasts() error {
	for r, err := range c.v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Model}, Superseded: true}) {
		if err != nil {
			return err
		}
		if !r.Withdrawn {
			c.asModel(r)
		}
	}
	made, err := c.b.Forecasts(c.ctx, book.Filter{})
	if err != nil {
		c.res.Differences = append(c.res.Differences, labbook.Difference{Kind: string(labbook.Forecast), What: "payload", Found: err.Error(), Want: "one that can be read"})
		return nil
	}
	for _, f := range made {
		if err := c.ctx.Err(); err != nil {
			return err
		}
		r := labbook.Row{ID: f.ID, Kind: labbook.Forecast}
		m, ok := c.models[f.Model]
		if !ok {
			c.differs(r, "model of the forecast", "not in the book", f.Model)
			continue
		}
		in, ok := f.Input(m.m)
		if !ok { // the value, at least
			c.res.Partly++
			in = forecast.Input{Lot: f.Of.Lot, Features: f.Features, Model: m.m, Level: f.Of.Level}
			anew := forecast.Make(in)
			c.compare(r, "value", amount(f.Of.Value), amount(anew.Value))
			continue
		}
		if err := c.forecast(r, f.Of, forecast.Make(in)); err != nil {
			return err
		}
	}
	return nil
}

// forecast compares all of a stored forecast but the wording of its reasons.
func (c *checker) forecast(r labbook.Row, had, now forecast.Forecast) error {
	had.Reasons, now.Reasons = nil, nil
	a, err := leaves(had)
	if err != nil {
		return err
	}
	b, err := leaves(now)
	if err != nil {
		return err
	}
	names := maps.Clone(a)
	maps.Copy(names, b)
	for _, path := range slices.Sorted(maps.Keys(names)) {
		c.compare(r, path, a[path], b[path])
	}
	return nil
}

// compare compares one figure or word; nil is none.
func (c *checker) compare(r labbook.Row, what string, had, now any) {
	c.res.Figures++
	x, figure := had.(float64)
	y, too := now.(float64)
	if figure && too && same(x, y) || had == now {
		return
	}
	c.differs(r, what, word(had), word(now))
}

func word(v any) string {
	if v == nil {
		return "none"
	}
	return fmt.Sprint(v)
}

func amount(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

// leaves are the figures and words of a forecast by their path, such as
// contributions.0.value.
func leaves(f forecast.Forecast) (map[string]any, error) {
	data, err := json.Marshal(f)
	if err != nil {
		return nil, err
	}
	var tree any
	if err := json.Unmarshal(data, &tree); err != nil {
		return nil, err
	}
	out := map[string]any{}
	var walk func(path string, node any)
	walk = func(path string, node any) {
		switch n := node.(type) {
		case map[string]any:
			for name, v := range n {
				walk(path+"."+name, v)
			}
		case []any:
			for i, v := range n {
				walk(path+"."+strconv.Itoa(i), v)
			}
		case nil:
		default:
			out[path[1:]] = n
		}
	}
	walk("", tree)
	return out, nil
}
