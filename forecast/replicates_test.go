package forecast

import (
	"math"
	"strings"
	"testing"

	"flourcast/dataset/replicate"

	"pgregory.net/rapid"
)

// repeated is the lot of the other tests with two runs, and a model that knows its
// slopes and that runs repeat within 40 mPa·s, all calibration lots run twice.
func repeated(t testing.TB, first, second float64) Input {
	in := lot(t)
	in.Model.Coefficients, in.Model.Average = []float64{-1.0 / 500, 0}, []float64{2500, 10.5}
	in.Model.Repeat = map[string]replicate.Pooled{"peak_mPas": {SD: 40, DF: 10000, Share: 0.5}}
	s := replicate.Of([]float64{first, second})
	in.Features["peak_mPas"], in.Replicates = s.Mean, map[string]replicate.Summary{"peak_mPas": s}
	return in
}

// The repeatability limit is 2.77·s_r for two runs (ISO 5725-6:1994, 4.1.4; factor
// 1.96·√2) when the model has one feature and s_r is well known: 110.9 mPa·s here.
func TestRepeatabilityLimit(t *testing.T) {
	oneFeature := func(apart float64) Forecast {
		in := repeated(t, 2500-apart/2, 2500+apart/2)
		in.Model.Features = in.Model.Features[:1] // domain and features differ; only the replicates count here
		return Make(in)
	}
	held := func(f Forecast) bool { return strings.Contains(strings.Join(f.Reasons, " "), "replicates disagree") }
	if f := oneFeature(110.7); held(f) {
		t.Errorf("110.7 mPa·s apart: %v", f.Reasons)
	}
	if f := oneFeature(111.1); !held(f) || f.Decision != Hold || !strings.Contains(f.Reasons[0], "two runs 111 mPa·s apart (limit 111)") {
		t.Errorf("111.1 mPa·s apart: %s, %v", f.Decision, f.Reasons)
	}
	in := repeated(t, 2400, 2600)
	in.Spec = &Spec{"hardness_N", nil, ptr(4)} // would be rejected
	if f := Make(in); f.Decision != Hold || f.Probability == nil || !strings.Contains(strings.Join(f.Reasons, " "), "repeat") {
		t.Errorf("replicates that disagree: %s, %v", f.Decision, f.Reasons)
	}
}

// Only what exceeds calibration's replicate variance widens the interval.
func TestReplicatesWiden(t *testing.T) {
	width := func(in Input) float64 { f := Make(in); return *f.High - *f.Low }
	plain := width(lot(t))
	if got := width(repeated(t, 2480, 2520)); got != plain { // SD 28: better than calibration
		t.Errorf("good replicates change the width from %v to %v", plain, got)
	}
	in := repeated(t, 2455, 2545) // SD 63.6: variance of the mean 2025, calibration's 800
	f := Make(in)
	want := math.Sqrt(2025-800) / 500
	if f.ReplicateError == nil || math.Abs(*f.ReplicateError-want) > 1e-12 {
		t.Fatalf("added error %v, want %v", f.ReplicateError, want)
	}
	base := Make(lot(t))
	if got := math.Hypot(*base.StandardError, want); math.Abs(got-*f.StandardError) > 1e-12 || *f.High-*f.Low <= plain {
		t.Errorf("standard error %v, want %v; width %v after %v", *f.StandardError, got, *f.High-*f.Low, plain)
	}
	// One run where calibration's lots had two: the variance of a single run counts.
	in = repeated(t, 2500, 2500)
	in.Replicates = nil
	if f := Make(in); f.ReplicateError == nil || math.Abs(*f.ReplicateError-math.Sqrt(1600-800)/500) > 1e-12 {
		t.Errorf("a single run: %v", f.ReplicateError)
	}
	// A jackknife+ interval grows in proportion.
	cross := crossed(t, repeated(t, 2455, 2545), 15)
	f = Make(cross)
	if factor := math.Sqrt(1 + want*want/0.25); math.Abs(*f.High-7-1.5*factor) > 1e-9 {
		t.Errorf("jackknife+ reaches %v, want %v", *f.High, 7+1.5*factor)
	}
}

// Contributions add up to value less the average lot's forecast, and more
// replicate variance never makes a decision surer.
func TestContributionsAddUp(t *testing.T) {
	base := repeated(t, 2500, 2500)
	rapid.Check(t, func(t *rapid.T) {
		in := base
		in.Features = map[string]float64{"peak_mPas": rapid.Float64Range(500, 6000).Draw(t, "peak"), "protein_pct": rapid.Float64Range(5, 20).Draw(t, "protein")}
		in.Replicates = map[string]replicate.Summary{"peak_mPas": {N: 2, Repeated: true, SD: rapid.Float64Range(0, 300).Draw(t, "sd")}}
		f := Make(in)
		sum := *f.Average
		for _, c := range f.Contributions {
			sum += c.Contribution
		}
		if math.Abs(sum-*f.Value) > 1e-12*(1+math.Abs(*f.Value)) || len(f.Contributions) != 2 {
			t.Fatalf("average and contributions come to %v, the forecast is %v", sum, *f.Value)
		}
		if math.Abs(*f.Average-7) > 1e-9 { // 12 − 2500/500
			t.Fatalf("the average lot is forecast at %v", *f.Average)
		}
		worse := in
		worse.Replicates = map[string]replicate.Summary{"peak_mPas": {N: 2, Repeated: true, SD: in.Replicates["peak_mPas"].SD * 1.5}}
		if g := Make(worse); *g.StandardError < *f.StandardError-1e-12 || *g.High-*g.Low < *f.High-*f.Low-1e-12 {
			t.Fatalf("worse replicates narrow the interval: %v to %v", *f.StandardError, *g.StandardError)
		}
	})
}
