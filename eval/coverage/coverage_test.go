package coverage

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/eval/interval"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/work"
)

// mill draws lots: five collinear features of a pasting curve (breakdown is
// peak − trough exactly), protein, and a response that follows peak and protein.
// Half of the response's variance is noise.
func mill(rng *rand.Rand, n int, prefix string) design.Spec {
	s := design.Spec{Features: []string{"peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "protein_pct"}, Response: "hardness_N"}
	for i := range n {
		a, b, c := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		protein := 10 + 0.9*rng.NormFloat64()
		peak := 2600 + 350*a - 60*(protein-10)
		trough := 1500 + 180*a + 80*b
		final := trough + 1300 + 90*b + 60*c
		s.X = append(s.X, []float64{peak, trough, peak - trough, final, protein})
		s.Y = append(s.Y, 12-(peak-2600)/350+0.6*(protein-10)+rng.NormFloat64())
		s.Lots = append(s.Lots, fmt.Sprint(prefix, i))
	}
	return s
}

func matrix(t testing.TB, s design.Spec) *design.Matrix {
	t.Helper()
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func fitter(t testing.TB, kind string) model.Fitter {
	t.Helper()
	f, err := catalog.New(kind, catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// made is the interval of a method fitted on m, and the final model.
func made(t testing.TB, f model.Fitter, m *design.Matrix, seed uint64) (interval.Source, model.Fitted) {
	t.Helper()
	ctx := context.Background()
	plan, err := fold.Parse("lot", m, 1, seed)
	if err != nil {
		t.Fatal(err)
	}
	cv, err := eval.CrossValidate(ctx, f, m, plan, 1)
	if err != nil {
		t.Fatal(err)
	}
	honest, err := eval.Nested(ctx, f, m, plan, seed, 1)
	if err != nil {
		t.Fatal(err)
	}
	path, err := f.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	final := path.At(min(cv.Chosen, path.Len()-1))
	s, err := Make(ctx, f, m, final, plan, honest, 1)
	if err != nil {
		t.Fatal(err)
	}
	return s, final
}

// covered is the mean share of new lots inside their 90 % interval over mills of
// n lots, 20 new lots each, with its standard error and the mean width over that
// of the true interval (± 1.645 SD of the noise).
func covered(t testing.TB, kind string, n, mills int) (share, se, width float64) {
	t.Helper()
	const fresh = 20
	shares, widths := make([]float64, mills), make([]float64, mills)
	f := fitter(t, kind)
	err := work.Each(context.Background(), mills, 0, func(k int) error {
		rng := work.Rand(uint64(n), "coverage", kind, fmt.Sprint(k))
		spec := mill(rng, n+fresh, "L")
		if kind == "ols" { // an exact dependence is refused by least squares
			spec.Features = []string{"peak_mPas", "trough_mPas", "final_mPas", "protein_pct"}
			for i, x := range spec.X {
				spec.X[i] = []float64{x[0], x[1], x[3], x[4]}
			}
		}
		all := matrix(t, spec)
		rows := make([]int, n)
		for i := range rows {
			rows[i] = i
		}
		source, final := made(t, f, all.Subset(rows), uint64(k))
		for i := n; i < n+fresh; i++ {
			r, err := source.Around(all.Row(i), final.Predict(all.Row(i)), 0.90)
			if err != nil || r.Low == nil {
				return fmt.Errorf("mill %d: %+v, %w", k, r, err)
			}
			if y := all.Y()[i]; *r.Low <= y && y <= *r.High {
				shares[k] += 1.0 / fresh
			}
			widths[k] += (*r.High - *r.Low) / (2 * 1.6449) / fresh
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	ss := 0.0
	for k := range shares {
		share += shares[k] / float64(mills)
		width += widths[k] / float64(mills)
	}
	for _, s := range shares {
		ss += (s - share) * (s - share)
	}
	return share, math.Sqrt(ss / float64(mills-1) / float64(mills)), width
}

// On average over mills 88 to 92 % of new lots lie inside a 90 % interval. A run
// with FLOURCAST_LONG set takes the whole table of docs/intervals.md, 1,000 mills
// a row; without it, a few mills at both ends.
func TestMeanCoverage(t *testing.T) {
	mills, sizes, kinds := 120, []int{30, 100}, []string{"pls", "ols"}
	if os.Getenv("FLOURCAST_LONG") != "" {
		mills, sizes, kinds = 1000, []int{30, 40, 60, 80, 100}, []string{"pls", "ridge", "ols", "mean"}
	}
	for _, kind := range kinds {
		for _, n := range sizes {
			share, se, width := covered(t, kind, n, mills)
			t.Logf("| %s | %d | %.1f %% | %.1f %% | %.2f |", kind, n, 100*share, 100*se, width)
			if share < 0.88-3*se || share > 0.92+3*se || mills >= 1000 && (share < 0.88 || share > 0.92) {
				t.Errorf("%s, %d lots: %.3f of new lots covered (SE %.3f), want 0.88 to 0.92", kind, n, share, se)
			}
		}
	}
}

// Least squares with one row a lot takes the parametric interval with its own
// leverage; with replicates in rows, and for any other method, lots are left out.
func TestKinds(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	spec := mill(rng, 24, "L")
	spec.Features = spec.Features[:2]
	for i := range spec.X {
		spec.X[i] = spec.X[i][:2]
	}
	m := matrix(t, spec)
	s, final := made(t, fitter(t, "ols"), m, 1)
	x := m.Row(3)
	if s.Kind() != interval.KindParametric || s.Normal.DF != 24-3 {
		t.Errorf("ols: %s, df %v; want parametric, 21", s.Kind(), s.Normal.DF)
	}
	far := []float64{x[0] + 5000, x[1]}
	near, _ := s.Around(x, final.Predict(x), 0.9)
	away, _ := s.Around(far, final.Predict(far), 0.9)
	if *away.High-*away.Low < 2*(*near.High-*near.Low) {
		t.Error("5,000 mPa·s beyond the lots the interval is hardly wider: leverage is not in it")
	}
	if s, _ := made(t, fitter(t, "pls"), m, 1); s.Kind() != interval.KindCVPlus || s.Cross.Lots != 24 || len(s.Cross.Models) != 10 {
		t.Errorf("pls, 24 lots: %s", s.Kind())
	}
	if s, _ := made(t, fitter(t, "pls"), m.Subset([]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14}), 1); s.Kind() != interval.KindJackknifePlus {
		t.Errorf("pls, 15 lots: %s", s.Kind())
	}
	for i := range spec.Lots {
		spec.Lots[i] = fmt.Sprint(i / 2)
	}
	if s, _ := made(t, fitter(t, "ols"), matrix(t, spec), 1); s.Kind() != interval.KindJackknifePlus || s.Cross.Lots != 12 {
		t.Errorf("ols, two rows a lot: %s", s.Kind())
	}
}

// Lots of a year whose response moved by two noise SDs lie outside far more often
// than lots of a year like the others.
func TestLeaveOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	spec := mill(rng, 90, "L")
	years := make([]string, 90)
	for i := range years {
		years[i] = fmt.Sprint(2021 + i%3)
		if i%3 == 2 {
			spec.Y[i] += 2
		}
	}
	m := matrix(t, spec)
	plan, err := fold.ByValue("year", years)
	if err != nil {
		t.Fatal(err)
	}
	one, err := LeaveOut(context.Background(), fitter(t, "pls"), m, plan, 0.9, 4, 1)
	if err != nil {
		t.Fatal(err)
	}
	two, err := LeaveOut(context.Background(), fitter(t, "pls"), m, plan, 0.9, 4, 2)
	if err != nil || fmt.Sprint(one) != fmt.Sprint(two) {
		t.Fatalf("two cores give another answer (%v)", err)
	}
	if one[2].Known != 30 || one[2].Inside > 24 || one[0].Inside < one[2].Inside {
		t.Errorf("inside: %d, %d, and of the year that moved %d of %d", one[0].Inside, one[1].Inside, one[2].Inside, one[2].Known)
	}
}
