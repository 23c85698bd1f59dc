package bridge

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// paired are n lots on two instruments, two runs each: to = shift + slope·from, with
// a lot's own deviation of SD own, and repeatability SDs.
func paired(seed uint64, n int, shift, slope, own, repeatFrom, repeatTo float64) []Lot {
	r := rand.New(rand.NewPCG(seed, 17))
	var lots []Lot
	for i := range n {
		x := 2000 + 1800*float64(i)/float64(n-1)
		d := own * r.NormFloat64()
		lots = append(lots, Lot{fmt.Sprint("L", i), []float64{x + repeatFrom*r.NormFloat64(), x + repeatFrom*r.NormFloat64()},
			[]float64{shift + slope*x + d + repeatTo*r.NormFloat64(), shift + slope*x + d + repeatTo*r.NormFloat64()}})
	}
	return lots
}

// Two instruments without any error but a stated line: the line comes back, whatever δ.
func TestExactLine(t *testing.T) {
	b, err := Make([]string{"peak_mPas"}, [][]Lot{paired(1, 12, 100, 0.9, 0, 0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	f := b.Features[0]
	if math.Abs(f.Slope.Value-0.9) > 1e-9 || math.Abs(f.Intercept.Value-100) > 1e-6 || f.R < 1-1e-12 || !f.Assumed || f.Low != 2000 || f.High != 3800 {
		t.Errorf("%+v", f)
	}
	if to, outside := b.At("peak_mPas", 3000); math.Abs(to-2800) > 1e-6 || outside {
		t.Errorf("3000 becomes %v, outside %v", to, outside)
	}
	for _, x := range []float64{1999, 3801} {
		if _, outside := b.At("peak_mPas@m", x); !outside {
			t.Errorf("%v is inside", x)
		}
	}
	if w := b.Widening(map[string]float64{"peak_mPas": -0.002}, 0.09); math.Abs(w-1) > 1e-6 {
		t.Errorf("a perfect bridge widens by %v", w)
	}
}

// The error that is carried along is that of further lots: over 400 simulated bridges
// a converted figure, with its repeatability, misses with the variance stated.
func TestVarianceIsWhatFurtherLotsMiss(t *testing.T) {
	slopes := map[string]float64{"peak_mPas": -0.002}
	told, missed := 0.0, 0.0
	const bridges = 400
	for k := range bridges {
		b, err := Make([]string{"peak_mPas"}, [][]Lot{paired(uint64(100+k), 25, 100, 0.9, 30, 20, 25)})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range paired(uint64(9000+k), 9, 100, 0.9, 30, 20, 25) {
			from := mean(l.From)
			to, _ := b.At("peak_mPas", from)
			miss := slopes["peak_mPas"] * (mean(l.To) - to)
			told += b.Variance(slopes, map[string]float64{"peak_mPas": from}) / (9 * bridges)
			missed += miss * miss / (9 * bridges)
		}
	}
	if ratio := told / missed; ratio < 0.92 || ratio > 1.08 {
		t.Errorf("told %v, missed %v: ratio %v", told, missed, ratio)
	}
}

// δ is the ratio of the variances of means: by hand, runs ±1 and ±2 about their means
// on every lot give SDs √2 and √8, so δ = 4; with the To side run four times … 2 runs
// each here, so the shares cancel.
func TestRatioOfErrors(t *testing.T) {
	var lots []Lot
	for i := range 12 {
		x := 100 * float64(i)
		lots = append(lots, Lot{fmt.Sprint(i), []float64{x - 1, x + 1}, []float64{2*x - 2, 2*x + 2}})
	}
	b, err := Make([]string{"peak_mPas"}, [][]Lot{lots})
	if err != nil {
		t.Fatal(err)
	}
	f := b.Features[0]
	if f.Assumed || math.Abs(f.Delta-4) > 1e-9 || math.Abs(*f.RepeatFrom-math.Sqrt2) > 1e-9 || math.Abs(*f.RepeatTo-math.Sqrt(8)) > 1e-9 {
		t.Errorf("δ %v, SDs %v and %v", f.Delta, *f.RepeatFrom, *f.RepeatTo)
	}
}

func TestRefusedBridges(t *testing.T) {
	var want *Error
	if _, err := Make([]string{"peak_mPas"}, [][]Lot{paired(1, 9, 0, 1, 10, 10, 10)}); !errors.As(err, &want) || !strings.Contains(err.Error(), "10 or more") {
		t.Errorf("nine lots: %v", err)
	}
	if _, err := Make([]string{"peak_mPas"}, [][]Lot{paired(1, 20, 9000, -1, 10, 10, 10)}); !errors.As(err, &want) {
		t.Errorf("falling: %v", err)
	}
	same := paired(1, 20, 0, 1, 0, 0, 0)
	for i := range same {
		same[i].To = []float64{5}
	}
	if _, err := Make([]string{"peak_mPas"}, [][]Lot{same}); !errors.As(err, &want) {
		t.Errorf("constant: %v", err)
	}
	poor, err := Make([]string{"peak_mPas"}, [][]Lot{paired(3, 40, 0, 1, 400, 20, 20)})
	if err != nil {
		t.Fatal(err)
	}
	if w := poor.Widening(map[string]float64{"peak_mPas": -0.002}, 0.09); w < MostWidening {
		t.Errorf("a poor bridge widens by %v only", w)
	}
}

func TestFile(t *testing.T) {
	b, err := Make([]string{"peak_mPas", "final_mPas"}, [][]Lot{paired(1, 20, 0, 0.9, 20, 10, 10), paired(2, 20, 0, 1.1, 20, 10, 10)})
	if err != nil {
		t.Fatal(err)
	}
	b.From, b.To, b.Method = "V2", "V1", "noodle-water"
	data, err := Encode(b)
	if err != nil {
		t.Fatal(err)
	}
	back, err := Decode("b.json", data)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Encode(back)
	if err != nil || !bytes.Equal(data, again) {
		t.Errorf("read and written again it differs (%v)", err)
	}
	if !back.Has("peak_mPas@noodle-water") || back.Has("peak_mPas@other") || back.Has("trough_mPas") {
		t.Error("features by method")
	}
	var want *Error
	for what, bad := range map[string][]byte{"changed": bytes.Replace(data, []byte(`"V2"`), []byte(`"V3"`), 1), "torn": data[:len(data)/2], "other": []byte(`{"schema":"flourcast.model/1"}`), "twice": append(bytes.Clone(data), data...), "empty": nil} {
		if _, err := Decode("b.json", bad); !errors.As(err, &want) {
			t.Errorf("%s: %v", what, err)
		}
	}
	hollow := *b
	hollow.Covariance = [][]float64{{1}}
	if data, err = Encode(&hollow); err != nil {
		t.Fatal(err)
	}
	if _, err := Decode("b.json", data); !errors.As(err, &want) {
		t.Errorf("hollow: %v", err)
	}
}

// There and back through the two bridges is where it began, as Deming's line has no
// direction.
func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lots := paired(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(10, 30).Draw(t, "n"), rapid.Float64Range(-200, 200).Draw(t, "shift"), rapid.Float64Range(0.5, 2).Draw(t, "slope"), 20, 10, 15)
		swapped := make([]Lot, len(lots))
		for i, l := range lots {
			swapped[i] = Lot{l.Name, l.To, l.From}
		}
		a, err := Make([]string{"peak_mPas"}, [][]Lot{lots})
		if err != nil {
			t.Fatal(err)
		}
		b, err := Make([]string{"peak_mPas"}, [][]Lot{swapped})
		if err != nil {
			t.Fatal(err)
		}
		to, _ := a.At("peak_mPas", 2700)
		if back, _ := b.At("peak_mPas", to); math.Abs(back-2700) > 1e-6 {
			t.Fatalf("2700 comes back as %v", back)
		}
	})
}

func FuzzDecode(f *testing.F) {
	b, err := Make([]string{"peak_mPas"}, [][]Lot{paired(1, 12, 0, 0.9, 20, 10, 10)})
	if err != nil {
		f.Fatal(err)
	}
	data, err := Encode(b)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"schema":"flourcast.bridge-file/1","features":[{}],"covariance":[[]],"lots":12}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var raw Bridge
		if json.Unmarshal(data, &raw) == nil { // with a right hash the figures are looked at
			if stamped, err := Encode(&raw); err == nil {
				data = stamped
			}
		}
		b, err := Decode("b.json", data)
		if err != nil {
			return
		}
		for _, x := range b.Features {
			b.At(x.Name, 1)
			if v := b.Variance(map[string]float64{x.Name: 1}, nil); math.IsNaN(v) || v < 0 {
				t.Fatal(v)
			}
		}
	})
}
