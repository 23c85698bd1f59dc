package web

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"flourcast/work"
)

// clients read pages for stretch while models are fitted one after another.
const (
	clients = 8
	stretch = time.Minute
)

// TestLoad: no reader gets an error while models are cross-validated. It prints the
// latencies for docs/performance.md, and judges none of them.
func TestLoad(t *testing.T) {
	if os.Getenv("FLOURCAST_LONG") == "" {
		t.Skip("a minute of load: FLOURCAST_LONG=1")
	}
	b, _ := changing(t)
	row := b.model()
	pages := []string{"/", "/lots", "/lots/N25-001", "/lots/N25-001/curves?with=N25-002,N24-001", "/relate", "/models", "/models/ROW", "/window?model=ROW&high=3.9", "/follow?model=ROW", "/control"}
	fit := url.Values{"token": {b.token()}, "response": {"hardness_N"}, "product": {"soft-bite-noodle"}, "method": {"noodle-water"}, "kind": {"pls"}}
	end := time.Now().Add(stretch)
	var mu sync.Mutex
	took := map[string][]time.Duration{}
	var readers sync.WaitGroup
	for i := range clients {
		readers.Go(func() {
			r := work.Rand(1, fmt.Sprint("reader ", i))
			for time.Now().Before(end) {
				read := pages[r.IntN(len(pages))]
				start := time.Now()
				if code, _, err := fetch(b, strings.ReplaceAll(read, "ROW", row)); err != nil || code != http.StatusOK {
					t.Errorf("%s: found %d, %v", read, code, err)
				}
				mu.Lock()
				took[read] = append(took[read], time.Since(start))
				mu.Unlock()
				time.Sleep(time.Duration(50+r.IntN(100)) * time.Millisecond)
			}
		})
	}
	fits := 0
	for ; time.Now().Before(end); fits++ {
		r, err := b.PostForm(b.base+"/models/fit", fit)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if code, _ := b.outcome(r.Request.URL); code != http.StatusOK {
			t.Errorf("a fit: found %d", code)
		}
	}
	readers.Wait()
	fmt.Printf("%d fits meanwhile\n| page | read | median, ms | 95 %%, ms | longest, ms |\n| --- | ---: | ---: | ---: | ---: |\n", fits)
	for _, p := range pages {
		d := took[p]
		slices.Sort(d)
		if n := len(d); n > 0 {
			fmt.Printf("| `%s` | %d | %d | %d | %d |\n", p, n, d[n/2].Milliseconds(), d[n*95/100].Milliseconds(), d[n-1].Milliseconds())
		}
	}
}

// fetch reads a page to its end.
func fetch(b browser, path string) (int, string, error) {
	r, err := b.Get(b.base + path)
	if err != nil {
		return 0, "", err
	}
	code, body, _ := read(b.t, r)
	return code, body, nil
}
