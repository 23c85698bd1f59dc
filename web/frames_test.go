package web

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/study/bookkeeping"
	"flourcast/study/entry"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
)

// A picture of many curves: so many lots, of so many points each, no two of them sampled
// at the same times.
const (
	manyCurves = 50
	manyPoints = 800
)

// crowd is a lab book of manyCurves lots.
func crowd(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	m, ok := method.Lookup("general-13min")
	if !ok {
		t.Fatal("no general-13min")
	}
	var curves, lots bytes.Buffer
	curves.WriteString("lot,method,time_s,temperature_C,viscosity_mPas\n")
	lots.WriteString("lot\n")
	for l := range manyCurves {
		fmt.Fprintf(&lots, "L%02d\n", l)
		height := 2500 + 40*float64(l)
		for i := range manyPoints {
			s := (float64(i) + float64(l)/manyCurves) * 780 / manyPoints
			rise := 1 / (1 + math.Exp(-(s-280)/18))
			v := 40 + height*rise*(1-0.35/(1+math.Exp(-(s-400)/30))) + 0.5*height/(1+math.Exp(-(s-600)/35)) + 3*math.Sin(s*7)
			fmt.Fprintf(&curves, "L%02d,%s,%.3f,%.1f,%.1f\n", l, m.ID, s, m.TemperatureAt(s), v)
		}
	}
	q := entry.AddRequest{Dir: filepath.Join(dir, "book"), Operator: "test"}
	for name, text := range map[string][]byte{"curves.csv": curves.Bytes(), "lots.csv": lots.Bytes()} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		q.Paths = append(q.Paths, path)
	}
	if _, err := bookkeeping.Init(context.Background(), q.Dir); err != nil {
		t.Fatal(err)
	}
	if res, err := entry.Add(context.Background(), env(), q); err != nil || res.Added.Runs != manyCurves {
		t.Fatalf("adding: found %+v, %v, expected %d runs", res, err, manyCurves)
	}
	return q.Dir
}

// everybody is the page of the first lot over all others.
func everybody() string {
	var others []string
	for l := 1; l < manyCurves; l++ {
		others = append(others, fmt.Sprintf("L%02d", l))
	}
	return "/lots/L00?with=" + strings.Join(others, ",")
}

// watch notes the time of each frame, and how long each drawing of the curves takes,
// until stopWatch.
const (
	watch     = `(() => { window.watched = {frames: [], draws: []}; let last = performance.now(); const tick = now => { if (!window.watched) return; window.watched.frames.push(now - last); last = now; requestAnimationFrame(tick); }; requestAnimationFrame(tick); const u = document.querySelector('.curves').plots[0]; let begun = 0; u.hooks.drawClear = [() => { begun = performance.now(); }]; u.hooks.draw.push(() => { if (window.watched) window.watched.draws.push(performance.now() - begun); }); return true; })()`
	stopWatch = `(() => { const w = window.watched, rise = (a, b) => a - b; window.watched = null; w.frames.sort(rise); w.draws.sort(rise); const at = (row, q) => row[Math.min(row.length - 1, Math.floor(row.length * q))] || 0; return {Frames: w.frames.length, Frame: at(w.frames, 0.5), Slow: at(w.frames, 0.95), Draws: w.draws.length, Draw: at(w.draws, 0.5), SlowDraw: at(w.draws, 0.95)}; })()`
)

type watched struct{ Frames, Frame, Slow, Draws, Draw, SlowDraw float64 }

// wheel turns the wheel over the curves, n times by dy.
func (e eyes) wheel(x, y, dy float64, n int) {
	e.t.Helper()
	for range n {
		e.do(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: "mouseWheel", X: x, Y: y, DeltaX: 1e-6, DeltaY: dy})
			return err
		}))
	}
}

// BenchmarkCurveFrames: 50 curves of 800 points are brought closer by the wheel, moved by
// dragging, and read by moving over them, in a real browser that draws without a
// graphics card. It reports the middle and the 95th of 100 times between two frames,
// and of the drawing itself, in ms.
func BenchmarkCurveFrames(b *testing.B) {
	path := chromium(b)
	e := look(b, bench(b, crowd(b)), path)
	for _, what := range []string{"wheel", "drag", "read"} {
		b.Run(what, func(b *testing.B) {
			for b.Loop() {
				w := e.frames(what)
				b.ReportMetric(w.Frame, "ms/frame")
				b.ReportMetric(w.Slow, "ms/frame-95%")
				b.ReportMetric(w.Draw, "ms/drawing")
				b.ReportMetric(w.SlowDraw, "ms/drawing-95%")
				b.ReportMetric(w.Draws, "drawings")
			}
		})
	}
}

// frames opens the page of everybody, does one thing to its curves and says how fast they
// followed.
func (e eyes) frames(what string) watched {
	e.t.Helper()
	e.at(everybody())
	e.until("the curves", "document.querySelector('.curves[data-drawn]')")
	type place struct{ X, Y, Width float64 }
	p := see[place](e, "(() => { const r = document.querySelector('.curves .u-over').getBoundingClientRect(); return {X: r.x + r.width / 2, Y: r.y + r.height / 2, Width: r.width}; })()")
	see[bool](e, "document.querySelector('.curves .field').focus({preventScroll: true}), true")
	if what == "drag" {
		e.wheel(p.X, p.Y, -100, 3)
		see[bool](e, "new Promise(done => setTimeout(() => done(true), 200))")
	}
	see[bool](e, watch)
	switch what {
	case "wheel":
		e.wheel(p.X, p.Y, -100, 12)
		e.wheel(p.X, p.Y, 100, 12)
	case "drag":
		e.do(chromedp.MouseEvent("mousePressed", p.X, p.Y, chromedp.ButtonLeft))
		for i := range 60 {
			e.do(chromedp.MouseEvent("mouseMoved", p.X+p.Width/3*math.Sin(float64(i)/6), p.Y, chromedp.ButtonLeft))
		}
		e.do(chromedp.MouseEvent("mouseReleased", p.X, p.Y, chromedp.ButtonLeft))
	case "read":
		for i := range 60 {
			e.do(chromedp.MouseEvent("mouseMoved", p.X+p.Width/3*math.Sin(float64(i)/6), p.Y))
		}
	}
	return see[watched](e, stopWatch)
}
