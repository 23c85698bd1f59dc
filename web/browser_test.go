package web

import (
	"context"
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

//go:embed testdata/axe/axe.min.js
var axe string

// eyes is a real browser that looks at a bench.
type eyes struct {
	browser
	t    testing.TB
	ctx  context.Context
	row  string // of the model of hardness
	book string
}

// open starts Chromium on a copy of the invented mill's book, which nobody has to sign
// in to.
func open(t testing.TB) (eyes, string) {
	t.Helper()
	return opened(t, Reach{Address: "127.0.0.1:0"})
}

// opened starts Chromium on a copy of the invented mill's book that is reached as asked
// for.
func opened(t testing.TB, reach Reach) (eyes, string) {
	t.Helper()
	path := chromium(t)
	book, dir := copied(t)
	b := served(t, reach, offered(book))
	row := b
	if reach.Users != "" {
		row = b.as("Rita Reader")
	}
	e := look(t, b, path)
	e.row, e.book = row.model(), book
	return e, dir
}

// chromium is where Chromium lies. Without it the test says so and is left out; where CI
// is set it fails.
func chromium(t testing.TB) string {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not installed: apt-get install chromium")
		}
		t.Skip("chromium is not installed, so no page was looked at: apt-get install chromium")
	}
	return path
}

// look starts Chromium, which lies at path, on a bench.
func look(t testing.TB, b browser, path string) eyes {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.WindowSize(1280, 900), chromedp.WSURLReadTimeout(time.Minute))
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox)
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	e := eyes{browser: b, t: t, ctx: ctx}
	e.do(chromedp.Navigate(b.base + "/"))
	messages := chromedp.Console(ctx)
	go func() { // every fault that the browser tells of, a breach of the policy among them
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.IsException() || strings.Contains(m.String(), "Content Security Policy") {
				t.Errorf("the browser says: %s", m)
			}
		}
	}()
	return e
}

// patience is how long a page may take on a busy machine.
const patience = time.Minute

func (e eyes) do(steps ...chromedp.Action[chromedp.Void]) {
	e.t.Helper()
	ctx, cancel := context.WithTimeout(e.ctx, patience)
	defer cancel()
	if e.ctx.Err() != nil || chromedp.FromContext(e.ctx).Browser == nil {
		ctx = e.ctx // the first call binds the browser's life to its context
	}
	if err := chromedp.Do(ctx, steps...); err != nil {
		e.t.Fatal(err)
	}
}

// see is what a script says of the page.
func see[T any](e eyes, script string) T {
	e.t.Helper()
	ctx, cancel := context.WithTimeout(e.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		e.t.Fatalf("%s: %v", script[:min(len(script), 80)], err)
	}
	return v
}

// until waits for a condition on the page.
func (e eyes) until(what, script string) {
	e.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		ctx, cancel := context.WithTimeout(e.ctx, patience)
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("document.readyState === 'complete' && !!("+script+")"))
		cancel()
		if err == nil && ok { // between two pages there is nothing to ask
			return
		}
	}
	e.t.Fatalf("%s: not seen; the page says %q", what, see[string](e, "document.body.innerText.slice(0, 600)"))
}

// read waits for a text on the page.
func (e eyes) read(text string) {
	e.t.Helper()
	e.until(fmt.Sprintf("%q", text), fmt.Sprintf("document.body.innerText.includes(%q)", text))
}

func (e eyes) at(path string) { e.t.Helper(); e.do(chromedp.Navigate(e.base + path)) }

// click presses what a selector names, once it is there. A page out of the browser's
// memory has other nodes than chromedp knows, so that the page itself is asked.
func (e eyes) click(selector string) {
	e.t.Helper()
	e.until(selector, fmt.Sprintf("document.querySelector(%q)", selector))
	see[bool](e, fmt.Sprintf("setTimeout(() => document.querySelector(%q).click()), true", selector))
}

// back is the browser's own button. A page kept in its memory loads nothing, so that
// there is no load to wait for.
func (e eyes) back() { e.t.Helper(); see[bool](e, "history.back(), true") }

