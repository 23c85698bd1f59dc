package components

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// term is a column of cells: cell[i] is the cell of row i, from 0.
type term struct {
	name    string
	factors []string
	cell    []int
	levels  int
}

// place decides for every factor within which earlier ones it lies, and returns
// its cells.
func (a *Analysis) place(factors []Factor, opt Options) []term {
	var out []term
	for k, f := range factors {
		own, labels := number(f.Labels)
		p := Placed{Name: f.Name, Labels: labels}
		recurs := false
		within := make([]bool, k)
		for j := range k {
			within[j] = refines(own, labels, out[j].cell)
			recurs = recurs || !within[j]
		}
		all := slices.Contains(opt.Nested, f.Name)
		if !all && recurs && !slices.Contains(opt.Crossed, f.Name) && counts(f.Labels) {
			all, p.Counted = true, true
		}
		key := [][]int{own}
		t := term{name: f.Name}
		for j := range k {
			if all || within[j] {
				p.Within = append(p.Within, out[j].name)
				key = append(key, out[j].cell)
				for _, n := range out[j].factors {
					if !slices.Contains(t.factors, n) {
						t.factors = append(t.factors, n)
					}
				}
			} else {
				p.Crossed = append(p.Crossed, out[j].name)
			}
		}
		t.factors = append(t.factors, f.Name)
		t.cell, t.levels = combine(key)
		a.Factors = append(a.Factors, p)
		out = append(out, t)
	}
	return out
}

// terms puts the factors and their two-way interactions in order: a factor, then
// its interactions with the earlier ones that it crosses. A factor with one row
// in every cell is the residual, and gives it its name; an interaction like that
// is the residual too.
func (a *Analysis) terms(factors []Factor, cells []term) (out []term, residual string) {
	residual = Residual
	for k, t := range cells {
		if t.levels == a.N {
			if residual == Residual {
				residual = t.name
			}
			continue
		}
		out = append(out, t)
		for j := range k {
			if !slices.Contains(a.Factors[k].Crossed, cells[j].name) || cells[j].levels == a.N {
				continue
			}
			both := term{name: cells[j].name + ":" + t.name, factors: slices.Clone(cells[j].factors)}
			for _, n := range t.factors {
				if !slices.Contains(both.factors, n) {
					both.factors = append(both.factors, n)
				}
			}
			both.cell, both.levels = combine([][]int{cells[j].cell, t.cell})
			if both.levels < a.N && both.levels > max(cells[j].levels, t.levels) {
				out = append(out, both)
			}
		}
	}
	return out, residual
}

// number gives every label a number, in order of appearance.
func number(labels []string) (cell []int, n int) {
	at := map[string]int{}
	cell = make([]int, len(labels))
	for i, l := range labels {
		k, ok := at[l]
		if !ok {
			k = len(at)
			at[l] = k
		}
		cell[i] = k
	}
	return cell, len(at)
}

// combine numbers the combinations that there are, in order of appearance.
func combine(keys [][]int) (cell []int, n int) {
	cell = slices.Clone(keys[0])
	for _, next := range keys[1:] {
		at := map[[2]int]int{}
		for i := range cell {
			pair := [2]int{cell[i], next[i]}
			k, ok := at[pair]
			if !ok {
				k = len(at)
				at[pair] = k
			}
			cell[i] = k
		}
	}
	for _, c := range cell {
		n = max(n, c+1)
	}
	return cell, n
}

// refines reports whether every cell of fine (numbered below n) lies in one cell of coarse.
func refines(fine []int, n int, coarse []int) bool {
	in := make([]int, n)
	for i := range in {
		in[i] = -1
	}
	for i, c := range fine {
		if in[c] >= 0 && in[c] != coarse[i] {
			return false
		}
		in[c] = coarse[i]
	}
	return true
}

var counted = regexp.MustCompile(`^(\pL*[ _-]?)0*(\d{1,4})$`)

// counts reports whether the labels are no more than numbers of a count: one
// prefix and every number from 1 to the last, or the letters from a (or A).
func counts(labels []string) bool {
	distinct := slices.Clone(labels)
	slices.Sort(distinct)
	distinct = slices.Compact(distinct)
	if first := distinct[0]; first == "a" || first == "A" {
		for i, l := range distinct {
			if len(l) != 1 || l[0] != first[0]+byte(i) {
				return false
			}
		}
		return true
	}
	var prefix string
	seen := map[int]bool{}
	for i, l := range distinct {
		m := counted.FindStringSubmatch(strings.TrimSpace(l))
		if m == nil || i > 0 && m[1] != prefix {
			return false
		}
		prefix = m[1]
		n, err := strconv.Atoi(m[2])
		if err != nil || n < 1 || n > len(distinct) {
			return false
		}
		seen[n] = true
	}
	return len(seen) == len(distinct)
}
