package job

import "testing"

// An error that wraps one which says what was found and expected does not say it twice.
func TestRequestErrorSaysItOnce(t *testing.T) {
	for _, c := range []struct {
		e    RequestError
		want string
	}{
		{RequestError{Found: "level 2", Want: "a level below 1"}, "found level 2, expected a level below 1"},
		{RequestError{Found: "level 2", Want: "a level below 1", Do: "take 0.9"}, "found level 2, expected a level below 1; take 0.9"},
		{RequestError{Found: "spec: found 5..3, expected a lower limit first", Want: "a specification", Do: "turn them round"}, "spec: found 5..3, expected a lower limit first; turn them round"},
		{RequestError{Found: "a rule that was expected to hold", Want: "one that does"}, "found a rule that was expected to hold, expected one that does"},
	} {
		if got := c.e.Error(); got != c.want {
			t.Errorf("found %q, expected %q", got, c.want)
		}
	}
}
