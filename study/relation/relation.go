// Package relation says how one figure of lots goes with another, in every way
// that a report shows.
//
//  1. Rows of one lot are averaged; lots that lack a figure are left out. A lot that was
//     treated, and is there untreated too, is two flours where treatments are told apart.
//  2. Of gives the correlation with its interval and p, the same with protein held
//     constant and with crop-year means taken off, and the least-squares line with
//     the band of its mean. Where treatments are told apart, all of them are within
//     treatments, whose means are taken off first, and no line is laid over them.
//  3. Adjust fills the Benjamini–Hochberg values over many relations.
//
// It says nothing about cause, and gives no verdict: package eval/direction does
// that, with resampled intervals. A figure that does not vary has no relation.
package relation

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/stat/correlation"

	"gonum.org/v1/gonum/stat/distuv"
)

// Data is two columns over rows of a table. Present nil means all present. Protein
// and Years may be nil.
type Data struct {
	Feature, Response string
	Lots              []string
	X, Y              []float64
	Present           []bool
	Protein           []float64 // one a row, where ProteinKnown
	ProteinKnown      []bool
	Years             []string
	Treatments        []string // nil: not told apart
}

// Relation is how a feature goes with the response over N lots. R is Pearson's
// correlation, Low and High its 95 % Fisher interval, P the two-sided p of no
// correlation. Absent parts could not be had. With Treatments told apart, R is pooled
// within them: r of x − x̄_g and y − ȳ_g, one degree of freedom less for each treatment
// but the first; and so are the parts.
type Relation struct {
	Feature string `json:"feature"`
	N       int    `json:"n"`
	// Treatments is how many were told apart; 0: they were not.
	Treatments int      `json:"treatments,omitempty"`
	R          float64  `json:"r"`
	Low        *float64 `json:"low"`
	High       *float64 `json:"high"`
	P          *float64 `json:"p"`
	PAdjusted  *float64 `json:"p_adjusted"`
	// GivenProtein holds protein constant; WithinYear takes the mean of each crop
	// year off (years of five lots, two of them at least).
	GivenProtein *Part `json:"given_protein"`
	WithinYear   *Part `json:"within_year"`
	// Line is the least-squares line over the range of the lots, Low and High the
	// 95 % band of its mean; empty where there is none.
	Line   []Band  `json:"line"`
	Points []Point `json:"points"`
}

