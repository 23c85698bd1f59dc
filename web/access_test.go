package web

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// looked are the pages that are checked for access; ROW is a model's row.
var looked = []string{"/", "/lots", "/lots/N25-001?with=N25-002", "/lots/N25-001/features", "/add", "/relate", "/relate/peak_mPas@noodle-water?response=hardness_N&product=soft-bite-noodle",
	"/models", "/models/ROW", "/forecast", "/window?model=ROW&high=3.9", "/follow?model=ROW", "/jobs", "/control", "/specs", "/lots/nobody", suitOne, "/suit?lots=N26-001,N26-002&product=all&production=yes", "/suit?lots=nobody&product=soft-bite-noodle&references=N25-001", "/blend", blendOne, "/blend?asked=yes"}

const breaches = `axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then(r => r.violations.map(v => v.id + ': ' + v.help + ': ' + v.nodes.slice(0, 3).map(n => n.target.join(' ') + ' ' + n.html.slice(0, 120)).join(' | ')))`

// shift is the sum of all layout shifts since the page was loaded, 100 ms from now.
const shift = "new Promise(done => { let sum = 0; new PerformanceObserver(l => { for (const x of l.getEntries()) sum += x.value; }).observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(sum), 100); })"

// fitting checks that the page hangs over no side, that nothing on it moved after it was
// shown, and that the checker of access finds nothing.
func (e eyes) fitting(name string) {
	e.t.Helper()
	if over := see[float64](e, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); over > 0 {
		e.t.Errorf("%s: hangs over by %g px", name, over)
	}
	if moved := see[float64](e, shift); moved > 0.02 {
		e.t.Errorf("%s: layout moved by %.3f", name, moved)
	}
	see[bool](e, axe+"\n;true")
	if found := see[[]string](e, breaches); len(found) > 0 {
		e.t.Errorf("%s: found %d breaches:\n%s", name, len(found), strings.Join(found, "\n"))
	}
}

