package catalog

import (
	"errors"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
)

// plain is the least that a method can be: it fits, and says nothing of its path.
type plain struct{}

func (plain) Kind() string                           { return "plain" }
func (plain) Fit(*design.Matrix) (model.Path, error) { return nil, nil }

// TestPlainMethods: a transform needs to know how long a path is.
func TestPlainMethods(t *testing.T) {
	if f, err := around(plain{}, "plain", Options{}); err != nil || f != (plain{}) {
		t.Errorf("without a transform: %v, %v", f, err)
	}
	var set *model.SettingError
	for _, o := range []Options{{Log: true}, {Orders: []int{1}, Window: 5}} {
		if f, err := around(plain{}, "plain", o); !errors.As(err, &set) || f != nil {
			t.Errorf("%+v: %v, %v", o, f, err)
		}
	}
}
