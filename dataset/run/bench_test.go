package run

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/metrics"
	"strconv"
	"testing"
	"time"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
)

// BenchmarkCurves reads files of one run each, of 800 rows, and extracts their
// features: MB of CSV a second, and the most memory that the program held while
// it did. FLOURCAST_BENCH_FILES says how many files (200 without it);
// FLOURCAST_BENCH_DIR names a folder where they are written and left, so that
// another program may read the same ones.
//
// Two forms: long, with the labels of the run in every row, and bare, with time,
// temperature and viscosity alone, the lot in the name of the file.
func BenchmarkCurves(b *testing.B) {
	n := 200
	if text := os.Getenv("FLOURCAST_BENCH_FILES"); text != "" {
		var err error
		if n, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	named, err := sheet.ParseMap("lots-by-name.toml", []byte("file_name = '^run-(?P<lot>.+)$'\n[constant]\nmethod = \"general-13min\"\n"))
	if err != nil {
		b.Fatal(err)
	}
	for _, form := range []struct {
		name   string
		labels bool
		m      *sheet.Map
	}{{"long", true, nil}, {"bare", false, named}} {
		b.Run(form.name, func(b *testing.B) {
			dir := b.TempDir()
			if kept := os.Getenv("FLOURCAST_BENCH_DIR"); kept != "" {
				dir = filepath.Join(kept, form.name)
			}
			paths, size := writeCurves(b, dir, n, form.labels)
			b.SetBytes(size)
			peak := watchMemory()
			b.ResetTimer()
			for b.Loop() {
				runs, c, fl, err := ReadCurves(context.Background(), paths, Options{Map: form.m})
				if err != nil {
					b.Fatal(err)
				}
				if c.Accepted != 800*n || len(runs) != n || !runs[n-1].Features.OK() {
					b.Fatalf("%+v of %d runs, findings %v", c, len(runs), fl[:min(len(fl), 3)])
				}
			}
			b.StopTimer()
			b.ReportMetric(float64(peak())/(1<<20), "peak-MiB")
		})
	}
}

// watchMemory looks at the memory held by the program every few milliseconds
// until the function that it returns is called, which gives the most, in bytes.
func watchMemory() func() uint64 {
	sample := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	stop, most := make(chan struct{}), make(chan uint64)
	go func() {
		var high uint64
		tick := time.NewTicker(5 * time.Millisecond)
		defer tick.Stop()
		for {
			metrics.Read(sample)
			high = max(high, sample[0].Value.Uint64()-sample[1].Value.Uint64())
			select {
			case <-stop:
				most <- high
				return
			case <-tick.C:
			}
		}
	}()
	return func() uint64 { close(stop); return <-most }
}

// writeCurves writes n files of 800 points over the 13 minutes of the general
// profile, each with its own peak and noise, unless they are there already.
func writeCurves(b testing.TB, dir string, n int, labels bool) (paths []string, size int64) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		b.Fatal(err)
	}
	m, _ := method.Lookup("general-13min")
	for k := range n {
		path := filepath.Join(dir, fmt.Sprintf("run-%05d.csv", k))
		paths = append(paths, path)
		if info, err := os.Stat(path); err == nil {
			size += info.Size()
			continue
		}
		rng := rand.New(rand.NewPCG(uint64(k), 1))
		peak := 1800 + 900*rng.Float64()
		var text bytes.Buffer
		head, lead := "time_s,temperature_C,viscosity_mPas\n", ""
		if labels {
			head, lead = "lot,method,replicate,"+head, fmt.Sprintf("N24-%05d,general-13min,1,", k)
		}
		text.WriteString(head)
		for i := range 800 {
			t := 0.975 * float64(i)
			v := 60 + (peak-60)/(1+math.Exp((250-t)/14))/(1+math.Exp((t-390)/30)/2.4) + 1500/(1+math.Exp((610-t)/35))
			fmt.Fprintf(&text, "%s%.3f,%.1f,%.0f\n", lead, t, m.TemperatureAt(t)+0.05*rng.NormFloat64(), v+3*rng.NormFloat64())
		}
		if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
			b.Fatal(err)
		}
		size += int64(text.Len())
	}
	return paths, size
}
