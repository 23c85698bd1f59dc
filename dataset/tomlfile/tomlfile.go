// Package tomlfile reads the small TOML files in which a laboratory states its methods
// and protocols, and says where in a file something is wrong.
//
//  1. Decode reads a file into a struct of the caller's; unknown keys are refused.
//  2. A Checker looks at what was read, key by key, and keeps the first fault with its
//     line: a choice, a figure within limits, an id.
//
// What a key means is the caller's. It refuses nothing that it was not asked about.
package tomlfile

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Error says what in a file is wrong and how to mend it. Line counts from 1; 0 means
// the whole file.
type Error struct {
	File              string
	Line              int
	Key               string
	Found, Want, Cure string
}

func (e *Error) Error() string {
	text := e.File
	if e.Line > 0 {
		text += fmt.Sprintf(", line %d", e.Line)
	}
	if e.Key != "" {
		text += ", " + e.Key
	}
	text += ": found " + e.Found
	if e.Want != "" {
		text += "; expected " + e.Want
	}
	if e.Cure != "" {
		text += "; " + e.Cure
	}
	return text
}

// Decode reads data into the struct that into points to. name stands for the file in
// errors, what says what it ought to be ("a TOML method file"), keys which keys it may
// have. The error is an *Error for bytes that are no TOML, a value of another type and
// an unknown key, with its line.
func Decode(name string, data []byte, into any, what, keys string) error {
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	var unknown *toml.StrictMissingError
	var fault *toml.DecodeError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &unknown) && len(unknown.Errors) > 0:
		row, _ := unknown.Errors[0].Position()
		return &Error{File: name, Line: row, Key: strings.Join(unknown.Errors[0].Key(), "."), Found: "an unknown key", Want: "one of " + keys, Cure: "mend the spelling or leave the line out"}
	case errors.As(err, &fault):
		row, _ := fault.Position()
		return &Error{File: name, Line: row, Key: strings.Join(fault.Key(), "."), Found: strings.TrimPrefix(fault.Error(), "toml: "), Want: what}
	}
	return &Error{File: name, Found: err.Error(), Want: what}
}

// Checker looks at the values of a decoded file and keeps the first fault.
type Checker struct {
	File string
	Data []byte
	err  *Error
}

// Err is the first fault, an *Error; nil where there was none.
func (c *Checker) Err() error {
	if c.err == nil {
		return nil
	}
	return c.err
}

// Fail records a fault of a key, "table.key" within a table, unless one is there.
func (c *Checker) Fail(key, found, want, cure string) {
	if c.err == nil {
		c.err = &Error{File: c.File, Line: lineOf(c.Data, key), Key: key, Found: found, Want: want, Cure: cure}
	}
}

var idForm = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]*$`)

// ID looks at an id: small letters, digits, '-', '_', '.'.
func (c *Checker) ID(id, cure string) {
	if !idForm.MatchString(id) {
		c.Fail("id", strconv.Quote(id), "small letters, digits, '-', '_' or '.'", cure)
	}
}

// OneOf looks at a choice; "" among the allowed means that it may be left out.
func (c *Checker) OneOf(key, got string, allowed ...string) {
	if !slices.Contains(allowed, got) {
		named := slices.DeleteFunc(slices.Clone(allowed), func(a string) bool { return a == "" })
		c.Fail(key, strconv.Quote(got), "one of "+strings.Join(named, ", "), "")
	}
}

// Between hands on a figure, which must lie within limits unless it is nil; NaN lies
// within none.
func (c *Checker) Between(key string, v *float64, low, high float64) *float64 {
	if v != nil && !(*v >= low && *v <= high) {
		c.Fail(key, strconv.FormatFloat(*v, 'g', -1, 64), fmt.Sprintf("a figure between %g and %g", low, high), "mend it or leave it out")
	}
	return v
}

// lineOf finds the line that sets a key in its table, "table.key", or in the inline
// table on the table's own line. A key without a table may also open one, or stand in
// an inline table. It is 0 when no line does.
func lineOf(data []byte, key string) int {
	key = strings.ToValidUTF8(key, "?")
	table, last, dotted := strings.Cut(key, ".")
	form := `^\[+\s*` + regexp.QuoteMeta(key) + `\s*\]|\b` + regexp.QuoteMeta(key) + `\s*=`
	if dotted {
		form = `^` + regexp.QuoteMeta(table) + `\s*=.*\b` + regexp.QuoteMeta(last) + `\s*=`
	} else {
		table, last = "", key
	}
	loose := regexp.MustCompile(form)
	in, found := "", 0
	for i, line := range strings.Split(string(data), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			in = strings.Trim(strings.SplitN(line, "]", 2)[0], "[ ")
		}
		name, _, sets := strings.Cut(line, "=")
		if sets && in == table && strings.TrimSpace(name) == last {
			return i + 1
		}
		if found == 0 && loose.MatchString(line) {
			found = i + 1
		}
	}
	return found
}
