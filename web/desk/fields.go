package desk

import (
	"errors"

	"flourcast/study"
)

// Fields names the fields of a page's form: the label that stands there, by the name that
// a request gives the field ("limits").
type Fields map[string]string

// Named says a fault in the words of the page at a path: a field of the request that is to
// be mended is named by its label. Other faults, and one that is named already, stay as
// they are.
func (d *Desk) Named(path string, err error) error {
	var bad *study.RequestError
	var done *namedError
	if err == nil || errors.As(err, &done) || !errors.As(err, &bad) || d.fields[path][bad.Field] == "" {
		return err
	}
	return &namedError{d.fields[path][bad.Field] + ": ", err}
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
