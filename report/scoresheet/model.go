package scoresheet

import (
	"fmt"

	"flourcast/eval/domain"
	"flourcast/study/takeaway"
)

// modelSheet is where the model's cells are, addressed from other sheets; "" for what
// the model does not have.
type modelSheet struct {
	g                              *grid
	where, value, low, high, se    string
	probability, probabilityWords  string
	counted                        string
	t2, q                          string
	first, last                    int // rows of the features
	mu, lowLimit, highLimit, given string
}

// Columns of Model; the loadings follow.
const (
	mName = iota + 1
	mCoefficient
	mMean
	mSD
	mEdgeLow
	mEdgeHigh
	mOuterLow
	mOuterHigh
	mX
	mZ
	mRest
	mEdge
	mOutside
	mLoadings
)

const none = "1E+300" // a limit that is not there

// stands says where feature j stands by itself.
func (m *modelSheet) stands(j int) string {
	row := m.first + j
	return fmt.Sprintf(`IF(%s=1,"%s",IF(%s=1,"%s","%s"))`, of(m.g, row, mOutside), domain.Outside, of(m.g, row, mEdge), domain.Edge, domain.Inside)
}

// column is the features' cells of a column of Model.
func (m *modelSheet) column(c int) string { return at(m.first, c) + ":" + at(m.last, c) }

// layModel lays out Model and, where the interval takes them, Folds and Errors.
func (b *book) layModel() {
	s := b.result.Scorer
	g := newGrid(Model, 40, 22, 16, 16, 16, 16, 16, 16, 16, 16, 16, 8, 8)
	m := &b.model
	m.g, m.first, m.last = g, 3, 2+len(s.Features)
	g.wide(1, mOutside, b.verdict, styleFaint, 1)
	for k, name := range []string{"feature", "coefficient", "mean", "SD", "edge below", "edge above", "outside below", "outside above", "x", "z = (x − mean)/SD", "rest", "edge", "outside"} {
		g.set(2, k+1, text(name).in(styleHeading))
	}
	for j, f := range s.Features {
		b.layFeature(m.first+j, j, f)
	}
	b.sheets = append(b.sheets, g)
	row := b.layDomain(m.last + 2)
	b.layValue(row)
}

func (b *book) layFeature(row, j int, f takeaway.Feature) {
	s, m := b.result.Scorer, &b.model
	g, d := m.g, s.Domain
	bounds := d.Bounds[j]
	lot := of(b.score, b.in.first+j, colLot)
	z := "0" // all calibration lots had one value
	if d.SD[j] > 0 {
		z = fmt.Sprintf("(%s-%s)/%s", at(row, mX), at(row, mMean), at(row, mSD))
	}
	g.line(row, mName, text(f.Name), figure(f.Coefficient), figure(d.Mean[j]), figure(d.SD[j]), figure(bounds.Edge[0]), figure(bounds.Edge[1]), figure(bounds.Outer[0]), figure(bounds.Outer[1]),
		formula(fmt.Sprintf("IF(ISNUMBER(%s),%s,%s)", lot, lot, at(row, mMean))), formula(z))
	outOf := func(low, high int) cell {
		return formula(fmt.Sprintf("IF(OR(%[1]s<%[2]s,%[1]s>%[3]s),1,0)", at(row, mX), at(row, low), at(row, high)))
	}
	g.line(row, mEdge, outOf(mEdgeLow, mEdgeHigh), outOf(mOuterLow, mOuterHigh))
	rest := at(row, mZ)
	for a, axis := range d.Loadings {
		g.set(row, mLoadings+a, figure(axis[j]))
		rest += fmt.Sprintf("-%s*%s", at(row, mLoadings+a), at(m.last+1, mLoadings+a))
	}
	g.set(row, mRest, formula(rest))
	if root := rootOf(s); root != nil {
		first := mLoadings + len(d.Loadings)
		g.set(row, first, figure(s.Spread.Centre[j]))
		g.set(row, first+1, formula(fmt.Sprintf("%s-%s", at(row, mX), at(row, first))))
		for k, v := range root[j] {
			g.set(row, first+2+k, figure(v))
		}
	}
}

