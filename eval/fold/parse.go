package fold

import (
	"fmt"
	"strconv"
	"strings"
)

// Rows is what a split needs to know of a matrix (a *design.Matrix is one): the
// lot of each row, and row labels by name.
type Rows interface {
	Lots() []string
	Grouping(name string) ([]string, bool)
}

// Units names the unit of each row, and what units are: "family" when m has
// that grouping, else "lot". Rows of one lot share a unit, and so do lots of one
// family (lots with a common parent, however the chain runs); a lot without a
// family is its own unit.
func Units(m Rows) (units []string, what string) {
	lots := m.Lots()
	family, ok := m.Grouping("family")
	if !ok {
		return lots, "lot"
	}
	lot, nLots := index(lots)
	fam, nFam := index(family)
	parent := make([]int, nLots+nFam)
	for i := range parent {
		parent[i] = i
	}
	root := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for i := range lots {
		if strings.TrimSpace(family[i]) != "" {
			a, b := root(lot[i]), root(nLots+fam[i])
			parent[max(a, b)] = min(a, b)
		}
	}
	name := make(map[int]string)
	units = make([]string, len(lots))
	for i := range lots {
		r := root(lot[i])
		if name[r] == "" {
			name[r] = lots[i]
		}
		units[i] = name[r]
	}
	return units, "family"
}

// Parse reads a split's short name:
//
//	lot          10-fold by lot; below 20 lots each lot is left out in turn
//	k=N          N-fold by lot
//	loo          each lot left out in turn
//	year         each crop year left out in turn (grouping crop_year)
//	supplier     each supplier left out in turn
//	column=NAME  each value of the grouping NAME left out in turn
//
// For "lot" read "family" when m has that grouping (see Units). repeats and seed
// apply to lot and k=N; the others have one repeat. Errors: *SpecError,
// *TooFewUnitsError, *MissingError, *PartedError.
func Parse(spec string, m Rows, repeats int, seed uint64) (Plan, error) {
	units, what := Units(m)
	_, distinct := index(units)
	leave := func() (Plan, error) {
		p := LeaveOneOut(units)
		p.Scheme = "leave one " + what + " out"
		if distinct < 2 {
			return Plan{}, &TooFewUnitsError{p.Scheme, distinct, 2}
		}
		return p, nil
	}
	deal := func(k int) (Plan, error) {
		p, err := ByUnit(units, k, repeats, seed)
		if err != nil {
			return Plan{}, err
		}
		p.Scheme = fmt.Sprintf("%d-fold by %s", k, what)
		if repeats > 1 {
			p.Scheme += fmt.Sprintf(", %d times", repeats)
		}
		return p, nil
	}
	switch {
	case spec == "lot" && distinct < Few, spec == "loo":
		return leave()
	case spec == "lot":
		return deal(Default)
	case strings.HasPrefix(spec, "k="):
		k, err := strconv.Atoi(spec[2:])
		if err != nil || k < 2 {
			return Plan{}, &SpecError{spec, "k=N with N at least 2"}
		}
		return deal(k)
	case spec == "year":
		return byGrouping("leave one crop year out", "crop_year", m)
	case spec == "supplier":
		return byGrouping("leave one supplier out", "supplier", m)
	case strings.HasPrefix(spec, "column=") && len(spec) > len("column="):
		name := spec[len("column="):]
		return byGrouping("leave one "+name+" out", name, m)
	}
	return Plan{}, &SpecError{spec, "lot, k=N, loo, year, supplier or column=NAME"}
}

func byGrouping(scheme, name string, m Rows) (Plan, error) {
	values, ok := m.Grouping(name)
	if !ok {
		return Plan{}, &SpecError{scheme, "a table with the column " + name}
	}
	lots := m.Lots()
	seen := make(map[string]string)
	for i, v := range values {
		if strings.TrimSpace(v) == "" {
			return Plan{}, &MissingError{scheme, i, lots[i]}
		}
		if was, ok := seen[lots[i]]; ok && was != v {
			return Plan{}, &PartedError{scheme, lots[i], was, v}
		}
		seen[lots[i]] = v
	}
	return ByValue(scheme, values)
}
