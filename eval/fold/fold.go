// Package fold splits rows into folds so that a unit (a lot, or a family of
// lots) never parts.
//
//  1. Units says what belongs together: rows of one lot, and lots of one family.
//  2. ByUnit, LeaveOneOut and ByValue make a Plan; Parse reads the short names
//     that people write.
//  3. A Plan is data: the fold of every row, for every repeat.
//
// It refuses splits that cannot be made honestly: fewer units than folds, a
// column that would part a lot, a row without the value that decides its fold.
package fold

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flourcast/work"
)

// Default is the number of folds when nothing else is asked for, and Few the
// number of units below which each unit is left out in turn instead.
const (
	Default = 10
	Few     = 20
)

// Plan is a split, once or repeated. Fold[r][i] is row i's fold in repeat r,
// 0…K[r]-1; every fold has at least one row.
type Plan struct {
	Scheme string // in words: "10-fold by lot", "leave one crop year out"
	Fold   [][]int
	K      []int
}

// Repeats is the number of repeats.
func (p Plan) Repeats() int { return len(p.Fold) }

// First is the plan's first r repeats (all of them if it has no more).
func (p Plan) First(r int) Plan {
	r = min(r, len(p.Fold))
	return Plan{p.Scheme, p.Fold[:r], p.K[:r]}
}

// Test lists the rows of a fold in order.
func (p Plan) Test(repeat, fold int) []int {
	var rows []int
	for i, f := range p.Fold[repeat] {
		if f == fold {
			rows = append(rows, i)
		}
	}
	return rows
}

// Sorted lists all rows of a repeat, fold after fold and in order within each, and
// where each fold ends.
func (p Plan) Sorted(repeat int) (rows, ends []int) {
	ends = make([]int, p.K[repeat]+1)
	for _, f := range p.Fold[repeat] {
		ends[f+1]++
	}
	for k := 1; k < len(ends); k++ {
		ends[k] += ends[k-1]
	}
	rows = make([]int, len(p.Fold[repeat]))
	for i, f := range p.Fold[repeat] {
		rows[ends[f]] = i
		ends[f]++
	}
	return rows, ends[:len(ends)-1]
}

// Largest is the number of rows of the largest fold.
func (p Plan) Largest() int {
	most := 0
	for r, of := range p.Fold {
		size := make([]int, p.K[r])
		for _, k := range of {
			size[k]++
			most = max(most, size[k])
		}
	}
	return most
}

// TooFewUnitsError says that there are fewer units than a split needs.
type TooFewUnitsError struct {
	Scheme     string
	Have, Need int
}

func (e *TooFewUnitsError) Error() string {
	return fmt.Sprintf("fold: %s: found %d separate lots or groups, expected at least %d; measure more lots or ask for fewer folds", e.Scheme, e.Have, e.Need)
}

// MissingError names the first row without the value that decides its fold.
type MissingError struct {
	Scheme string
	Row    int // from 0
	Lot    string
}

func (e *MissingError) Error() string {
	return fmt.Sprintf("fold: %s: row %d (lot %s) has no value, expected one in every row; fill it in or leave the row out", e.Scheme, e.Row+1, e.Lot)
}

// PartedError names a lot that a split would put on both sides.
type PartedError struct{ Scheme, Lot, A, B string }

func (e *PartedError) Error() string {
	return fmt.Sprintf("fold: %s: lot %s has both %q and %q, expected one value a lot; correct it or split by lot", e.Scheme, e.Lot, e.A, e.B)
}

// SpecError says that a split's name was not understood.
type SpecError struct{ Found, Want string }

func (e *SpecError) Error() string {
	return fmt.Sprintf("fold: found %q, expected %s", e.Found, e.Want)
}

