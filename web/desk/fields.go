package desk

import (
	"errors"

	"flourcast/study"
)

// Fields names the fields of a page's form: the label that stands there, by the name that
// a request gives the field ("limits").
type Fields map[string]string

// Named says a fault in the page's own words: a field of the request that is to be mended
// is named by its label. Other faults stay as they are.
func (f Fields) Named(err error) error {
	var bad *study.RequestError
	if err == nil || !errors.As(err, &bad) || f[bad.Field] == "" {
		return err
	}
	return &namedError{f[bad.Field] + ": ", err}
}

// Wrong is the field that a fault is about, "" for none.
func Wrong(err error) string {
	var bad *study.RequestError
	if errors.As(err, &bad) {
		return bad.Field
	}
	return ""
}

type namedError struct {
	label string
	err   error
}

func (e *namedError) Error() string { return e.label + e.err.Error() }
func (e *namedError) Unwrap() error { return e.err }