// layDomain lays out scores, T², Q and where the lot stands, from row on.
func (b *book) layDomain(row int) int {
	s, m := b.result.Scorer, &b.model
	g, d := m.g, s.Domain
	scores := m.last + 1
	g.set(scores, mName, text("scores"))
	for a := range d.Loadings {
		g.set(2, mLoadings+a, text(fmt.Sprint("loadings ", a+1)).in(styleHeading))
		g.set(scores, mLoadings+a, formula(fmt.Sprintf("SUMPRODUCT(%s,%s)", m.column(mZ), m.column(mLoadings+a))))
		g.set(scores+1, mLoadings+a, figure(d.Variances[a]))
		g.set(scores+2, mLoadings+a, formula(fmt.Sprintf("%s^2/%s", at(scores, mLoadings+a), at(scores+1, mLoadings+a))))
	}
	g.line(scores+1, mName, text("variances of the scores"))
	g.line(scores+2, mName, text("scores²/variances"))
	row = scores + 4
	t2 := "0"
	if n := len(d.Loadings); n > 0 {
		t2 = fmt.Sprintf("SUM(%s:%s)", at(scores+2, mLoadings), at(scores+2, mLoadings+n-1))
	}
	m.t2 = b.cellOf(&row, "T²", formula(t2))
	m.q = b.cellOf(&row, "Q", formula(fmt.Sprintf("SUMSQ(%s)", m.column(mRest))))
	limit := func(name string, v float64) string { return b.cellOf(&row, name, figure(v)) }
	edge := [2]string{limit("T², edge", d.T2.Edge), limit("Q, edge", d.Q.Edge)}
	outer := [2]string{limit("T², outside", d.T2.Outer), limit("Q, outside", d.Q.Outer)}
	beyond := func(l [2]string, column int) string {
		return fmt.Sprintf("OR(%s>%s,%s>%s,SUM(%s)>0)", m.t2, l[0], m.q, l[1], m.column(column))
	}
	m.where = b.cellOf(&row, "the lot stands", formula(fmt.Sprintf(`IF(%s,"%s",IF(%s,"%s","%s"))`, beyond(outer, mOutside), domain.Outside, beyond(edge, mEdge), domain.Edge, domain.Inside)))
	return row
}

// cellOf lays out a named figure and returns its address.
func (b *book) cellOf(row *int, name string, c cell) string {
	b.model.g.line(*row, mName, text(name), c)
	*row++
	return of(b.model.g, *row-1, mCoefficient)
}

// layValue lays out value, interval and probability, from row on.
func (b *book) layValue(row int) {
	s, m, in := b.result.Scorer, &b.model, b.in
	m.mu = b.cellOf(&row, "intercept + Σ coefficient·x", formula(fmt.Sprintf("%s+SUMPRODUCT(%s,%s)", b.cellOf(&row, "intercept", figure(s.Intercept)), m.column(mCoefficient), m.column(mX))))
	m.value = m.mu
	limit := func(address, otherwise string) string {
		if s.Folds != nil && s.Log {
			return fmt.Sprintf("IF(ISNUMBER(%[1]s),IF(%[1]s>0,LN(%[1]s),-%[3]s),%[2]s)", address, otherwise, none)
		}
		return fmt.Sprintf("IF(ISNUMBER(%[1]s),%[1]s,%[2]s)", address, otherwise)
	}
	if s.Log {
		smearing := b.cellOf(&row, "smearing factor", figure(s.Smearing))
		m.value = b.cellOf(&row, "forecast", formula(fmt.Sprintf("EXP(%s)*%s", m.mu, smearing)))
	}
	m.lowLimit = b.cellOf(&row, "lower limit, on the model's scale", formula(limit(in.low, "-"+none)))
	m.highLimit = b.cellOf(&row, "upper limit, on the model's scale", formula(limit(in.high, none)))
	m.given = b.cellOf(&row, "limits given", formula(fmt.Sprintf("COUNT(%s,%s)", in.low, in.high)))
	if s.Spread != nil {
		row = b.laySpread(row)
	}
	if s.Folds != nil {
		b.layFolds(row)
	}
}

