package model

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// PayloadError says what was wrong with a saved fitted model.
type PayloadError struct{ Kind, Found, Want string }

func (e *PayloadError) Error() string {
	return fmt.Sprintf("%s: saved model: found %s, expected %s; fit the model again", e.Kind, e.Found, e.Want)
}

// DecodePayload reads one JSON object into v, a pointer to a struct. Fields that
// v does not have, figures that are not finite and text after the object are a
// *PayloadError.
func DecodePayload(kind string, data []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return &PayloadError{kind, err.Error(), "the fields that this version writes"}
	}
	if _, err := d.Token(); err != io.EOF {
		return &PayloadError{kind, "text after the object", "one JSON object"}
	}
	return nil
}

// CheckLength returns a *PayloadError unless a saved list has the length wanted.
func CheckLength(kind, name string, have, want int) error {
	if have != want {
		return &PayloadError{kind, fmt.Sprintf("%d figures in %s", have, name), fmt.Sprint(want)}
	}
	return nil
}
