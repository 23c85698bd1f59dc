package evidence

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/direction/rule"
)

// Lots are the rows of an Evidence averaged by lot, in order of first appearance.
type Lots struct {
	Y        []float64
	Year     []string // "" where unknown
	Features []Column
	Protein  *Column // nil: not known
	labels   map[string][]string
}

// Column is one figure of each lot.
type Column struct {
	ID    string
	X     []float64
	Known []bool
}

// Gather checks shapes and averages rows by lot. A lot whose rows name several
// crop years has none. It returns a *ShapeError.
func Gather(e Evidence) (*Lots, error) {
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
	out := &Lots{labels: map[string][]string{}}
	for i, lot := range e.Lots {
		k, ok := at[lot]
		if !ok {
			k = len(at)
			at[lot] = k
			year := ""
			if e.Year != nil {
				year = e.Year[i]
			}
			out.Year = append(out.Year, year)
		} else if e.Year != nil && e.Year[i] != out.Year[k] {
			out.Year[k] = ""
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
	mean := func(c FeatureColumn) (Column, error) {
		if len(c.X) != n || (c.Present != nil && len(c.Present) != n) {
			return Column{}, &ShapeError{c.ID, fmt.Sprint(len(c.X), " figures"), fmt.Sprint(n, " as in Y")}
		}
		col, count := Column{c.ID, make([]float64, len(at)), make([]bool, len(at))}, make([]float64, len(at))
		for i, v := range c.X {
			if c.Present != nil && !c.Present[i] {
				continue
			}
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return Column{}, &ShapeError{fmt.Sprintf("%s of lot %s", c.ID, e.Lots[i]), fmt.Sprint(v), "a finite number, or marked absent"}
			}
			k := of[i]
			count[k]++
			col.X[k] += (v - col.X[k]) / count[k]
			col.Known[k] = true
		}
		return col, nil
	}
	y, err := mean(FeatureColumn{ID: e.Response, X: e.Y})
	if err != nil {
		return nil, err
	}
	out.Y = y.X
	for _, c := range e.Features {
		col, err := mean(c)
		if err != nil {
			return nil, err
		}
		out.Features = append(out.Features, col)
	}
	if e.Protein != nil {
		col, err := mean(*e.Protein)
		if err != nil {
			return nil, err
		}
		out.Protein = &col
	}
	return out, nil
}

// Among says which lots a rule is put to, and in what groups.
type Among struct {
	In     []bool
	Out    int   // lots left out
	Group  []int // nil: all in one
	Groups int   // that have lots here, at least 1
}

// Among applies a rule's conditions. A lot without the figure that a limit asks
// for stays: few laboratories measure amylose on every lot. A lot without the
// text that "=" asks for does not.
func (l *Lots) Among(conditions []rule.Condition) Among {
	a := Among{In: make([]bool, len(l.Y))}
	for i := range a.In {
		a.In[i] = true
	}
	for _, c := range conditions {
		figures, labels := l.figures(c.Column), l.labels[c.Column]
		if c.Op == rule.Within && labels != nil {
			same := make([]string, len(labels))
			for i, label := range labels {
				same[i] = strings.ToLower(strings.TrimSpace(label))
			}
			a.Group, _ = Numbered(same)
		}
		for i := range a.In {
			switch c.Op {
			case rule.AtLeast:
				a.In[i] = a.In[i] && (figures == nil || !figures.Known[i] || figures.X[i] >= c.Limit)
			case rule.AtMost:
				a.In[i] = a.In[i] && (figures == nil || !figures.Known[i] || figures.X[i] <= c.Limit)
			case rule.IsNot:
				a.In[i] = a.In[i] && (labels == nil || !strings.EqualFold(strings.TrimSpace(labels[i]), c.Text))
			case rule.Is:
				a.In[i] = a.In[i] && labels != nil && strings.EqualFold(strings.TrimSpace(labels[i]), c.Text)
			}
		}
	}
	groups := map[int]bool{}
	for i, in := range a.In {
		if !in {
			a.Out++
		} else if a.Group != nil {
			groups[a.Group[i]] = true
		}
	}
	a.Groups = max(1, len(groups))
	return a
}

// figures are the column of an id, whatever its method, or nil.
func (l *Lots) figures(id string) *Column {
	for k := range l.Features {
		if is, _ := trait.Split(l.Features[k].ID); is == id {
			return &l.Features[k]
		}
	}
	if l.Protein != nil && l.Protein.ID == id {
		return l.Protein
	}
	return nil
}

// Sprouted reports, for each lot, a falling number that is known and low.
func (l *Lots) Sprouted() []bool {
	out := make([]bool, len(l.Y))
	if f := l.figures(fallingID); f != nil {
		for i, v := range f.X {
			out[i] = f.Known[i] && v < FallingLow
		}
	}
	return out
}

// Numbered gives distinct texts numbers in order of first appearance.
func Numbered(texts []string) (of []int, distinct int) {
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
