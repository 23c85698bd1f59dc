package whole

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
)

// Second is the time that a column of a grid on Time stands at: 4 of v_0004s, with
// or without a method behind it. ok is false for any other name.
func Second(name string) (second float64, ok bool) {
	p, ok := trait.PlaceOf(name)
	return p.At, ok && p.Stage == ""
}

// Named is the plan of columns known by their names, each with or without a method
// behind it, in their order: what a model of whole curves asks of a new run. ok is
// false when one of them is no column of a curve.
func Named(names []string) (p Plan, ok bool) {
	for _, name := range names {
		place, ok := trait.PlaceOf(name)
		if !ok {
			return Plan{}, false
		}
		p.add(name, place.Stage, place.At)
	}
	return p, true
}

// IsColumn reports whether a name is a column of a curve, with or without a method
// behind it.
func IsColumn(name string) bool {
	_, ok := trait.PlaceOf(name)
	return ok
}

// Even returns a *GridError unless the names are the columns of one curve on Time,
// three or more, ascending by one step, all of one method.
func Even(names []string) error {
	bad := func(found string) error {
		return &GridError{Found: found, Want: "columns of one curve on time, one step apart", Do: "lay the curves on a grid of time, and leave out or in whole stretches"}
	}
	if len(names) < 3 {
		return bad(fmt.Sprintf("%d columns", len(names)))
	}
	at := make([]float64, len(names))
	for j, name := range names {
		v, ok := Second(name)
		if !ok {
			return bad("the column " + name)
		}
		_, method, _ := strings.Cut(name, "@")
		if _, first, _ := strings.Cut(names[0], "@"); method != first {
			return bad(fmt.Sprintf("the columns %s and %s of two methods", names[0], name))
		}
		at[j] = v
		if j == 0 {
			continue
		}
		if step, first := v-at[j-1], at[1]-at[0]; !(step > 0) || math.Abs(step-first) > 1e-6*first {
			return bad(fmt.Sprintf("%s after %s, where the first step is %g s", name, names[j-1], first))
		}
	}
	return nil
}
