package web

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"flourcast/demo"
	"flourcast/demo/diary"
	"flourcast/study"
	"flourcast/study/bookkeeping"
)

// mill is the invented mill's lab book, made once for all tests that only read it, and
// the folder of its raw files.
var mill = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "flourcast-web-test-")
	if err != nil {
		return "", err
	}
	_, err = diary.Write(context.Background(), env(), dir, demo.Notice)
	return dir, err
})

func env() study.Env {
	return study.Env{Clock: func() time.Time { return time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC) }, Version: "test", Seed: 1}
}

func TestMain(m *testing.M) {
	code := m.Run()
	if dir, err := mill(); err == nil {
		os.RemoveAll(dir)
	}
	os.Exit(code)
}

// browser is a client with cookies at a running bench.
type browser struct {
	*http.Client
	t    testing.TB
	base string
}

// copied is a book of a test's own: the invented mill's, and the mill's folder.
func copied(t testing.TB) (book, dir string) {
	t.Helper()
	dir, err := mill()
	if err != nil {
		t.Fatal(err)
	}
	book = filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Backup(context.Background(), filepath.Join(dir, "book"), book); err != nil {
		t.Fatal(err)
	}
	return book, dir
}

// bench serves a lab book on loopback until the test ends.
func bench(t testing.TB, book string) browser {
	t.Helper()
	return served(t, Reach{Address: "127.0.0.1:0"}, offered(book))
}

// offered are the options of a bench over a book, with the invented mill's stock.
func offered(book string) Options {
	o := Options{Book: book, Title: demo.Name, Notice: demo.Notice, Env: env(), Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	if dir, err := mill(); err == nil {
		o.Offered.Stock, o.Offered.Blends = diary.Stock(dir)
	}
	return o
}

// served serves a bench that can be reached as asked for.
func served(t testing.TB, reach Reach, o Options) browser {
	t.Helper()
	l, err := reach.Open(env().Clock)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(l, o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- Serve(ctx, l, s) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("serving: %v", err)
		}
		if _, err := os.Stat(s.scratch); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("scratch folder after the end: found %v, expected it gone", err)
		}
	})
	jar, _ := cookiejar.New(nil)
	return browser{&http.Client{Jar: jar}, t, strings.TrimSuffix(l.URL(), "/")}
}

// demoBench serves the invented mill.
func demoBench(t testing.TB) (browser, string) {
	t.Helper()
	dir, err := mill()
	if err != nil {
		t.Fatal(err)
	}
	return bench(t, filepath.Join(dir, "book")), dir
}

func (b browser) get(path string) (int, string, http.Header) {
	b.t.Helper()
	r, err := b.Get(b.base + path)
	if err != nil {
		b.t.Fatal(err)
	}
	return read(b.t, r)
}

func read(t testing.TB, r *http.Response) (int, string, http.Header) {
	t.Helper()
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body), r.Header
}

var tokenField = regexp.MustCompile(`name="token" value="([0-9a-f]+)"`)

// token is the session's, from a page with a form.
func (b browser) token() string {
	b.t.Helper()
	_, body, _ := b.get("/add")
	m := tokenField.FindStringSubmatch(body)
	if m == nil {
		b.t.Fatal("no token on /add")
	}
	return m[1]
}

// send posts a form; files are paths by field.
func (b browser) send(path string, fields map[string]string, files map[string][]string) (int, string, *url.URL) {
	b.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for k, v := range fields {
		if err := m.WriteField(k, v); err != nil {
			b.t.Fatal(err)
		}
	}
	for field, paths := range files {
		for _, p := range paths {
			data, err := os.ReadFile(p)
			if err != nil {
				b.t.Fatal(err)
			}
			w, err := m.CreateFormFile(field, filepath.Base(p))
			if err != nil {
				b.t.Fatal(err)
			}
			if _, err := w.Write(data); err != nil {
				b.t.Fatal(err)
			}
		}
	}
	m.Close()
	r, err := b.Post(b.base+path, m.FormDataContentType(), &body)
	if err != nil {
		b.t.Fatal(err)
	}
	code, text, _ := read(b.t, r)
	return code, text, r.Request.URL
}

// outcome waits for the work at an address to end.
func (b browser) outcome(at *url.URL) (int, string) {
	b.t.Helper()
	for range 3000 {
		_, state, _ := b.get(at.Path + "/state")
		if strings.Contains(state, `"done"`) || strings.Contains(state, `"failed"`) {
			code, body, _ := b.get(at.Path)
			return code, body
		}
		time.Sleep(20 * time.Millisecond)
	}
	b.t.Fatalf("%s: no end", at)
	return 0, ""
}

