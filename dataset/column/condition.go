package column

import (
	"fmt"
	"strings"

	"flourcast/dataset/treatment"
)

// Treatment is the column that says how a flour was treated.
const Treatment = "treatment"

// Condition keeps rows whose cell in Column is Value. In the column treatment,
// wordings of one kind ("none", "unbleached") are one value.
type Condition struct {
	Column string `json:"column"`
	Value  string `json:"value"`
}

// String is the condition as it is written.
func (c Condition) String() string { return c.Column + "=" + c.Value }

// ParseCondition reads "column=value".
func ParseCondition(text string) (Condition, error) {
	column, value, ok := strings.Cut(text, "=")
	c := Condition{strings.TrimSpace(column), strings.TrimSpace(value)}
	if !ok || c.Column == "" || c.Value == "" {
		return c, fmt.Errorf("found %q, expected column=value, such as treatment=none", text)
	}
	return c, nil
}

// Holds reports whether a cell's text meets the condition.
func (c Condition) Holds(text string) bool {
	if c.Column == Treatment {
		return treatment.Matches(text, c.Value)
	}
	return text == c.Value
}
