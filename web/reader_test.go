package web

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/study/bookkeeping"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// shot leaves a picture of the page where pictures are wanted.
func (e eyes) shot(name string) {
	e.t.Helper()
	shots := os.Getenv("FLOURCAST_SHOTS")
	if shots == "" {
		return
	}
	picture, err := chromedp.Run(e.ctx, chromedp.CaptureScreenshot())
	if err == nil {
		err = os.WriteFile(filepath.Join(shots, name+".png"), picture, 0o644)
	}
	if err != nil {
		e.t.Fatal(err)
	}
}

// key types into what has the focus.
func (e eyes) key(text string) { e.t.Helper(); e.do(chromedp.KeyEvent(text)) }

// rows is how many rows the lab book has.
func rows(t *testing.T, book string) int {
	t.Helper()
	log, err := bookkeeping.Log(context.Background(), bookkeeping.LogRequest{Dir: book})
	if err != nil {
		t.Fatal(err)
	}
	return len(log.Lines)
}

// TestWholeReader: a reader comes by a link, mistypes, signs in by keyboard and is back at
// the link; sees pages and no form that would change anything; is told which role adding
// needs; gets nothing changed by a script either; signs out, and nothing is left.
func TestWholeReader(t *testing.T) {
	e, _ := opened(t, Reach{Address: "127.0.0.1:0", Users: roll(t)})
	e.do(chromedp.EmulateViewport(360, 740))
	e.at("/lots/N25-001?with=N25-002")
	e.read("Who are you?")
	e.fitting("the sign-in at 360 px")
	e.shot("login-360")
	e.do(chromedp.EmulateViewport(1280, 900))
	enter := func(password string) {
		t.Helper()
		see[bool](e, "document.querySelector('#name').value = '', document.querySelector('#name').focus(), true")
		e.key("Rita Reader")
		e.key(kb.Tab)
		e.key(password)
		e.key(kb.Enter)
	}
	enter("battery horse of somebody")
	e.until("why not", "document.querySelector('[role=alert]').textContent.includes('do not go together')")
	e.fitting("the sign-in after a failure")
	e.shot("login-failed")
	enter(passwordOf("Rita Reader"))
	e.until("the page that was asked for", "location.pathname + location.search === '/lots/N25-001?with=N25-002' && document.querySelector('h1').textContent === 'Lot N25-001'")
	e.read("Signed in: Rita Reader, reader")
	e.fitting("a lot, signed in")
	e.shot("lot-signed-in")

	for _, page := range looked {
		page = strings.ReplaceAll(page, "ROW", e.row)
		if page == "/add" || page == "/forecast" || page == "/blend" {
			continue
		}
		e.at(page)
		e.read("Signed in: Rita Reader, reader")
		if forms := see[[]string](e, "[...document.querySelectorAll('form')].filter(f => (f.getAttribute('method') ?? 'get') !== 'get').map(f => f.getAttribute('action'))"); len(forms) != 1 || forms[0] != "/logout" {
			t.Errorf("%s: forms that change something: found %q, expected the sign-out", page, forms)
		}
		if links := see[[]string](e, "[...document.querySelectorAll('nav a, main a')].map(a => a.getAttribute('href')).filter(h => /^\\/(add|forecast|blend)\\b/.test(h))"); len(links) > 0 {
			t.Errorf("%s: links to what a reader may not see: %q", page, links)
		}
	}
	for _, page := range []string{"/add", "/forecast", "/blend"} {
		e.at(page)
		e.read("This needs the role technician: ask whoever keeps this bench.")
	}
	e.fitting("what a reader may not see")
	e.shot("short-of-role")
	e.do(chromedp.EmulateViewport(360, 740))
	e.at("/")
	e.fitting("today, signed in, at 360 px")
	e.shot("today-360")

	before := rows(t, e.book)
	for route := range Least {
		method, path, _ := strings.Cut(route, " ")
		if method != "POST" {
			continue
		}
		path = placeholder.ReplaceAllString(path, "x")
		code := see[int](e, fmt.Sprintf("fetch(%q, {method: 'POST', body: new URLSearchParams({token: document.querySelector('[name=token]').value, operator: 'Eve'})}).then(r => r.status)", path))
		if code != 403 {
			t.Errorf("POST %s by a script, with the token: found %d, expected 403", path, code)
		}
	}
	if after := rows(t, e.book); after != before {
		t.Errorf("the lab book has %d rows, expected %d as before", after, before)
	}

	e.click(".signed button")
	e.read("Who are you?")
	e.back()
	e.until("no page of before", "location.pathname === '/login' || !document.body.innerText.includes('Signed in')")
	e.at("/lots")
	e.read("Who are you?")
}