// Part is a correlation after something was taken off, with its 95 % Fisher
// interval over N lots (and Years crop years).
type Part struct {
	R     float64 `json:"r"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	N     int     `json:"n"`
	Years int     `json:"years,omitempty"`
}

// Band is the line and its band at one value of the feature.
type Band struct {
	X    float64 `json:"x"`
	Y    float64 `json:"y"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Point is one lot; CropYear is "" where unknown, or where its rows disagree.
type Point struct {
	Lot       string  `json:"lot"`
	CropYear  string  `json:"crop_year,omitempty"`
	Treatment string  `json:"treatment,omitempty"` // where treatments are told apart
	X         float64 `json:"x"`
	Y         float64 `json:"y"`
}

const (
	lotsInYear = 5
	linePoints = 41
	leastLots  = 4
)

// Of relates the columns of d. ok is false for fewer than four lots with both
// figures, or a side that does not vary. The error is of figures that cannot be
// squared.
func Of(d Data) (r Relation, ok bool, err error) {
	l := gather(d)
	r = Relation{Feature: d.Feature, N: len(l.points), Line: []Band{}, Points: l.points}
	x, y := l.x, l.y
	if r.N < leastLots {
		return r, false, nil
	}
	r.Treatments = l.treatments
	held := max(0, l.treatments-1)
	if r.R, ok = correlation.Within(x, y, l.group, nil); !ok {
		return r, false, nil
	}
	if low, high, ok := correlation.Fisher(r.R, r.N, held); ok {
		p := correlation.P(r.R, r.N-held)
		r.Low, r.High, r.P = &low, &high, &p
	}
	r.GivenProtein, r.WithinYear = l.givenProtein(), l.withinYear()
	if l.treatments == 0 {
		r.Line, err = meanLine(d.Feature, d.Response, l)
	}
	return r, true, err
}

// Adjust fills PAdjusted over all relations that have a p.
func Adjust(rs []Relation) {
	var p []float64
	for _, r := range rs {
		if r.P != nil {
			p = append(p, *r.P)
		}
	}
	adjusted := correlation.FalseDiscovery(p)
	k := 0
	for i := range rs {
		if rs[i].P != nil {
			rs[i].PAdjusted = &adjusted[k]
			k++
		}
	}
}

// lots are the rows of Data by lot, in order of first appearance.
type lots struct {
	points  []Point
	x, y, z []float64 // z is protein, where known
	known   []bool

	treatments int   // told apart; 0: they are not
	group      []int // the treatment's number, of each lot; nil: not told apart
}

func gather(d Data) lots {
	at := map[[2]string]int{}
	var l lots
	var n, nz []float64
	var treatments []string
	for i, lot := range d.Lots {
		if d.Present != nil && !d.Present[i] {
			continue
		}
		year := ""
		if d.Years != nil {
			year = d.Years[i]
		}
		treatment := ""
		if d.Treatments != nil {
			treatment = d.Treatments[i]
		}
		k, seen := at[[2]string{lot, treatment}]
		if !seen {
			k = len(l.x)
			at[[2]string{lot, treatment}] = k
			l.points = append(l.points, Point{Lot: lot, CropYear: year, Treatment: treatment})
			if d.Treatments != nil {
				if !slices.Contains(treatments, treatment) {
					treatments = append(treatments, treatment)
				}
				l.group = append(l.group, slices.Index(treatments, treatment))
			}
			l.x, l.y, l.z, n, nz = append(l.x, 0), append(l.y, 0), append(l.z, 0), append(n, 0), append(nz, 0)
		} else if l.points[k].CropYear != year {
			l.points[k].CropYear = ""
		}
		n[k]++
		l.x[k] += (d.X[i] - l.x[k]) / n[k]
		l.y[k] += (d.Y[i] - l.y[k]) / n[k]
		if d.Protein != nil && (d.ProteinKnown == nil || d.ProteinKnown[i]) {
			nz[k]++
			l.z[k] += (d.Protein[i] - l.z[k]) / nz[k]
		}
	}
	for k := range l.x {
		l.points[k].X, l.points[k].Y = l.x[k], l.y[k]
		l.known = append(l.known, nz[k] > 0)
	}
	l.treatments = len(treatments)
	return l
}

func (l lots) givenProtein() *Part {
	var x, y, z []float64
	var group, seen []int // treatments of the lots whose protein is known
	for i, known := range l.known {
		if !known {
			continue
		}
		x, y, z = append(x, l.x[i]), append(y, l.y[i]), append(z, l.z[i])
		if l.group != nil {
			if !slices.Contains(seen, l.group[i]) {
				seen = append(seen, l.group[i])
			}
			group = append(group, slices.Index(seen, l.group[i]))
		}
	}
	if len(x) == 0 {
		return nil
	}
	if group != nil {
		x, y, z = correlation.Centred(x, group), correlation.Centred(y, group), correlation.Centred(z, group)
	}
	r, ok := correlation.Partial(x, y, z, nil)
	if !ok {
		return nil
	}
	low, high, ok := correlation.Fisher(r, len(x), 1+max(0, len(seen)-1))
	if !ok {
		return nil
	}
	return &Part{R: r, Low: low, High: high, N: len(x)}
}

func (l lots) withinYear() *Part {
	type part struct{ year, treatment string }
	count := map[part]int{}
	for _, p := range l.points {
		count[part{p.CropYear, p.Treatment}]++
	}
	var parts []part
	var years []string
	var at []int
	group := make([]int, len(l.points))
	for i, p := range l.points {
		of := part{p.CropYear, p.Treatment}
		if p.CropYear == "" || count[of] < lotsInYear {
			continue
		}
		if !slices.Contains(parts, of) {
			parts = append(parts, of)
		}
		if !slices.Contains(years, p.CropYear) {
			years = append(years, p.CropYear)
		}
		group[i] = slices.Index(parts, of)
		at = append(at, i)
	}
	if len(years) < 2 {
		return nil
	}
	r, ok := correlation.Within(l.x, l.y, group, at)
	if !ok {
		return nil
	}
	low, high, ok := correlation.Fisher(r, len(at), len(parts)-1)
	if !ok {
		return nil
	}
	return &Part{R: r, Low: low, High: high, N: len(at), Years: len(years)}
}

// meanLine is the least-squares line of y on x over the range of x, with the
// 95 % band of the mean: ŷ ± t(n − 2)·s·√h.
func meanLine(feature, response string, l lots) ([]Band, error) {
	rows, names := make([][]float64, len(l.x)), make([]string, len(l.x))
	for i, v := range l.x {
		rows[i], names[i] = []float64{v}, fmt.Sprint(i)
	}
	m, err := design.New(design.Spec{Features: []string{feature}, Response: response, X: rows, Y: l.y, Lots: names})
	if err != nil {
		return nil, err
	}
	line, err := linear.OLS{Scaling: model.ScaleUnit}.Regress(m)
	if err != nil {
		var large *model.RangeError
		if errors.As(err, &large) {
			return nil, err
		}
		return []Band{}, nil // too few lots for a line: none is drawn
	}
	low, high := slices.Min(l.x), slices.Max(l.x)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(len(l.x) - 2)}.Quantile(0.975)
	out := make([]Band, linePoints)
	for k := range out {
		at := []float64{low + (high-low)*float64(k)/(linePoints-1)}
		mid := line.Predict(at)
		half := t * line.Sigma() * math.Sqrt(line.LeverageAt(at))
		out[k] = Band{X: at[0], Y: mid, Low: mid - half, High: mid + half}
	}
	return out, nil
}
