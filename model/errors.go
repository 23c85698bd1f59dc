package model

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"flourcast/model/moment"
)

// ErrNeedRows says that cross-products would lose too many digits here: fit
// these rows with Fit instead. Evaluation does so by itself.
var ErrNeedRows = errors.New("model: cross-products are too ill-conditioned; fit the rows themselves")

// Term is one feature's part in a dependence.
type Term struct {
	Coefficient float64
	Feature     string
}

// Dependence is a feature that others give exactly: Feature = Constant + Σ Terms.
type Dependence struct {
	Feature  string
	Terms    []Term
	Constant float64
}

// String writes the dependence as an equation, coefficients to 4 digits, the
// constant left out when it is negligible.
func (d Dependence) String() string {
	var b strings.Builder
	add := func(c float64, name string) {
		switch {
		case c < 0 && b.Len() == 0:
			b.WriteString("−")
		case c < 0:
			b.WriteString(" − ")
		case b.Len() > 0:
			b.WriteString(" + ")
		}
		number := strconv.FormatFloat(math.Abs(c), 'g', 4, 64)
		switch {
		case name == "":
			b.WriteString(number)
		case number == "1":
			b.WriteString(name)
		default:
			b.WriteString(number + "·" + name)
		}
	}
	for _, t := range d.Terms {
		add(t.Coefficient, t.Feature)
	}
	if d.Constant != 0 || len(d.Terms) == 0 {
		add(d.Constant, "")
	}
	return d.Feature + " = " + b.String()
}

// RankError says that features determine each other exactly, so that their
// separate coefficients do not exist.
type RankError struct {
	Kind           string
	Rank, Features int
	Dependences    []Dependence
}

func (e *RankError) Error() string {
	parts := make([]string, len(e.Dependences))
	for i, d := range e.Dependences {
		parts[i] = d.String()
	}
	return fmt.Sprintf("%s: found rank %d of %d features (%s), expected features that do not determine each other; leave one of each equation out, or use ridge or pls",
		e.Kind, e.Rank, e.Features, strings.Join(parts, "; "))
}

// NoVarianceError names features, or the response, that have the same value in
// every row (or differ by no more than rounding).
type NoVarianceError struct {
	Kind     string
	Features []string
	Response string // empty when the response varies
}

func (e *NoVarianceError) Error() string {
	if e.Response != "" {
		return fmt.Sprintf("%s: found the same %s in every row, expected a response that varies; measure lots that differ", e.Kind, e.Response)
	}
	return fmt.Sprintf("%s: found no variation in %s, expected features that differ between rows; leave them out", e.Kind, strings.Join(e.Features, ", "))
}

// NoCovarianceError says that no feature goes along with the response at all, so
// that a method that follows covariance has nowhere to start.
type NoCovarianceError struct{ Kind, Response string }

func (e *NoCovarianceError) Error() string {
	return fmt.Sprintf("%s: found no covariance of any feature with %s, expected some; use other features", e.Kind, e.Response)
}

// TooFewRowsError says how many training rows a method needs.
type TooFewRowsError struct {
	Kind       string
	Rows, Need int
}

func (e *TooFewRowsError) Error() string {
	return fmt.Sprintf("%s: found %d training rows, expected at least %d; measure more lots or use fewer features", e.Kind, e.Rows, e.Need)
}

// RangeError names a column whose figures cannot be squared safely.
type RangeError = moment.RangeError

// SettingError says which setting of a method was not possible.
type SettingError struct{ Kind, Setting, Found, Want string }

func (e *SettingError) Error() string {
	return fmt.Sprintf("%s: %s: found %s, expected %s", e.Kind, e.Setting, e.Found, e.Want)
}