// urls are pages with what has to be on them, and the status where it is not 200.
var urls = []struct {
	path string
	code int
	want []string
}{
	{"/", 200, []string{"<h1>Today</h1>", "instrument V1 in control on its last day, 2026-01-12", "1 of 60 days were out of control.", "nobody has written down yet", `href="/lots/N25-099"`, "texture or bakes", "Everything here is invented", `href="/lots/N26-001"`, "may they still be trusted?", `href="/follow?model=`}},
	{"/control", 200, []string{"Control flour", "2024-10-28", "<svg"}},
	{"/trail?lot=N26-001", 200, []string{"The trail", "N26-001", "forecast"}},
	{"/lots", 200, []string{`href="/lots/N23-001"`, "layer cake", `action="/lots"`}},
	{"/lots?search=n26-00&has=forecasts", 200, []string{`href="/lots/N26-001"`, "6 of "}},
	{"/lots?search=%3Cscript%3E", 200, []string{"&lt;script&gt;", "0 of "}},
	{"/lots/N25-001", 200, []string{"Lot N25-001", "hardness", `data-figure="/lots/N25-001/curves?with="`, `<noscript><img src="/lots/N25-001/picture?with="`, "Features, noodle-water", "repeatability SD", "The curves as a table", "Its trail", "lots that ", `href="/lots/N25-002"`}},
	{"/lots/N26-110", 200, []string{"was forecast: accept", "inside the interval. The decision was right.", "judged"}},
	{"/lots/N25-099", 200, []string{"Lot N25-099", "Nothing was forecast"}},
	{"/lots/N25-001/picture", 200, []string{"<svg", "final"}},
	{"/lots/nobody/picture", 404, []string{"A curve of lot nobody"}},
	{"/lots/nobody/curves", 404, nil},
	{"/lots/N26-001", 200, []string{"accept", "peak viscosity", "Conformity to the method"}},
	{"/lots/N26-001/curves?with=N25-002", 200, []string{`"label":"peak"`, `"faint":true`, "N25-002"}},
	{"/lots/N26-001/curves", 200, []string{`"bands":`, "from the lowest to the highest curve of"}},
	{"/lots/N25-001/features", 200, []string{"Pasting curve", "overshoot", "<svg", "area under the hot hold", "differ by"}},
	{"/lots/nobody", 404, []string{"Lot nobody is not in the lab book"}},
	{"/lots/..%2F..%2Fetc%2Fpasswd", 404, []string{"is not in the lab book"}},
	{"/add", 200, []string{`enctype="multipart/form-data"`, `name="token"`}},
	{"/add/nothing", 422, []string{"drop them again"}},
	{"/relate", 200, []string{"What goes with hardness", "given protein", "/relate/peak_mPas@noodle-water?"}},
	{"/relate?response=cohesiveness&product=soft-bite-noodle&method=noodle-water", 200, []string{"What goes with cohesiveness"}},
	{"/relate?response=no_such", 422, []string{"What was wrong"}},
	{"/relate/peak_mPas@noodle-water?response=hardness_N&product=soft-bite-noodle&method=noodle-water", 200, []string{"Hardness and peak viscosity", "<title>N23-001", "given protein", `href="/lots/N23-001"`}},
	{"/relate/no_such", 404, []string{"A relation with no_such"}},
	{"/models", 200, []string{"fit for use", "not fit for use", "Make one", `formaction="/models/fit"`, "PLS on whole curves", `value="soft-bite-noodle" selected`}},
	{"/models/1", 404, []string{"Model 1 is not in the lab book"}},
	{"/forecast", 200, []string{`action="/forecast/book"`, "hardness, soft-bite noodle", `href="/forecast?high=`}},
	{"/window", 200, []string{"Invented Noodles, soft-bite noodle (udon style): hardness", "Specifications in the lab book", "Operating window of peak viscosity"}},
	{"/follow", 200, []string{"may the model still be trusted", "Follow-up of hardness"}},
	{"/specs", 200, []string{"Invented Noodles", "hardness at most 3.9 N", `action="/specs"`, "hardness, N"}},
	{"/suit", 200, []string{"Make the sheets", "Invented Noodles", "soft-bite noodle"}},
	{suitOne, 200, []string{"not for the customer", "What to expect", "Before you send: read what is said", "/suit/sheet.pdf?", "<svg"}},
	{"/suit?lots=N26-001,N26-002&product=all", 200, []string{"The sheet of N26-001", "The sheet of N26-002"}},
	{"/suit?lots=N26-001&product=soft-bite-noodle&column1=soft-bite-noodle:hardness_N&low1=3,0&high1=3.6&references=N25-001,N25-005,N25-009&production=yes", 200, []string{"between 3.00 and 3.60 N", "3 lots to compare with", "lots that ran well in production", `value="3,0"`}},
	{"/suit?lots=N26-001&product=all&wproduct1=sponge-cake&wcolumn1=peak_mPas&whigh1=2400", 200, []string{"sponge cake", "peak viscosity at 2400 mPa·s or below", "a test figure lies outside"}},
	{"/suit?lots=N26-001&product=soft-bite-noodle&wproduct1=sponge-cake&wlow1=9", 422, []string{"Windows: found line 1", "<details open"}},
	{"/suit?lots=N26-001&product=soft-bite-noodle&column2=soft-bite-noodle:hardness_N&low2=soft", 422, []string{"Limits instead of the customer&#39;s: found line 2"}},
	{"/suit?lots=N26-001&product=soft-bite-noodle&references=nobody", 422, []string{"Lots to compare with: found lot nobody"}},
	{"/suit?lots=N26-001&product=soft-bite-noodle&words=gone", 422, []string{"Wording of the sheets: found a catalogue that is not here"}},
	{"/suit?lots=N26-001", 422, []string{"Product that the flour is for: found no product"}},
	{"/suit?lots=nobody&product=soft-bite-noodle", 422, []string{"found lot nobody", "Make the sheets"}},
	{"/suit?lots=N26-001&product=no-such", 422, []string{"no model for no-such"}},
	{"/suit/sheet.pdf", 422, []string{"found no lot"}},
	{"/suit/sheet.html?lots=N26-001&product=soft-bite-noodle&paper=wall", 422, []string{"A4 or letter"}},
	{"/blend", 200, []string{`enctype="multipart/form-data"`, "stock.csv", "peak viscosity, mPa", `name="token"`, "<details open"}},
	{blendOne, 200, []string{"Recipe", "Every ratio of", "S26-002", "/trade/ratio.js"}},
	{"/blend?asked=yes", 422, []string{"Limits of the blend: found no limits", "<details open"}},
	{"/blend?asked=yes&given=nothing", 422, []string{"send them again"}},
	{"/trade/ratio.js", 200, []string{"slider"}},
	{"/trade/trade.css", 200, []string{".question"}},
	{"/trade/%2E%2E%2Ftradepages.go", 404, nil},
	{"/jobs", 200, []string{"Nothing was asked for yet"}},
	{"/jobs/none", 404, []string{"Work none"}},
	{"/nowhere", 404, nil},
	{"/static/bench.css", 200, []string{"prefers-color-scheme: dark", ".chart [fill="}},
	{"/static/uplot.js", 200, []string{"uPlot"}},
	{"/static/uplot-LICENSE.txt", 200, []string{"MIT"}},
	{"/static/../../web.go", 404, nil},
}