// Check returns an error unless the plan splits n rows into at least two folds
// with rows in each: a *TooFewUnitsError, or a *SpecError for a plan that was
// not made here.
func (p Plan) Check(n int) error {
	if len(p.Fold) == 0 || len(p.K) != len(p.Fold) {
		return &SpecError{p.Scheme, "a plan with at least one repeat"}
	}
	for r, f := range p.Fold {
		if len(f) != n {
			return &SpecError{p.Scheme, fmt.Sprintf("a plan for %d rows", n)}
		}
		if p.K[r] < 2 {
			return &TooFewUnitsError{p.Scheme, p.K[r], 2}
		}
		seen := make([]bool, p.K[r])
		for _, k := range f {
			if k < 0 || k >= p.K[r] {
				return &SpecError{p.Scheme, "folds numbered from 0"}
			}
			seen[k] = true
		}
		if slices.Contains(seen, false) {
			return &SpecError{p.Scheme, "rows in every fold"}
		}
	}
	return nil
}

// index numbers distinct values in order of first appearance.
func index(values []string) (of []int, distinct int) {
	seen := make(map[string]int, len(values))
	of = make([]int, len(values))
	for i, v := range values {
		k, ok := seen[v]
		if !ok {
			k = len(seen)
			seen[v] = k
		}
		of[i] = k
	}
	return of, len(seen)
}

// ByUnit deals whole units into k folds, repeats times. Within a repeat the
// units are shuffled, then taken largest first, each into the fold with the
// fewest rows so far (then fewest units, then lowest number): fold sizes differ
// by no more than the largest unit. Same seed, same plan. It returns a
// *TooFewUnitsError when there are fewer than k units, a *SpecError when k < 2
// or repeats < 1.
func ByUnit(units []string, k, repeats int, seed uint64) (Plan, error) {
	scheme := fmt.Sprintf("%d-fold by unit", k)
	if k < 2 || repeats < 1 {
		return Plan{}, &SpecError{fmt.Sprintf("%d folds, %d repeats", k, repeats), "at least 2 folds and 1 repeat"}
	}
	of, distinct := index(units)
	if distinct < k {
		return Plan{}, &TooFewUnitsError{scheme, distinct, k}
	}
	size := make([]int, distinct)
	for _, u := range of {
		size[u]++
	}
	p := Plan{Scheme: scheme}
	for r := range repeats {
		order := work.Rand(seed, "fold", strconv.Itoa(r)).Perm(distinct)
		slices.SortStableFunc(order, func(a, b int) int { return size[b] - size[a] })
		rows, members := make([]int, k), make([]int, k)
		at := make([]int, distinct)
		for _, u := range order {
			best := 0
			for f := 1; f < k; f++ {
				if rows[f] < rows[best] || rows[f] == rows[best] && members[f] < members[best] {
					best = f
				}
			}
			at[u] = best
			rows[best] += size[u]
			members[best]++
		}
		f := make([]int, len(of))
		for i, u := range of {
			f[i] = at[u]
		}
		p.Fold, p.K = append(p.Fold, f), append(p.K, k)
	}
	return p, nil
}

// LeaveOneOut makes each unit a fold, in order of first appearance. With one
// unit the plan has one fold, which Check refuses.
func LeaveOneOut(units []string) Plan {
	of, distinct := index(units)
	return Plan{"leave one unit out", [][]int{of}, []int{distinct}}
}

// ByValue makes each distinct value a fold, in order of first appearance. It
// returns a *MissingError for an empty value and a *TooFewUnitsError when there
// is only one value.
func ByValue(scheme string, values []string) (Plan, error) {
	for i, v := range values {
		if strings.TrimSpace(v) == "" {
			return Plan{}, &MissingError{Scheme: scheme, Row: i}
		}
	}
	of, distinct := index(values)
	if distinct < 2 {
		return Plan{}, &TooFewUnitsError{scheme, distinct, 2}
	}
	return Plan{scheme, [][]int{of}, []int{distinct}}, nil
}

// Inner is the split inside a training part: Default folds by unit, or each unit
// left out in turn when there are no more units than that.
func Inner(units []string, seed uint64) (Plan, error) {
	_, distinct := index(units)
	if distinct < 2 {
		return Plan{}, &TooFewUnitsError{"the split inside a training part", distinct, 2}
	}
	return ByUnit(units, min(Default, distinct), 1, seed)
}
