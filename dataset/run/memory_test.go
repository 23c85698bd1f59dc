package run

import (
	"context"
	"errors"
	"runtime"
	"testing"
)

// What is left of a run after its file was read is small, whatever the length of its
// curve: neither its points (25 kB here) nor the text of its file (34 kB) is kept.
func TestRunsAreSmall(t *testing.T) {
	const n = 60
	paths, _ := writeCurves(t, t.TempDir(), n, true)
	read := func(keep bool) (runs []Run) {
		runs, c, _, err := ReadCurves(context.Background(), paths, Options{Keep: keep})
		if err != nil || c.Accepted != n*800 {
			t.Fatalf("%+v, %v", c, err)
		}
		return runs
	}
	read(false) // what is set up once
	for _, c := range []struct {
		keep        bool
		least, most uint64
	}{{false, 0, 6 << 10}, {true, 25 << 10, 80 << 10}} {
		before := held()
		runs := read(c.keep)
		if each := (held() - before) / n; each < c.least || each > c.most {
			t.Errorf("keep %v: %d bytes are held for each run, expected %d to %d", c.keep, each, c.least, c.most)
		}
		runtime.KeepAlive(runs)
	}
}

// held is the memory in use.
func held() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// Of a run that was handed on, no more than its name is left.
func TestRunsAreLetGo(t *testing.T) {
	const early, late = 20, 119
	paths, _ := writeCurves(t, t.TempDir(), late+1, true)
	var at [late + 1]uint64
	k := 0
	_, _, err := EachCurve(context.Background(), paths, Options{Cores: 1}, func(Run) error {
		if k == early || k == late {
			at[k] = held()
		}
		k++
		return nil
	})
	if err != nil || k != late+1 {
		t.Fatalf("%d runs, %v", k, err)
	}
	if each := (int64(at[late]) - int64(at[early])) / (late - early); each > 700 {
		t.Errorf("%d bytes are held for each run that was handed on", each)
	}
}

// An interrupted reading gives nothing, and says that it was interrupted.
func TestInterrupted(t *testing.T) {
	paths, _ := writeCurves(t, t.TempDir(), 8, true)
	ctx, stop := context.WithCancel(context.Background())
	runs, c, fl, err := ReadCurves(ctx, paths, Options{Progress: stopper(stop)})
	if !errors.Is(err, context.Canceled) || runs != nil || c.Read != 0 || fl != nil {
		t.Errorf("%d runs, %+v, %v, %v", len(runs), c, fl, err)
	}
}

// stopper interrupts at the first step.
type stopper func()

func (s stopper) Start(string, int) {}
func (s stopper) Step(int)          { s() }
func (s stopper) Done()             {}
