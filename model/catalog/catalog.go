// Package catalog is the only list of methods: it makes a fitter by name, and
// writes and reads fitted models.
//
//  1. New turns a kind and options into a model.Fitter.
//  2. Encode writes a fitted model as one JSON object that names its kind and
//     payload version; Decode reads it back to a model that predicts the same
//     bits.
//
// It refuses kinds, versions and fields that it does not know, and figures that
// are not finite.
package catalog

import (
	"encoding/json"
	"fmt"
	"slices"

	"flourcast/model"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
)

// Options are what the methods can be told. Those that a method does not have
// are ignored, except that a Lambda or Components out of range is refused.
type Options struct {
	Components int      // pls: exactly so many; 0: chosen from the path
	Lambda     *float64 // ridge: exactly this penalty; nil: chosen from the path
	Scaling    model.Scaling
}

// version of the payloads written here.
const version = 1

type method struct {
	kind   string
	make   func(Options) (model.Fitter, error)
	decode func([]byte) (model.Fitted, error)
}

// methods stand in order of complexity.
func methods() []method {
	return []method{
		{"mean", func(Options) (model.Fitter, error) { return linear.Mean{}, nil }, decode(linear.UnmarshalMean)},
		{"ols", func(o Options) (model.Fitter, error) { return linear.OLS{Scaling: o.Scaling}, nil }, decode(linear.UnmarshalOLS)},
		{"ridge", newRidge, decode(ridge.Unmarshal)},
		{"pls", newPLS, decode(pls.Unmarshal)},
	}
}

func decode[T model.Fitted](f func([]byte) (T, error)) func([]byte) (model.Fitted, error) {
	return func(data []byte) (model.Fitted, error) {
		v, err := f(data)
		if err != nil {
			return nil, err
		}
		return v, nil
	}
}

func newRidge(o Options) (model.Fitter, error) {
	r := ridge.Ridge{Scaling: o.Scaling}
	if o.Lambda != nil {
		if l := *o.Lambda; !(l > 0 && l <= 1e100) {
			return nil, &model.SettingError{Kind: "ridge", Setting: "lambda", Found: fmt.Sprint(l), Want: "a penalty above 0 (without one, use ols)"}
		}
		r.Lambdas = []float64{*o.Lambda}
	}
	return r, nil
}

func newPLS(o Options) (model.Fitter, error) {
	if o.Components < 0 {
		return nil, &model.SettingError{Kind: "pls", Setting: "components", Found: fmt.Sprint(o.Components), Want: "1 or more, or 0 for a choice"}
	}
	return pls.PLS{Components: o.Components, Scaling: o.Scaling, Exactly: o.Components > 0}, nil
}

// KindError says that a method's name is not known.
type KindError struct{ Found string }

func (e *KindError) Error() string {
	return fmt.Sprintf("catalog: found kind %q, expected one of %v", e.Found, Kinds())
}

// Kinds names the methods: mean, ols, ridge, pls.
func Kinds() []string {
	var out []string
	for _, m := range methods() {
		out = append(out, m.kind)
	}
	return out
}

// New makes a fitter. It returns a *KindError, or a *model.SettingError for an
// option out of range.
func New(kind string, o Options) (model.Fitter, error) {
	if _, err := o.Scaling.Check(kind); err != nil {
		return nil, err
	}
	for _, m := range methods() {
		if m.kind == kind {
			return m.make(o)
		}
	}
	return nil, &KindError{kind}
}

type envelope struct {
	Kind    string          `json:"kind"`
	Version int             `json:"version"`
	Fitted  json.RawMessage `json:"fitted"`
}

// Encode writes {"kind", "version", "fitted"}. It returns a *KindError for a
// model that is not of this list.
func Encode(f model.Fitted) (json.RawMessage, error) {
	if f == nil || !slices.Contains(Kinds(), f.Kind()) {
		return nil, &KindError{fmt.Sprintf("%T", f)}
	}
	if _, ok := f.(json.Marshaler); !ok {
		return nil, &KindError{fmt.Sprintf("%T", f)}
	}
	payload, err := json.Marshal(f)
	if err != nil {
		return nil, err
	}
	return json.Marshal(envelope{f.Kind(), version, payload})
}

// Decode reads what Encode wrote: the same predictions, bit for bit. Errors:
// *KindError, *model.PayloadError, *model.SettingError.
func Decode(data json.RawMessage) (model.Fitted, error) {
	var e envelope
	if err := model.DecodePayload("catalog", data, &e); err != nil {
		return nil, err
	}
	for _, m := range methods() {
		if m.kind != e.Kind {
			continue
		}
		if e.Version != version {
			return nil, &model.PayloadError{Kind: e.Kind, Found: fmt.Sprint("version ", e.Version), Want: fmt.Sprint(version)}
		}
		return m.decode(e.Fitted)
	}
	return nil, &KindError{e.Kind}
}
