package forecast

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"flourcast/dataset/trait"
)

// Spec is the range within which a lot's response must lie, limits included; nil
// on a side without a limit. Figures are in the unit of the response's name.
type Spec struct {
	Response string   `json:"response"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
}

// SpecError says what is wrong with a specification.
type SpecError struct{ Found, Want, Do string }

func (e *SpecError) Error() string {
	return "specification: found " + e.Found + ", expected " + e.Want + "; " + e.Do
}

const specForm = "RESPONSE=LOW..HIGH, such as hardness_N=3.2..4.0, hardness_N=3.2.. or hardness_N=..4.0"

// ParseSpec reads "hardness_N=3.2..4.0"; either limit may be left out. It returns
// a *SpecError for another form, a figure that is no finite decimal number, no
// limit at all, or a lower limit that is not below the upper one.
func ParseSpec(s string) (Spec, error) {
	name, limits, ok := strings.Cut(s, "=")
	name = strings.TrimSpace(name)
	if !ok || name == "" {
		return Spec{}, &SpecError{strconv.Quote(s), specForm, "name the response, then = and its limits"}
	}
	low, high, ok := strings.Cut(limits, "..")
	if !ok {
		do := "put two points between the limits"
		if strings.Contains(limits, ",") {
			do += ", and write decimals with a point"
		}
		return Spec{}, &SpecError{strconv.Quote(s), specForm, do}
	}
	spec := Spec{Response: name}
	for _, side := range []struct {
		text string
		to   **float64
	}{{low, &spec.Low}, {high, &spec.High}} {
		text := strings.TrimSpace(side.text)
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || strings.Trim(text, "0123456789.+-eE") != "" {
			do := "write the figure without a unit: it is in the unit of the response's name"
			if strings.Contains(text, ",") {
				do = "write decimals with a point"
			}
			return Spec{}, &SpecError{strconv.Quote(text), "a finite decimal number", do}
		}
		*side.to = &v
	}
	return spec, spec.Check()
}

// Check returns a *SpecError for a specification that no lot or every lot meets:
// no response, no limit, a limit that is not finite, or low not below high.
func (s Spec) Check() error {
	switch {
	case s.Response == "":
		return &SpecError{"no response", specForm, "name the response"}
	case s.Low == nil && s.High == nil:
		return &SpecError{"no limit for " + s.Response, specForm, "give at least one limit"}
	}
	for _, v := range []*float64{s.Low, s.High} {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
			return &SpecError{fmt.Sprint(*v), "a finite number", "leave out a limit that does not exist"}
		}
	}
	if s.Low != nil && s.High != nil && *s.Low >= *s.High {
		return &SpecError{fmt.Sprintf("%v..%v", *s.Low, *s.High), "a lower limit below the upper one", "put the smaller figure first"}
	}
	return nil
}

// String writes the specification as ParseSpec reads it.
func (s Spec) String() string {
	side := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	}
	return s.Response + "=" + side(s.Low) + ".." + side(s.High)
}

// Met reports whether a figure of the response lies within the limits; a limit itself
// does.
func (s Spec) Met(v float64) bool {
	return (s.Low == nil || v >= *s.Low) && (s.High == nil || v <= *s.High)
}

// Width is high − low of a two-sided specification.
func (s Spec) Width() (float64, bool) {
	if s.Low == nil || s.High == nil {
		return 0, false
	}
	return *s.High - *s.Low, true
}

// words say the specification to a person: "3.20 to 4.00 N".
func (s Spec) words() string {
	switch {
	case s.Low == nil:
		return "at most " + amount(s.Response, *s.High)
	case s.High == nil:
		return "at least " + amount(s.Response, *s.Low)
	}
	return trait.Format(s.Response, *s.Low) + " to " + amount(s.Response, *s.High)
}

// amount is a figure of a column with its unit.
func amount(column string, v float64) string {
	text := strings.Replace(trait.Format(column, v), "-", "−", 1)
	if _, unit, _ := trait.Words(column); unit != "" {
		return text + " " + unit
	}
	return text
}