// TestWholeTechnician: drop files, read a refusal, store, look at the curve, forecast.
func TestWholeTechnician(t *testing.T) {
	e, dir := open(t)
	folder := t.TempDir()
	curve, lots := filepath.Join(folder, "monday.csv"), filepath.Join(folder, "monday-lots.csv")
	lift(t, filepath.Join(dir, "raw", "new", "curves.csv"), curve, "N26-001", "N27-901")
	lift(t, filepath.Join(dir, "raw", "new", "lots.csv"), lots, "N26-001", "N27-901")
	spoilt := filepath.Join(folder, "spoilt.csv")
	lift(t, filepath.Join(dir, "raw", "new", "curves.csv"), spoilt, "N26-002", "N27-902")
	rewrite(t, spoilt, func(lines []string) { lines[40], lines[60] = lines[60], lines[40] })

	e.at("/add")
	e.do(chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{curve, lots, spoilt}))
	e.read("Chosen: monday.csv")
	e.click("form.drop button")
	e.read("Nothing is stored yet")
	e.read("time goes from") // the refusal says what was found …
	e.read("sort the rows by time")
	e.do(chromedp.Navigate(e.base + "/lots/N27-901"))
	e.read("Lot N27-901 is not in the lab book") // … and nothing is stored before it was confirmed
	e.back()
	e.read("Nothing is stored yet")
	see[string](e, "document.querySelector('#operator').value = 'Test Technician'")
	e.click("form[action$=confirm] button")
	e.read("Added to the lab book")
	e.read("All of it is on disk")

	e.at("/lots/N27-901")
	e.until("the curves", "document.querySelectorAll('.curves[data-drawn] canvas').length === 2")
	e.do(chromedp.MouseEvent("mouseMoved", 700, see[float64](e, "document.querySelector('.curves canvas').getBoundingClientRect().top + 120")))
	e.until("the readout", "/min.*mPa·s.*°C/.test(document.querySelector('.curves .read').textContent)")
	shown := func() [2]float64 {
		return see[[2]float64](e, "(() => { const x = document.querySelector('.curves').plots[0].scales.x; return [x.min, x.max]; })()")
	}
	whole := shown()
	see[bool](e, "document.querySelector('.curves .field').focus(), true")
	for _, key := range []string{"+", "+", kb.ArrowRight} {
		e.do(chromedp.KeyEvent(key))
	}
	e.until("a stretch in the middle", "document.querySelector('.curves .field.closer') && document.querySelector('.curves .spoken').textContent.includes(' to ')")
	e.until("after + + → about half of it, later than its beginning", fmt.Sprintf("(x => x.max - x.min <= 0.6 * %g && x.min > %g)(document.querySelector('.curves').plots[0].scales.x)", whole[1]-whole[0], whole[0]))
	e.do(chromedp.KeyEvent(kb.Home))
	e.until("the whole again", "!document.querySelector('.curves .field.closer')")
	e.until("as wide as before", fmt.Sprintf("document.querySelector('.curves').plots.every(u => u.scales.x.max - u.scales.x.min === %g)", whole[1]-whole[0]))
	e.click(".part details.fold summary")
	e.read("The first point that was sampled in each half minute")
	e.click(".part:last-of-type details summary") // its trail
	e.read("Test Technician")

	e.at("/forecast?model=" + e.row + "&lots=N27-901&high=3.9")
	e.click("#record")
	e.click("form[action='/forecast/book'] button")
	e.read("The probability of meeting")
	e.read("off the average lot")
	e.at("/lots/N27-901")
	e.read("was forecast")
	e.read("Specification: at most 3.9 N. Not measured yet.")
}

