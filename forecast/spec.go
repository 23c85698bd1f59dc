package forecast

// Spec is the range a customer wants: nil on a side without a limit.
type Spec struct {
	Response string
	Low      *float64
	High     *float64
}

// SpecError says what is wrong with a written specification.
type SpecError struct{ Found, Want, Do string }

func (e *SpecError) Error() string {
	return "spec: found " + e.Found + ", expected " + e.Want + "; " + e.Do
}

func ParseSpec(s string) (Spec, error) { panic("forecast: not built yet") }
