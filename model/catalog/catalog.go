// Package catalog is the only list of methods: it makes a fitter by name, and
// writes and reads fitted models.
//
//  1. New turns a kind and options into a model.Fitter.
//  2. Encode writes a fitted model as one JSON object that names its kind and
//     payload version; Decode reads it back to a model that predicts the same
//     bits.
//  3. Options may put a transform around a method: ln of the response, derivatives
//     of whole curves. Its payload holds the method's own.
//
// It refuses kinds, versions and fields that it does not know, and figures that
// are not finite.
//
// # In a few lines
//
// A method by its name; what was fitted is kept and read back:
//
//	method, err := catalog.New("pls", catalog.Options{Components: 2})
//	path, err := method.Fit(m)
//	saved, err := catalog.Encode(path.At(path.Len() - 1))
//	fitted, err := catalog.Decode(saved) // the same bits
package catalog

import (
	"encoding/json"
	"fmt"
	"slices"

	"flourcast/model"
	"flourcast/model/baseline"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
	"flourcast/model/transform"
)

// Options are what the methods can be told. Those that a method does not have
// are ignored, except that a Lambda or Components out of range is refused.
type Options struct {
	Components int      // pls: exactly so many; 0: chosen from the path
	Lambda     *float64 // ridge: exactly this penalty; nil: chosen from the path
	Scaling    model.Scaling
	Origin     bool // ols: without an intercept
	Weighted   bool // ols: by row weights or standard errors
	// Any method: fit ln y. Not with Weighted, whose errors are those of y.
	Log bool
	// Any method on whole curves: derivatives to try, with the filter's window and
	// degree; see transform.Derivative. Empty: the features as they are.
	Orders         []int
	Window, Degree int
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
		{"mean", func(Options) (model.Fitter, error) { return baseline.Mean{}, nil }, decode(baseline.UnmarshalMean)},
		{"ols", func(o Options) (model.Fitter, error) {
			return linear.OLS{Scaling: o.Scaling, Origin: o.Origin, Weighted: o.Weighted}, nil
		}, decode(linear.UnmarshalOLS)},
		{"ridge", newRidge, decode(ridge.Unmarshal)},
		{"pls", newPLS, decode(pls.Unmarshal)},
	}
}

func decode[T model.Fitted](f func([]byte) (T, error)) func([]byte) (model.Fitted, error) {
	return func(data []byte) (model.Fitted, error) { return unless(f(data)) }
}

// unless is v, or nothing with an error.
func unless[T model.Fitted](v T, err error) (model.Fitted, error) {
	if err != nil {
		return nil, err
	}
	return v, nil
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
			f, err := m.make(o)
			if err != nil {
				return nil, err
			}
			return around(f, kind, o)
		}
	}
	return nil, &KindError{kind}
}

// around puts the transforms of the options around a method.
func around(f model.Fitter, kind string, o Options) (model.Fitter, error) {
	if !o.Log && len(o.Orders) == 0 {
		return f, nil
	}
	if o.Log && o.Weighted {
		return nil, &model.SettingError{Kind: kind, Setting: "log", Found: "weights by the response's standard errors too", Want: "one of the two: the errors are those of the response, not of its logarithm"}
	}
	inner, ok := f.(model.Stepped)
	if !ok {
		return nil, &model.SettingError{Kind: kind, Setting: "log or derivative", Found: "a method that does not say beforehand how long its path is", Want: "one that does (model.Stepped)"}
	}
	if len(o.Orders) > 0 {
		inner = transform.Derivative{Inner: inner, Orders: o.Orders, Window: o.Window, Degree: o.Degree}
	}
	if o.Log {
		return transform.Log{Inner: inner}, nil
	}
	return inner, nil
}

type envelope struct {
	Kind    string          `json:"kind"`
	Version int             `json:"version"`
	Fitted  json.RawMessage `json:"fitted"`
}

// Encode writes {"kind", "version", "fitted"}. It returns a *KindError for a
// model that is not of this list.
func Encode(f model.Fitted) (json.RawMessage, error) {
	switch v := f.(type) {
	case *transform.Logged:
		return wrapped(logged, v.Encode)
	case *transform.Differentiated:
		return wrapped(differentiated, v.Encode)
	}
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

// Kinds of payload that hold another.
const (
	logged         = "log"
	differentiated = "derivative"
)

func wrapped(kind string, encode func(func(model.Fitted) (json.RawMessage, error)) (json.RawMessage, error)) (json.RawMessage, error) {
	payload, err := encode(Encode)
	if err != nil {
		return nil, err
	}
	return json.Marshal(envelope{kind, version, payload})
}

// Decode reads what Encode wrote: the same predictions, bit for bit. Errors:
// *KindError, *model.PayloadError, *model.SettingError.
func Decode(data json.RawMessage) (model.Fitted, error) { return decodeInside(data, "") }

// decodeInside decodes what stands inside a payload of the kind outside: a method
// inside a derivative, either inside a logarithm.
func decodeInside(data json.RawMessage, outside string) (model.Fitted, error) {
	var e envelope
	if err := model.DecodePayload("catalog", data, &e); err != nil {
		return nil, err
	}
	holds := e.Kind == logged && outside == "" || e.Kind == differentiated && outside != differentiated
	if holds && e.Version != version {
		return nil, &model.PayloadError{Kind: e.Kind, Found: fmt.Sprint("version ", e.Version), Want: fmt.Sprint(version)}
	}
	inner := func(data json.RawMessage) (model.Fitted, error) { return decodeInside(data, e.Kind) }
	switch {
	case holds && e.Kind == logged:
		return unless(transform.DecodeLog(e.Fitted, inner))
	case holds:
		return unless(transform.DecodeDerivative(e.Fitted, inner))
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