const suitOne = "/suit?lots=N26-001&product=soft-bite-noodle&customer=Invented+Noodles&destination=Japan&against=N25-001"

// blendOne is a blend of the invented mill's stock.
const blendOne = "/blend?asked=yes&column1=peak_mPas&low1=2500&high1=2700&column2=protein_pct&low2=9.0"

// deep are pages of a model of the demo; ROW is its row.
var deep = []struct {
	path string
	code int
	want string
}{
	{"/models/ROW", 200, "What was checked"},
	{"/models/ROW", 200, "Directions"},
	{"/forecast?model=ROW&low=3", 200, `value="3"`},
	{"/window?model=ROW", 200, "Specification of hardness"},
	{"/window?model=ROW&high=3.9", 200, "peak viscosity"},
	{"/window?model=ROW&low=5&high=3", 422, "What was wrong"},
	{"/window?model=ROW&high=x", 422, "Specification: found &#34;&#34; to &#34;x&#34;"},
	{"/follow?model=ROW", 200, "Follow-up of hardness"},
}

var modelRow = regexp.MustCompile(`href="/models/(\d+)">\d+</a></th><td class="left"><a href="/models/\d+">soft-bite noodle \(udon style\)</a></td><td class="left token"><a href="/models/\d+">hardness</a><`)

func (b browser) model() string {
	b.t.Helper()
	_, body, _ := b.get("/models")
	m := modelRow.FindStringSubmatch(body)
	if m == nil {
		b.t.Fatal("no model of hardness on /models")
	}
	return m[1]
}

func check(t *testing.T, b browser, path string, code int, want ...string) {
	t.Helper()
	got, body, head := b.get(path)
	if got != code {
		t.Errorf("%s: status %d, expected %d", path, got, code)
	}
	for _, w := range want {
		if !strings.Contains(body, w) {
			t.Errorf("%s: %q is not on the page", path, w)
		}
	}
	if !strings.HasPrefix(head.Get("Content-Security-Policy"), "default-src 'self';") {
		t.Errorf("%s: no policy", path)
	}
	if !strings.HasPrefix(head.Get("Content-Type"), "text/html") {
		return
	}
	if m := regexp.MustCompile(`(?i)<[^>]+\s(style|on\w+)=|<style|<script(?:>|[^>]*>[^<])|https?://`).FindString(body); m != "" {
		t.Errorf("%s: %q would break the policy, or leaves the page", path, m)
	}
}

func TestURLs(t *testing.T) {
	b, _ := demoBench(t)
	row := b.model()
	for _, u := range urls {
		for range 2 {
			t.Run(u.path, func(t *testing.T) {
				t.Parallel()
				check(t, b, u.path, u.code, u.want...)
			})
		}
	}
	for _, u := range deep {
		t.Run(u.path, func(t *testing.T) {
			t.Parallel()
			check(t, b, strings.ReplaceAll(u.path, "ROW", row), u.code, u.want)
		})
	}
}
