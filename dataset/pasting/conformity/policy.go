package conformity

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Policy says what deviations do to a run: with Refuse they refuse it, else they
// are doubts. Of says so for single codes and goes before All. The zero Policy
// warns of everything.
type Policy struct {
	All Action
	Of  map[string]Action
}

// Action is warn or refuse.
type Action string

// The actions.
const (
	Warn   Action = "warn"
	Refuse Action = "refuse"
)

// Refuses reports whether a deviation of the code refuses the run.
func (p Policy) Refuses(code string) bool {
	if a, stated := p.Of[code]; stated {
		return a == Refuse
	}
	return p.All == Refuse
}

// Waives reports whether the policy says of this very code that it only warns.
func (p Policy) Waives(code string) bool { return p.Of[code] == Warn }

// Codes are the codes of all deviations, sorted.
func Codes() []string {
	codes := append(slices.Collect(maps.Keys(effects)), own...)
	slices.Sort(codes)
	return codes
}

// PolicyError says which word of a policy is not understood.
type PolicyError struct{ Word, Want string }

func (e *PolicyError) Error() string {
	return fmt.Sprintf("policy %q: expected %s", e.Word, e.Want)
}

// ParsePolicy reads words such as "refuse", "gap=warn": an action for all
// deviations, or for one code. A later word goes before an earlier one. The
// error is a *PolicyError.
func ParsePolicy(words []string) (Policy, error) {
	p := Policy{All: Warn, Of: map[string]Action{}}
	for _, word := range words {
		code, action, single := strings.Cut(word, "=")
		if !single {
			code, action = "", word
		}
		a := Action(action)
		if a != Warn && a != Refuse {
			return Policy{}, &PolicyError{word, "warn, refuse, or CODE=warn, CODE=refuse"}
		}
		switch {
		case !single:
			p.All, p.Of = a, map[string]Action{}
		case slices.Contains(Codes(), code):
			p.Of[code] = a
		default:
			return Policy{}, &PolicyError{word, "a code among " + strings.Join(Codes(), ", ")}
		}
	}
	return p, nil
}