// laySpread lays out standard error and probability by Student's t, and the interval by
// it where there is no other. Its distribution is that of a beta variable, which
// takes degrees of freedom that are not whole:
//
//	P(|t| > z) = I_x(df/2, 1/2), x = df/(df + z²)
func (b *book) laySpread(row int) int {
	s, m := b.result.Scorer, &b.model
	n := float64(s.Domain.Lots)
	leverage := fmt.Sprintf("%s+%s/%s", b.cellOf(&row, "1/lots", figure(1/n)), m.t2, b.cellOf(&row, "lots − 1", figure(n-1)))
	if root := rootOf(s); root != nil {
		leverage = b.layRoot(&row)
	}
	h := b.cellOf(&row, "leverage", formula(leverage))
	msecv, df := b.cellOf(&row, "MSECV", figure(s.Spread.MSECV)), b.cellOf(&row, "degrees of freedom", figure(s.Spread.DF))
	m.se = b.cellOf(&row, "standard error", formula(fmt.Sprintf("SQRT(%s*(1+%s))", msecv, h)))
	if s.Folds == nil {
		t := b.cellOf(&row, fmt.Sprintf("Student's t of %.3g %%", 100*b.result.Level), figure(s.Spread.T))
		m.low = b.cellOf(&row, "from", formula(fmt.Sprintf("%s-%s*%s", m.value, t, m.se)))
		m.high = b.cellOf(&row, "to", formula(fmt.Sprintf("%s+%s*%s", m.value, t, m.se)))
	}
	below := func(name, limit string) string { // probability of lying below a limit
		z := b.cellOf(&row, name+", in standard errors", formula(fmt.Sprintf("MAX(-1E+30,MIN(1E+30,(%s-%s)/MAX(%s,1E-150)))", limit, m.value, m.se)))
		tail := b.cellOf(&row, name+", tail", formula(fmt.Sprintf("BETADIST(%[1]s/(%[1]s+%[2]s^2),%[1]s/2,0.5)/2", df, z)))
		return b.cellOf(&row, name+", probability below", formula(fmt.Sprintf("IF(%s<0,%s,1-%s)", z, tail, tail)))
	}
	low, high := below("lower limit", m.lowLimit), below("upper limit", m.highLimit)
	m.probability = b.cellOf(&row, "probability of meeting the limits", formula(fmt.Sprintf("%s-%s", high, low)))
	m.probabilityWords = "Student's t"
	return row
}

// layRoot lays out the leverage that a fit knows of itself.
func (b *book) layRoot(row *int) string {
	s, m := b.result.Scorer, &b.model
	first := mLoadings + len(s.Domain.Loadings)
	m.g.line(2, first, text("centre").in(styleHeading), text("x − centre").in(styleHeading))
	sums := m.last + 1
	for k := range s.Spread.Root[0] {
		m.g.set(2, first+2+k, text(fmt.Sprint("root ", k+1)).in(styleHeading))
		m.g.set(sums, first+2+k, formula(fmt.Sprintf("SUMPRODUCT(%s,%s)", m.column(first+1), m.column(first+2+k))))
	}
	return fmt.Sprintf("%s+SUMSQ(%s:%s)", b.cellOf(row, "leverage of the centre", figure(s.Spread.Base)), at(sums, first+2), at(sums, first+1+len(s.Spread.Root[0])))
}

// rootOf is nil where the leverage is the domain's.
func rootOf(s takeaway.Scorer) [][]float64 {
	if s.Spread == nil {
		return nil
	}
	return s.Spread.Root
}