// TestAccess: the checker finds nothing, in light and dark, wide and narrow; nothing
// hangs over the side and nothing moves after it was shown.
func TestWholeAccess(t *testing.T) {
	e, _ := open(t)
	shots := os.Getenv("FLOURCAST_SHOTS") // a folder for pictures, to be looked at
	for _, look := range []struct {
		scheme        string
		width, height int64
	}{{"light", 1280, 900}, {"dark", 1280, 900}, {"light", 360, 740}, {"dark", 3840, 2160}} {
		pages := looked
		if look.width != 1280 { // forms, tables, curves, figures
			pages = []string{"/", "/lots/N25-001?with=N25-002", "/add", "/forecast", "/window?model=ROW&high=3.9", suitOne, "/blend", blendOne}
		}
		e.do(chromedp.EmulateViewport(look.width, look.height), chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: look.scheme}}})
			return err
		}))
		for i, page := range pages {
			name := fmt.Sprintf("%s, %s, %d px", page, look.scheme, look.width)
			e.at(strings.ReplaceAll(page, "ROW", e.row))
			e.until("the curves", "!document.querySelector('.curves') || document.querySelector('.curves[data-drawn]')")
			e.fitting(name)
			if shots != "" {
				picture, err := chromedp.Run(e.ctx, chromedp.CaptureScreenshot())
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(shots, fmt.Sprintf("%02d-%s-%d.png", i, look.scheme, look.width)), picture, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

// TestWholePrint: on paper of A4's width each page has no navigation and no form, and no table,
// figure or line hangs over its side.
func TestWholePrint(t *testing.T) {
	e, _ := open(t)
	e.do(chromedp.EmulateViewport(680, 960), chromedp.Func(func(ctx context.Context, target *chromedp.Target) error { // 210 mm less two margins of 15
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	for _, page := range looked {
		e.at(strings.ReplaceAll(page, "ROW", e.row))
		e.until("the curves", "!document.querySelector('.curves') || document.querySelector('.curves[data-drawn]')")
		for _, fault := range see[[]string](e, unprintable) {
			t.Errorf("%s: %s", page, fault)
		}
	}
	e.at("/lots")
	see[bool](e, "(() => { const c = document.querySelector('td'); c.textContent = 'm'.repeat(200); c.style.whiteSpace = 'nowrap'; c.style.overflowWrap = 'normal'; document.querySelector('nav').className = 'seen'; return true; })()")
	if found := see[[]string](e, unprintable); len(found) == 0 {
		t.Error("a cell of 200 letters: the check sees nothing")
	}
}

// unprintable is what a page, shown as it is printed, has that paper should not.
const unprintable = `(() => {
	const shown = x => x.getClientRects().length > 0, out = [];
	for (const x of document.querySelectorAll("nav, form, button:not(th button), .noprint, .tools, .csv"))
		if (shown(x)) out.push("prints " + x.localName + " " + x.className);
	const right = document.querySelector("main").getBoundingClientRect().right;
	for (const x of document.querySelectorAll("main table, main svg, main canvas, main p, main dl"))
		if (shown(x) && x.getBoundingClientRect().right > right + 1) out.push(x.localName + " hangs over by " + Math.round(x.getBoundingClientRect().right - right) + " px: " + x.textContent.trim().slice(0, 60));
	return out;
})()`

// TestWholeSortStays: how a table is sorted stands in the address: whoever gets the link, or
// comes back by the browser's button, finds it so.
func TestWholeSortStays(t *testing.T) {
	e, _ := open(t)
	const third = "document.querySelector('#lots-2 thead th:nth-child(3)').getAttribute('aria-sort')"
	e.at("/lots?product=layer-cake")
	e.click("#lots-2 thead th:nth-child(3) button")
	e.until("sorted", third+" === 'ascending'")
	e.click("#lots-2 thead th:nth-child(3) button")
	e.until("sorted downwards", third+" === 'descending'")
	e.until("said", "document.querySelector('#lots-2').querySelector('[role=status]').textContent.includes('runs')")
	address := see[string](e, "location.pathname + location.search")
	if address != "/lots?product=layer-cake&sort=lots-2%3A2%3Adown" {
		t.Errorf("address: found %s", address)
	}
	first := see[string](e, "document.querySelector('#lots-2 tbody tr').textContent")
	e.click("#lots-2 tbody tr th a")
	e.read("Forecasts and outcomes")
	e.back()
	e.until("sorted as before", third+" === 'descending'")
	e.at("/add")
	e.at(address)
	e.until("sorted by the link", third+" === 'descending'")
	if got := see[string](e, "document.querySelector('#lots-2 tbody tr').textContent"); got != first {
		t.Errorf("first row by the link: found %q, expected %q", got, first)
	}
	if code, _, _ := e.get("/lots?sort=lots:99:down&sort=nothing:1:up&sort=%3Cscript%3E"); code != 200 {
		t.Errorf("a sort that is not to be had: found %d", code)
	}
	e.at("/lots?sort=lots:99:down&sort=nothing:1:up&sort=%3Cscript%3E")
	e.read("the latest first")
}

// TestWholeShiftSees: the measure of what moves does see something that moves.
func TestWholeShiftSees(t *testing.T) {
	e, _ := open(t)
	e.at("/lots")
	if quiet := see[float64](e, shift); quiet > 0.02 {
		t.Errorf("a page at rest: moved by %.3f", quiet)
	}
	see[bool](e, "(() => { const x = document.createElement('p'); x.textContent = 'late'; x.style.height = '300px'; document.querySelector('main').prepend(x); return true; })()")
	if moved := see[float64](e, shift); moved < 0.05 {
		t.Errorf("a late box of 300 px: found a shift of %.3f, expected more than 0.05", moved)
	}
}

// TestWholeCheckerSees: the checker does find a breach where there is one.
func TestWholeCheckerSees(t *testing.T) {
	e, _ := open(t)
	e.at("/add")
	see[bool](e, "(() => { const i = document.createElement('input'); document.querySelector('main').append(i); return true; })()")
	see[bool](e, axe+"\n;true")
	if found, _ := json.Marshal(see[[]string](e, breaches)); !strings.Contains(string(found), "label") {
		t.Errorf("a field without a name: the checker found %s", found)
	}
}

// TestWholeKeyboard: Tab alone walks a page in the order in which it is read, from the skip
// link over the bar and the form to the buttons of the table; each stop can be seen to
// have the focus, and Enter on a heading sorts.
func TestWholeKeyboard(t *testing.T) {
	e, _ := open(t)
	e.at("/lots?search=N26-00")
	e.until("the headings' buttons", "document.querySelector('.table thead th button')")
	type stop struct {
		Name    string // tag, and what it says or is for
		Place   int    // among all elements of the page
		Seen    bool   // a line around it, within the window
		Through bool   // the focus has left the page
	}
	here := func() stop {
		return see[stop](e, `(() => {
			const x = document.activeElement, line = getComputedStyle(x), box = x.getBoundingClientRect();
			return {
				Name: x.localName + ' ' + (x.id || x.getAttribute('href') || x.textContent.trim()),
				Place: [...document.querySelectorAll('*')].indexOf(x),
				Seen: line.outlineStyle !== 'none' && parseFloat(line.outlineWidth) >= 2 && box.width > 0 && box.left >= 0 && box.top < innerHeight && box.bottom > 0,
				Through: x === document.body,
			};
		})()`)
	}
	var names []string
	last := -1
	for range 200 {
		e.do(chromedp.KeyEvent(kb.Tab))
		at := here()
		if at.Through || at.Place < last && at.Name == names[0] {
			break
		}
		if at.Place <= last {
			t.Errorf("%s comes after what follows it on the page", at.Name)
		}
		if !at.Seen {
			t.Errorf("%s: has the focus, and nobody sees it", at.Name)
		}
		last, names = at.Place, append(names, at.Name)
	}
	rest := names
	for _, want := range []string{"a #main", "a /", "a /lots", "a /blend", "a /jobs", "input search", "select product", "select has", "button Show", "button lot", "a /lots/N26-001"} {
		i := slices.Index(rest, want)
		if i < 0 {
			t.Fatalf("no stop at %q after the ones before it; the walk was %q", want, names)
		}
		rest = rest[i+1:]
	}
	see[bool](e, "document.querySelector('.table thead th:nth-child(2) button').focus(), true")
	e.do(chromedp.KeyEvent(kb.Enter))
	e.until("the column sorted", "document.querySelector('.table thead th:nth-child(2)').getAttribute('aria-sort') === 'ascending'")
}
