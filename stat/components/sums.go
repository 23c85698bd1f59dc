package components

import (
	"fmt"
	"math"
)

// sums are sequential sums of squares: ss and df have one entry a term and one
// for the residual; expected[k][j] is the coefficient of the variance of term j
// in the expectation of ss[k].
type sums struct {
	ss       []float64
	df       []int
	expected [][]float64
}

// mostColumns is up to how many cells crossed factors may have: the work grows
// with their cube (about two seconds at this size).
const mostColumns = 1500

// sequential takes the sums by group means where every term lies within the one
// before it, else by elimination on the cross-products of the indicator columns.
func sequential(centred []float64, terms []term) (sums, error) {
	chain := true
	columns := 1
	for k, t := range terms {
		columns += t.levels
		chain = chain && (k == 0 || refines(t.cell, t.levels, terms[k-1].cell))
	}
	if chain {
		return nested(centred, terms), nil
	}
	if columns > mostColumns {
		return sums{}, &Error{"crossed factors", fmt.Sprint(columns, " cells"), fmt.Sprint("at most ", mostColumns, "; leave a factor out, or split the data")}
	}
	return eliminate(centred, terms), nil
}

// nested: P_k y are the means of the cells of term k, and
// tr(Z_j' P_k Z_j) = Σ over cells g of k of Σ over cells h of j in g of n_h²/n_g.
func nested(centred []float64, terms []term) sums {
	n := len(centred)
	s := sums{ss: make([]float64, len(terms)+1), df: make([]int, len(terms)+1), expected: make([][]float64, len(terms))}
	before := term{cell: make([]int, n), levels: 1}
	meansBefore, sizesBefore := make([]float64, 1), []float64{float64(n)} // centred: the mean is 0
	ofBefore := traces(before, sizesBefore, terms)                        // of terms from k on
	for k, t := range terms {
		means, sizes := cellMeans(centred, t)
		for i, c := range t.cell {
			d := means[c] - meansBefore[before.cell[i]]
			s.ss[k] += d * d
		}
		s.df[k] = t.levels - before.levels
		of := traces(t, sizes, terms[k:])
		s.expected[k] = make([]float64, len(terms))
		for j := range of {
			s.expected[k][k+j] = of[j] - ofBefore[j]
		}
		before, meansBefore, ofBefore = t, means, of[1:]
	}
	last := len(terms)
	for i, c := range before.cell {
		d := centred[i] - meansBefore[c]
		s.ss[last] += d * d
	}
	s.df[last] = n - before.levels
	return s
}

func cellMeans(y []float64, t term) (means, sizes []float64) {
	means, sizes = make([]float64, t.levels), make([]float64, t.levels)
	for _, c := range t.cell {
		sizes[c]++
	}
	for i, c := range t.cell {
		means[c] += y[i] / sizes[c]
	}
	return means, sizes
}

// traces are tr(Z_j' P Z_j) for the terms j, each t itself or finer; P takes the
// means of the cells of t.
func traces(t term, sizes []float64, terms []term) []float64 {
	out := make([]float64, len(terms))
	for j, u := range terms {
		in, own := make([]int, u.levels), make([]float64, u.levels)
		for i, c := range u.cell {
			in[c] = t.cell[i]
			own[c]++
		}
		for c := range own {
			out[j] += own[c] * own[c] / sizes[in[c]]
		}
	}
	return out
}

// eliminate factors the cross-product matrix W'W of W = [1 Z_1 Z_2 …], columns in
// order, as L·L'; a column that depends on the ones before it has pivot zero and
// is passed over. With row y of L from the same elimination,
//
//	SS_k = Σ_{a in k} L[y,a]²   df_k = pivots in k   tr[Z_j'(P_k − P_{k−1})Z_j] = Σ_{b in j, a in k} L[b,a]²
func eliminate(centred []float64, terms []term) sums {
	first := []int{0, 1} // first column of the intercept, of each term; the end
	for _, t := range terms {
		first = append(first, first[len(first)-1]+t.levels)
	}
	q := first[len(first)-1]
	column := func(k, row int) int {
		if k == 0 {
			return 0
		}
		return first[k] + terms[k-1].cell[row]
	}
	g := make([][]float64, q+1) // lower triangle; row q is y
	for i := range g {
		g[i] = make([]float64, q+1)
	}
	for row, y := range centred {
		for k := range len(terms) + 1 {
			a := column(k, row)
			g[q][a] += y
			for l := range k + 1 {
				g[a][column(l, row)]++
			}
		}
		g[q][q] += y * y
	}
	size := make([]float64, q)
	for a := range q {
		size[a] = g[a][a]
	}
	const nothing = 1e-9 // of a column's own size: counts are exact, so is a dependence to rounding
	s := sums{ss: make([]float64, len(terms)+1), df: make([]int, len(terms)+1), expected: make([][]float64, len(terms))}
	block := 0
	for a := range q {
		if a == first[block+1] {
			block++
			s.expected[block-1] = make([]float64, len(terms))
		}
		if g[a][a] <= nothing*size[a] {
			continue
		}
		root := math.Sqrt(g[a][a])
		for b := a; b <= q; b++ {
			g[b][a] /= root
		}
		for b := a + 1; b <= q; b++ {
			v := g[b][a]
			if v == 0 {
				continue
			}
			for c := a + 1; c <= b; c++ {
				g[b][c] -= v * g[c][a]
			}
		}
		if block == 0 {
			continue
		}
		s.df[block-1]++
		s.ss[block-1] += g[q][a] * g[q][a]
		for j := block; j <= len(terms); j++ {
			for b := max(a, first[j]); b < first[j+1]; b++ {
				s.expected[block-1][j-1] += g[b][a] * g[b][a]
			}
		}
	}
	last := len(terms)
	s.ss[last] = max(0, g[q][q])
	s.df[last] = len(centred) - 1
	for _, d := range s.df[:last] {
		s.df[last] -= d
	}
	return s
}
