package book

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"flourcast/dataset/labbook"
	"flourcast/forecast"
	"flourcast/study/card"
	"flourcast/study/job"
)

// KeepModel writes a model down, unless the book has it, and returns its row.
func (b *Book) KeepModel(ctx context.Context, env job.Env, c *card.Card, operator string) (labbook.Row, error) {
	data, err := card.Encode(c)
	if err != nil {
		return labbook.Row{}, err
	}
	stamped, err := card.Decode("model", data)
	if err != nil {
		return labbook.Row{}, err
	}
	var kept labbook.Row
	err = b.Store.Write(ctx, func(tx *labbook.Tx) error {
		kept, err = keepModel(tx, env, stamped, data, operator)
		return err
	})
	return kept, err
}

func keepModel(tx *labbook.Tx, env job.Env, c *card.Card, data []byte, operator string) (labbook.Row, error) {
	known, err := tx.First(labbook.Filter{Kinds: []labbook.Kind{labbook.Model}, Keys: []string{c.SHA256}, Bare: true})
	if err == nil || !errors.Is(err, labbook.ErrNoRow) {
		return known, err
	}
	r := Row(env, labbook.Model, operator)
	r.Key, r.Product, r.Source, r.Payload = c.SHA256, c.Product, c.Source.SHA256, data
	return tx.Add(r)
}

// Card is a model of the book: ref is the number of its row, or its SHA-256.
func (b *Book) Card(ctx context.Context, ref string) (*card.Card, error) {
	f := labbook.Filter{Kinds: []labbook.Kind{labbook.Model}, Keys: []string{ref}}
	if id, err := strconv.ParseInt(ref, 10, 64); err == nil {
		f.Keys, f.IDs = nil, []int64{id}
	}
	var r labbook.Row
	err := b.Store.Read(ctx, func(v *labbook.View) (err error) {
		r, err = v.First(f)
		return err
	})
	if errors.Is(err, labbook.ErrNoRow) {
		return nil, &job.RequestError{Found: "model " + ref, Want: "a model file, or the row of a model in the lab book", Do: "look for its row among the models of the book"}
	}
	if err != nil {
		return nil, err
	}
	return card.Decode(rowName(r.ID), r.Payload)
}

// Forecast is a forecast as it was made at the time. Of is what the program said, by
// the version Program; Features is what it said it from, in the units of their names,
// and Asked how it was asked (nil where the row does not say).
type Forecast struct {
	ID       int64     `json:"row"`
	Made     time.Time `json:"made"`
	Operator string    `json:"operator"`
	Program  string    `json:"program"`

	Model    string             `json:"model"` // SHA-256 of the model file
	Product  string             `json:"product"`
	Method   string             `json:"method"`
	Standing string             `json:"standing"` // of the model's verdict
	Features map[string]float64 `json:"features"`
	Asked    *Asked             `json:"asked"`
	Of       forecast.Forecast  `json:"forecast"`
}

// forecastPayload is the payload of a forecast row: what the row itself does not say.
type forecastPayload struct {
	Schema   string             `json:"schema"` // flourcast.book.forecast/1
	Method   string             `json:"method"`
	Standing string             `json:"standing"`
	Features map[string]float64 `json:"features"`
	Asked    *Asked             `json:"asked"`
	Forecast forecast.Forecast  `json:"forecast"`
}

const forecastSchema = "flourcast.book.forecast/1"

// KeepForecasts writes forecasts down in one transaction, with the model that made
// them. inputs[i] is what forecasts[i] was made from. One that says
// the same as the last of its lot by the same model is not written again. It returns
// how many were written.
func (b *Book) KeepForecasts(ctx context.Context, env job.Env, c *card.Card, forecasts []forecast.Forecast, inputs []forecast.Input, operator string) (written int, err error) {
	if len(inputs) != len(forecasts) {
		panic("book: KeepForecasts: as many inputs as forecasts expected")
	}
	data, err := card.Encode(c)
	if err != nil {
		return 0, err
	}
	stamped, err := card.Decode("model", data)
	if err != nil {
		return 0, err
	}
	err = b.Store.Write(ctx, func(tx *labbook.Tx) error {
		if _, err := keepModel(tx, env, stamped, data, operator); err != nil {
			return err
		}
		for i, f := range forecasts {
			payload, err := encode(forecastPayload{forecastSchema, c.Method, string(c.Verdict.Standing), inputs[i].Features, askedOf(inputs[i]), f})
			if err != nil {
				return err
			}
			r := Row(env, labbook.Forecast, operator)
			r.Key, r.Lot, r.Product, r.Source, r.Payload = Key(f.Lot, f.Response, stamped.SHA256), f.Lot, c.Product, stamped.SHA256, payload
			last, err := tx.First(labbook.Filter{Kinds: []labbook.Kind{labbook.Forecast}, Keys: []string{r.Key}, Limit: 1})
			if err == nil && bytes.Equal(last.Payload, payload) {
				continue
			}
			if err != nil && !errors.Is(err, labbook.ErrNoRow) {
				return err
			}
			if _, err := tx.Add(r); err != nil {
				return err
			}
			written++
		}
		return nil
	})
	if err != nil {
		written = 0
	}
	return written, err
}

// Filter chooses forecasts or outcomes; what is empty does not choose.
type Filter struct {
	Lots                     []string
	Product, Response, Model string
}

// Forecasts are the forecasts that the filter chooses, in the order in which they
// were made. A lot may have several.
func (b *Book) Forecasts(ctx context.Context, f Filter) ([]Forecast, error) {
	out := []Forecast{}
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Forecast}, Lots: f.Lots, Product: f.Product, Source: f.Model}) {
			if err != nil {
				return err
			}
			made, err := readForecast(r)
			if err != nil {
				return err
			}
			if f.Response == "" || made.Of.Response == f.Response {
				out = append(out, made)
			}
		}
		return nil
	})
	return out, err
}

func readForecast(r labbook.Row) (Forecast, error) {
	var p forecastPayload
	if err := decode(r, &p); err != nil {
		return Forecast{}, err
	}
	if p.Schema != forecastSchema {
		return Forecast{}, fmt.Errorf("row %d of the lab book: found schema %q, expected %q; use the version of flourcast that wrote it", r.ID, p.Schema, forecastSchema)
	}
	return Forecast{ID: r.ID, Made: r.Made, Operator: r.Operator, Program: r.Program, Model: r.Source, Product: r.Product, Method: p.Method, Standing: p.Standing, Features: p.Features, Asked: p.Asked, Of: p.Forecast}, nil
}
