package eval

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// Permutation is the answer of a permutation test of Q².
type Permutation struct {
	// P is (Better + 1)/(M + 1): the chance of a Q² this high without any relation
	// (Phipson and Smyth 2010, Stat Appl Genet Mol Biol 9:39). It is never 0.
	P float64
	// Observed is the honest Q² of the data as they are, Better how many of M
	// shuffles reached it.
	Observed  float64
	Better, M int
	// Within names the grouping inside which lots were shuffled, or is empty.
	Within string
	// Null is Q² of each shuffle, in order.
	Null []float64
}

const (
	// yearLots and years: lots are shuffled within crop years when at least so
	// many years have at least so many lots.
	yearLots, leastYears = 5, 2
	// leastArrangements: with fewer, no p below 0.05 can come out.
	leastArrangements = 20
	// bunch is how many shuffles share one preparation of a training part.
	bunch = 64
)

// TooFewArrangementsError says that the lots can hardly be shuffled.
type TooFewArrangementsError struct {
	Arrangements float64
	Units        int
}

func (e *TooFewArrangementsError) Error() string {
	return fmt.Sprintf("eval: permutation: found %.0f ways to rearrange %d lots, expected at least %d; measure more lots, equally often each", e.Arrangements, e.Units, leastArrangements)
}

// Permute asks how often the whole procedure of Nested, every choice inside,
// does as well on shuffled responses as on the data. Units (lots, or families of
// lots: fold.Units) are shuffled whole, among units with as many rows; within
// crop years when at least 2 years have 5 lots. The null hypothesis is that,
// there, responses and features have nothing to do with each other. Every
// shuffle uses the same folds, so that all that depends on X is done once.
// Errors: *model.SettingError for permutations < 1, *TooFewArrangementsError,
// those of Nested.
func Permute(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, permutations int, seed uint64, cores int, progress work.Progress) (Permutation, error) {
	if permutations < 1 {
		return Permutation{}, &model.SettingError{Kind: "permutation", Setting: "permutations", Found: fmt.Sprint(permutations), Want: "at least 1"}
	}
	if err := plan.Check(m.N()); err != nil {
		return Permutation{}, err
	}
	s, err := newShuffler(m)
	if err != nil {
		return Permutation{}, err
	}
	e, y, err := newEngine(f, m)
	if err != nil {
		return Permutation{}, err
	}
	if progress == nil {
		progress = work.Quiet
	}
	ys := make([]*response, permutations+1)
	ys[0] = y
	if err := work.Each(ctx, permutations, cores, func(q int) error {
		ys[q+1] = e.reordered(y, s.order(seed, q))
		return nil
	}); err != nil {
		return Permutation{}, err
	}

	// One piece of work: one fold of one repeat, one bunch of responses.
	type piece struct{ repeat, fold, from, to int }
	var pieces []piece
	for r, k := range plan.K {
		for k := range k {
			for from := 0; from < len(ys); from += bunch {
				pieces = append(pieces, piece{r, k, from, min(from+bunch, len(ys))})
			}
		}
	}
	press, mean := make([][]float64, len(pieces)), make([][]float64, len(pieces))
	progress.Start("permutations", len(pieces))
	defer progress.Done()
	err = work.Each(ctx, len(pieces), cores, func(i int) error {
		p := pieces[i]
		test, train := split(plan.Fold[p.repeat], p.fold)
		some := ys[p.from:p.to]
		press[i], mean[i] = make([]float64, len(some)), make([]float64, len(some))
		w := e.pool.Get().(*bench)
		defer e.pool.Put(w)
		err := w.nested(e, some, train, test, innerSeed(seed, p.repeat, p.fold), func(q, _ int, out []float64) {
			for t, row := range test {
				d := some[q].v[row] - out[t]
				press[i][q] += d * d
			}
			mean[i][q] = meanError(some[q], test)
		})
		if err != nil {
			return &FoldError{plan.Scheme, p.repeat, p.fold, err}
		}
		progress.Step(1)
		return nil
	})
	if err != nil {
		return Permutation{}, err
	}
	total, totalMean := make([]float64, len(ys)), make([]float64, len(ys))
	for i, p := range pieces {
		for q := p.from; q < p.to; q++ {
			total[q] += press[i][q-p.from]
			totalMean[q] += mean[i][q-p.from]
		}
	}
	out := Permutation{M: permutations, Within: s.within, Null: make([]float64, permutations)}
	for q := range ys {
		q2 := 1 - total[q]/totalMean[q]
		if q == 0 {
			out.Observed = q2
			continue
		}
		out.Null[q-1] = q2
		if q2 >= out.Observed {
			out.Better++
		}
	}
	out.P = float64(out.Better+1) / float64(permutations+1)
	return out, nil
}

func (e *engine) reordered(y *response, order []int) *response {
	r := &response{y: make([]float64, len(order)), mean: y.mean}
	for i, k := range order {
		r.y[i] = y.y[k]
	}
	if e.base != nil {
		r.sums = e.base.Reordered(y.sums, order)
		r.v = r.sums.V
		return r
	}
	for _, k := range order {
		r.v = append(r.v, y.v[k])
	}
	return r
}

// shuffler rearranges units among those of equal size and stratum.
type shuffler struct {
	rows    [][]int // of each unit, in order
	classes [][]int // units that may change places
	n       int
	within  string
}

func newShuffler(m *design.Matrix) (*shuffler, error) {
	names, _ := fold.Units(m)
	unit, units := number(names)
	s := &shuffler{rows: make([][]int, units), n: m.N()}
	for i, u := range unit {
		s.rows[u] = append(s.rows[u], i)
	}
	years := byYear(m)
	if years != nil {
		s.within = "crop_year"
	}
	class := make([]string, units)
	for u, rows := range s.rows {
		class[u] = strconv.Itoa(len(rows))
		if years != nil {
			var of []string
			for _, i := range rows {
				of = append(of, years[i])
			}
			slices.Sort(of)
			class[u] += "\x00" + strings.Join(slices.Compact(of), "\x00")
		}
	}
	of, n := number(class)
	s.classes = make([][]int, n)
	for u, c := range of {
		s.classes[c] = append(s.classes[c], u)
	}
	ways := 0.0
	for _, c := range s.classes {
		g, _ := math.Lgamma(float64(len(c) + 1))
		ways += g
	}
	if ways = math.Exp(min(ways, 700)); ways < leastArrangements-0.5 {
		return nil, &TooFewArrangementsError{math.Round(ways), units}
	}
	return s, nil
}

// byYear is the crop year of each row when shuffling is to stay within years.
func byYear(m *design.Matrix) []string {
	years, ok := m.Grouping("crop_year")
	if !ok {
		return nil
	}
	year, n := number(years)
	lots := make([]map[string]bool, n)
	for i, y := range year {
		if years[i] == "" {
			continue
		}
		if lots[y] == nil {
			lots[y] = map[string]bool{}
		}
		lots[y][m.Lots()[i]] = true
	}
	enough := 0
	for _, l := range lots {
		if len(l) >= yearLots {
			enough++
		}
	}
	if enough < leastYears {
		return nil
	}
	return years
}

// order is shuffle q: row i gets the response of row order[i].
func (s *shuffler) order(seed uint64, q int) []int {
	random := work.Rand(seed, "permutation", strconv.Itoa(q))
	out := make([]int, s.n)
	for _, c := range s.classes {
		for k, from := range random.Perm(len(c)) {
			for t, i := range s.rows[c[k]] {
				out[i] = s.rows[c[from]][t]
			}
		}
	}
	return out
}
