package work

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync/atomic"
	"testing"
	"time"
)

func TestEachGivesTheSameBitsOnAnyNumberOfCores(t *testing.T) {
	sum := func(cores int) float64 {
		parts := make([]float64, 500)
		err := Each(context.Background(), len(parts), cores, func(i int) error {
			parts[i] = Rand(7, "part", fmt.Sprint(i)).NormFloat64() * math.Pow(10, float64(i%9))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		total := 0.0
		for _, p := range parts {
			total += p
		}
		return total
	}
	one := sum(1)
	for _, cores := range []int{2, 3, 8} {
		if got := sum(cores); math.Float64bits(got) != math.Float64bits(one) {
			t.Errorf("%d cores: %v, one core: %v", cores, got, one)
		}
	}
}

func TestEachReturnsTheSmallestFailedIndexItSaw(t *testing.T) {
	boom := errors.New("boom")
	for _, cores := range []int{1, 4} {
		var ran atomic.Int64
		err := Each(context.Background(), 1000, cores, func(i int) error {
			ran.Add(1)
			if i == 10 {
				return boom
			}
			return nil
		})
		if !errors.Is(err, boom) {
			t.Errorf("%d cores: error %v", cores, err)
		}
		if n := ran.Load(); n < 11 || n > 990 {
			t.Errorf("%d cores: %d calls, want to stop soon after the failure", cores, n)
		}
	}
}

func TestEachStopsWhenTheContextIsDone(t *testing.T) {
	for _, cores := range []int{1, 4} {
		ctx, cancel := context.WithCancel(context.Background())
		var ran atomic.Int64
		err := Each(ctx, 1000, cores, func(i int) error {
			if ran.Add(1) == 5 {
				cancel()
			}
			return nil
		})
		if !errors.Is(err, context.Canceled) || ran.Load() > 50 {
			t.Errorf("%d cores: %v after %d calls", cores, err, ran.Load())
		}
	}
}

func TestEachWithNothingToDo(t *testing.T) {
	if err := Each(context.Background(), 0, 4, func(int) error { t.Error("called"); return nil }); err != nil {
		t.Error(err)
	}
}

func TestSeedsDifferByBaseAndByLabel(t *testing.T) {
	seen := map[uint64]string{}
	for base := range uint64(20) {
		for _, labels := range [][]string{{}, {"a"}, {"b"}, {"a", "b"}, {"ab"}, {"b", "a"}, {""}} {
			s := Seed(base, labels...)
			name := fmt.Sprint(base, labels, len(labels))
			if other, ok := seen[s]; ok {
				t.Errorf("%s and %s share seed %d", name, other, s)
			}
			seen[s] = name
			if Seed(base, labels...) != s {
				t.Errorf("%s: not repeatable", name)
			}
		}
	}
}

// Pieces finished on several cores come out in order and one at a time; after an
// error none does.
func TestInOrder(t *testing.T) {
	const n = 300
	for _, cores := range []int{1, 4} {
		var got []int
		o := InOrder(func(i int) error { got = append(got, i); return nil })
		err := Each(context.Background(), n, cores, func(i int) error {
			if i%3 == 0 { // some are late
				time.Sleep(time.Duration(i%7) * 50 * time.Microsecond)
			}
			return o.Put(i, i)
		})
		if err != nil || len(got) != n || !slices.IsSorted(got) {
			t.Errorf("%d cores: %v, %v", cores, got, err)
		}
	}
	boom := errors.New("boom")
	taken := 0
	o := InOrder(func(i int) error {
		if taken++; i == 1 {
			return boom
		}
		return nil
	})
	if err := o.Put(1, 1); err != nil || taken != 0 {
		t.Errorf("a piece before its turn: %v, %d taken", err, taken)
	}
	for _, c := range []struct {
		i    int
		want error
	}{{0, boom}, {2, boom}, {3, boom}} {
		if err := o.Put(c.i, c.i); !errors.Is(err, c.want) || taken != 2 {
			t.Errorf("piece %d: %v, %d taken", c.i, err, taken)
		}
	}
}
