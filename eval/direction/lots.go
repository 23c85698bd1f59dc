package direction

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/direction/rule"
)

// lots are the rows of an Evidence averaged by lot, in order of first appearance.
type lots struct {
	y        []float64
	year     []string
	features []column
	protein  *column
	labels   map[string][]string
}

type column struct {
	id    string
	x     []float64
	known []bool
}

// gather checks shapes and averages rows by lot. A lot whose rows name several
// crop years has none.
func gather(e Evidence) (*lots, error) {
	n := len(e.Y)
	if len(e.Lots) != n {
		return nil, &ShapeError{"lots", fmt.Sprint(len(e.Lots)), fmt.Sprint(n, " as in Y")}
	}
	if e.Year != nil && len(e.Year) != n {
		return nil, &ShapeError{"year", fmt.Sprint(len(e.Year)), fmt.Sprint(n, " as in Y")}
	}
	for name, labels := range e.Labels {
		if len(labels) != n {
			return nil, &ShapeError{name, fmt.Sprint(len(labels), " labels"), fmt.Sprint(n, " as in Y")}
		}
	}
	at, of := map[string]int{}, make([]int, n)
	out := &lots{labels: map[string][]string{}}
	for i, lot := range e.Lots {
		k, ok := at[lot]
		if !ok {
			k = len(at)
			at[lot] = k
			year := ""
			if e.Year != nil {
				year = e.Year[i]
			}
			out.year = append(out.year, year)
		} else if e.Year != nil && e.Year[i] != out.year[k] {
			out.year[k] = ""
		}
		of[i] = k
	}
	for name, labels := range e.Labels {
		byLot := make([]string, len(at))
		for i := n - 1; i >= 0; i-- { // the first row of a lot tells
			byLot[of[i]] = labels[i]
		}
		out.labels[name] = byLot
	}
	mean := func(c FeatureColumn) (column, error) {
		if len(c.X) != n || (c.Present != nil && len(c.Present) != n) {
			return column{}, &ShapeError{c.ID, fmt.Sprint(len(c.X), " figures"), fmt.Sprint(n, " as in Y")}
		}
		col, count := column{c.ID, make([]float64, len(at)), make([]bool, len(at))}, make([]float64, len(at))
		for i, v := range c.X {
			if c.Present != nil && !c.Present[i] {
				continue
			}
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return column{}, &ShapeError{fmt.Sprintf("%s of lot %s", c.ID, e.Lots[i]), fmt.Sprint(v), "a finite number, or marked absent"}
			}
			k := of[i]
			count[k]++
			col.x[k] += (v - col.x[k]) / count[k]
			col.known[k] = true
		}
		return col, nil
	}
	y, err := mean(FeatureColumn{ID: e.Response, X: e.Y})
	if err != nil {
		return nil, err
	}
	out.y = y.x
	for _, c := range e.Features {
		col, err := mean(c)
		if err != nil {
			return nil, err
		}
		out.features = append(out.features, col)
	}
	if e.Protein != nil {
		col, err := mean(*e.Protein)
		if err != nil {
			return nil, err
		}
		out.protein = &col
	}
	return out, nil
}

// among says which lots a rule is put to, and in what groups.
type among struct {
	in     []bool
	out    int   // lots left out
	group  []int // nil: all in one
	groups int   // that have lots here, at least 1
}

// among applies a rule's conditions. A lot without the figure that a limit asks
// for stays: few laboratories measure amylose on every lot. A lot without the
// text that "=" asks for does not.
func (l *lots) among(conditions []rule.Condition) among {
	a := among{in: make([]bool, len(l.y))}
	for i := range a.in {
		a.in[i] = true
	}
	for _, c := range conditions {
		figures, labels := l.figures(c.Column), l.labels[c.Column]
		if c.Op == rule.Within && labels != nil {
			a.group, _ = numbered(labels)
		}
		for i := range a.in {
			switch c.Op {
			case rule.AtLeast:
				a.in[i] = a.in[i] && (figures == nil || !figures.known[i] || figures.x[i] >= c.Limit)
			case rule.AtMost:
				a.in[i] = a.in[i] && (figures == nil || !figures.known[i] || figures.x[i] <= c.Limit)
			case rule.IsNot:
				a.in[i] = a.in[i] && (labels == nil || !strings.EqualFold(strings.TrimSpace(labels[i]), c.Text))
			case rule.Is:
				a.in[i] = a.in[i] && labels != nil && strings.EqualFold(strings.TrimSpace(labels[i]), c.Text)
			}
		}
	}
	groups := map[int]bool{}
	for i, in := range a.in {
		if !in {
			a.out++
		} else if a.group != nil {
			groups[a.group[i]] = true
		}
	}
	a.groups = max(1, len(groups))
	return a
}

// figures are the column of an id, whatever its method, or nil.
func (l *lots) figures(id string) *column {
	for k := range l.features {
		if is, _ := trait.Split(l.features[k].id); is == id {
			return &l.features[k]
		}
	}
	if l.protein != nil && l.protein.id == id {
		return l.protein
	}
	return nil
}

// sprouted reports a falling number that is known and low.
func (l *lots) sprouted() []bool {
	out := make([]bool, len(l.y))
	if f := l.figures(fallingID); f != nil {
		for i, v := range f.x {
			out[i] = f.known[i] && v < fallingLow
		}
	}
	return out
}

// numbered gives distinct texts numbers in order of first appearance.
func numbered(texts []string) (of []int, distinct int) {
	seen := map[string]int{}
	of = make([]int, len(texts))
	for i, t := range texts {
		k, ok := seen[t]
		if !ok {
			k = len(seen)
			seen[t] = k
		}
		of[i] = k
	}
	return of, len(seen)
}