// lift copies the rows of one lot under another name.
func lift(t *testing.T, from, to, lot, as string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for i, line := range strings.Split(string(data), "\n") {
		if i == 0 || strings.Contains(line, lot) {
			out = append(out, strings.ReplaceAll(line, lot, as))
		}
	}
	if len(out) < 2 {
		t.Fatalf("%s has no row of %s", from, lot)
	}
	if err := os.WriteFile(to, []byte(strings.Join(out, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
}

func rewrite(t *testing.T, path string, f func([]string)) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(data), "\n")
	f(lines)
	if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestWholeScientist: relate, look at one relation, compare candidates, fit, read the
// verdict and its directions; a job that is loaded again is still there, one that is
// cancelled ends.
func TestWholeScientist(t *testing.T) {
	e, _ := open(t)
	e.at("/relate?response=hardness_N&product=soft-bite-noodle&method=noodle-water")
	e.click("#relations tbody tr th a")
	e.until("a point with the name of its lot", "[...document.querySelectorAll('svg circle title')].some(x => x.textContent.startsWith('N2'))")
	e.click(".table thead th:nth-child(3) button")
	e.until("the column sorted", "document.querySelector('.table thead th:nth-child(3)').getAttribute('aria-sort') === 'ascending'")
	e.back()
	e.read("What goes with hardness")

	e.at("/models?response=cohesiveness&product=soft-bite-noodle&method=noodle-water")
	e.click("form[action='/models/compare'] button:not([formaction])")
	e.until("the job", "location.pathname.startsWith('/jobs/')")
	see[bool](e, "setTimeout(() => location.reload()), true")
	e.read("Candidates")
	e.at("/models?response=hardness_N&product=soft-bite-noodle&method=noodle-water")
	e.click("button[formaction='/models/fit']")
	e.read("What was checked")
	e.click("a[href^='/models/']:not(nav a)")
	e.read("Directions")

	e.at("/models?response=hardness_N&product=soft-bite-noodle&method=noodle-water")
	e.click("button[formaction='/models/fit']")
	e.until("the job or its end", "location.pathname.startsWith('/jobs/')")
	if see[bool](e, "!!document.querySelector('.job button')") {
		e.click(".job button")
		e.until("an end", "document.querySelector('.job .state.cancelled') || document.body.innerText.includes('What was checked')")
	}
}

// TestWholeSales: drag a specification on the window, see the answer change, print it. Then, a
// customer on the phone: a sheet with his limits and the window of the lots that ran well,
// a lot that is not there; and a blend of three lots, stepped through with the arrow keys,
// changed, and gone back to.
func TestWholeSales(t *testing.T) {
	e, _ := open(t)
	e.at("/window?model=" + e.row + "&high=3.9")
	e.read("hardness at most 3.9 N")
	e.until("the grips", "document.querySelectorAll('.grip').length === 2")
	type place struct{ X, Y, Left float64 }
	p := see[place](e, "(() => { const r = document.querySelector('[data-grip=high]').getBoundingClientRect(), t = document.querySelector('.track').getBoundingClientRect(); return {X: r.x + r.width / 2, Y: r.y + r.height / 2, Left: t.left}; })()")
	e.do(chromedp.DragAndDropXY(p.X, p.Y, p.X-80, p.Y))
	e.until("another limit in the address", "new URLSearchParams(location.search).get('high') !== '3.9' && parseFloat(new URLSearchParams(location.search).get('high')) < 3.9")
	e.until("its answer", "document.body.innerText.includes('hardness at most ' + parseFloat(new URLSearchParams(location.search).get('high')))")
	e.back()
	e.read("hardness at most 3.9 N")
	ctx, cancel := context.WithTimeout(e.ctx, patience)
	defer cancel()
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4)))
	if err != nil || len(pdf) < 10_000 || string(pdf[:5]) != "%PDF-" {
		t.Errorf("printing: found %d bytes, %v", len(pdf), err)
	}

	e.at("/suit")
	e.fill("#lots", "N26-001")
	e.click(".more summary")
	e.fill("[name=column1]", "soft-bite-noodle:hardness_N")
	e.fill("[name=high1]", "3,6")
	e.click("#production")
	e.click("form[action='/suit'] button")
	e.read("The chance to lie at 3.60 N or below")
	e.read("lie within those of lots that ran well in production")
	e.until("the question folded away", "!document.querySelector('.question').open")
	e.until("the file", "document.querySelector(\"a[href^='/suit/sheet.pdf?'][href*='high1=3%2C6']\")")
	e.click(".question summary")
	e.fill("#lots", "N26-001, N99-999")
	e.click("form[action='/suit'] button")
	e.read("found lot N99-999")
	e.until("what was filled in", "document.querySelector('#lots').value === 'N26-001, N99-999' && document.querySelector('[name=high1]').value === '3,6'")

	e.at("/blend")
	e.fill("#flours", "N26-001\t352.50\nN26-002\t418\nN26-003\t389")
	e.fill("[name=column1]", "peak_mPas")
	e.fill("[name=low1]", "2500")
	e.fill("[name=high1]", "2700")
	e.click("form[action='/blend'] button")
	e.read("The cheapest blend")
	e.until("the slider", "document.querySelector('#step')")
	at := func() string {
		return see[string](e, "document.querySelector('#ratios tr.here').cells[0].textContent.trim()")
	}
	from := at()
	see[bool](e, "document.querySelector('#step').focus(), true")
	e.do(chromedp.KeyEvent(kb.ArrowRight))
	e.until("the next ratio, read out", fmt.Sprintf("document.querySelector('#ratios tr.here').cells[0].textContent.trim() !== %q && document.querySelector('.ratio output').textContent.includes(document.querySelector('#ratios tr.here').cells[3].textContent.trim())", from))
	e.click(".question summary")
	e.fill("[name=high1]", "2600")
	e.click("form[action='/blend'] button")
	e.until("another limit in the address", "new URLSearchParams(location.search).get('high1') === '2600'")
	e.read("peak viscosity at most 2600 mPa·s")
	e.back()
	e.read("peak viscosity at most 2700 mPa·s")
}

// fill writes into a field, or chooses.
func (e eyes) fill(selector, text string) {
	e.t.Helper()
	e.until(selector, fmt.Sprintf("document.querySelector(%q)", selector))
	see[bool](e, fmt.Sprintf("(() => { const f = document.querySelector(%q); f.value = %q; f.dispatchEvent(new Event('input', {bubbles: true})); return f.value === %q; })()", selector, text, text))
}
