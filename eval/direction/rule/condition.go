package rule

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Operators of a Condition.
const (
	AtLeast = ">="
	AtMost  = "<="
	Is      = "="
	IsNot   = "!="
	Within  = "within"
)

// Condition restricts a rule to lots for which it was meant.
//
//	amylose_pct>=12      lots whose figure is lower are left out; lots without a figure stay
//	falling_number_s<=90 likewise
//	treatment=heat       only lots with this text
//	blend!=waxy          lots with this text are left out; lots without a text stay
//	within treatment     all lots, each set against the mean of its own treatment
type Condition struct {
	Column string
	Op     string  // >=, <=, =, != or within
	Limit  float64 // of >= and <=
	Text   string  // of = and !=
}

// ConditionError says which part of a rule's `when` was not understood.
type ConditionError struct{ Found string }

func (e *ConditionError) Error() string {
	return fmt.Sprintf("found %q, expected NAME>=FIGURE, NAME<=FIGURE, NAME=TEXT, NAME!=TEXT or within NAME, several separated by semicolons", e.Found)
}

// ParseConditions reads the conditions of a rule's `when`, separated by
// semicolons; empty text has none. It returns a *ConditionError.
func ParseConditions(when string) ([]Condition, error) {
	var out []Condition
	for _, part := range strings.Split(when, ";") {
		part = strings.TrimSpace(part)
		if part == "" && strings.TrimSpace(when) == "" {
			return nil, nil
		}
		c, ok := parseCondition(part)
		if !ok {
			return nil, &ConditionError{part}
		}
		out = append(out, c)
	}
	return out, nil
}

func parseCondition(part string) (Condition, bool) {
	if name, ok := strings.CutPrefix(part, Within+" "); ok {
		c := Condition{Column: strings.TrimSpace(name), Op: Within}
		return c, c.Column != "" && !strings.ContainsAny(c.Column, " <>=")
	}
	for _, op := range []string{AtLeast, AtMost} {
		name, figure, ok := strings.Cut(part, op)
		if !ok {
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(figure), 64)
		c := Condition{Column: strings.TrimSpace(name), Op: op, Limit: v}
		return c, err == nil && !math.IsInf(v, 0) && !math.IsNaN(v) && c.Column != "" && !strings.ContainsAny(c.Column, " <>=")
	}
	op := Is
	if strings.Contains(part, IsNot) {
		op = IsNot
	}
	name, text, ok := strings.Cut(part, op)
	c := Condition{Column: strings.TrimSpace(name), Op: op, Text: strings.TrimSpace(text)}
	return c, ok && c.Column != "" && c.Text != "" && !strings.ContainsAny(c.Column, " <>!") && !strings.ContainsAny(c.Text, "<>=")
}

// Needs returns the rule's conditions. They were read once already, so those of
// a rule that Parse made are in order; a condition that a caller mistyped in Go
// panics.
func (r Rule) Needs() []Condition {
	out, err := ParseConditions(r.When)
	if err != nil {
		panic("rule: " + r.ID + ": " + err.Error())
	}
	return out
}
