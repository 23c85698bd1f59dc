package web

import (
	"path/filepath"
	"strings"
	"testing"
)

// BenchmarkFirst is what the first reader of today waits for after the server's start.
func BenchmarkFirst(b *testing.B) {
	dir, err := mill()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if code, _, _ := bench(b, filepath.Join(dir, "book")).get("/"); code != 200 {
			b.Fatalf("today: found %d", code)
		}
	}
}

// BenchmarkAgain is what a page costs whose figures are kept, for the book has not
// changed since it was read last.
func BenchmarkAgain(b *testing.B) {
	c, _ := demoBench(b)
	row := c.model()
	for _, page := range []string{"/", "/control", "/trail", "/lots", "/lots/N26-001", "/lots/N25-001/curves?with=N25-002", "/lots/N25-001/features", "/relate", "/models", "/models/ROW", "/window?model=ROW&high=3.9", "/follow?model=ROW", suitOne} {
		b.Run(page, func(b *testing.B) {
			path := strings.ReplaceAll(page, "ROW", row)
			c.get(path)
			for b.Loop() {
				if code, _, _ := c.get(path); code != 200 {
					b.Fatalf("found %d", code)
				}
			}
		})
	}
}
