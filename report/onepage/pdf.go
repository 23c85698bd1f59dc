package onepage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"time"

	"flourcast/report/document"
)

// How a PDF was printed.
const (
	ByChromium = "chromium"
	ByItself   = "built in"
)

// PDF is the documents as a PDF, a page each, and how it was printed. Where Chromium
// is found but does not print, the built-in printer does, unless Chromium was asked for
// by its path. Errors: those of HTML, *CharacterError.
func PDF(ctx context.Context, docs []document.Document, o Options) (data []byte, by string, err error) {
	if err := check(docs); err != nil {
		return nil, "", err
	}
	if path := browser(o.Browser); path != "" {
		data, err := printed(ctx, path, docs, o)
		var long *TooLongError
		if err == nil || o.Browser != "" || errors.As(err, &long) || ctx.Err() != nil {
			return data, ByChromium, err
		}
	}
	data, err = itself(docs, o)
	return data, ByItself, err
}

// browser is the path of a Chromium, "" for none.
func browser(asked string) string {
	if asked == "none" {
		return ""
	}
	for _, name := range []string{"chromium", "chromium-browser", "chrome-headless-shell"} {
		if asked != "" {
			name = asked
		}
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return asked // one that is not there fails by its name
}

// itself prints without a browser.
func itself(docs []document.Document, o Options) ([]byte, error) {
	if err := unknown(docs); err != nil {
		return nil, err
	}
	l := newLayout(o.Paper)
	l.pdf.SetTitle(docs[0].Title, true)
	l.pdf.SetCreator(o.Program, true)
	l.pdf.SetProducer(o.Program, true)
	l.pdf.SetLang(o.Language)
	l.pdf.SetCreationDate(o.Made.UTC())
	l.pdf.SetModificationDate(o.Made.UTC())
	for _, d := range docs {
		size, err := Size(d, o.Paper)
		if err != nil {
			return nil, err
		}
		l.document(d, size)
	}
	var b bytes.Buffer
	if err := l.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("onepage: writing the PDF: %w", err)
	}
	return b.Bytes(), l.err
}

// patience is how long a browser may take to print.
const patience = time.Minute

// printed prints the HTML by Chromium, at the largest type at which no document needs a
// second page.
func printed(ctx context.Context, path string, docs []document.Document, o Options) ([]byte, error) {
	dir, err := os.MkdirTemp("", "flourcast-print-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir) // the browser's own files; what is left harms nobody
	chosen := make([]float64, len(docs))
	for i, d := range docs {
		if chosen[i], err = Size(d, o.Paper); err != nil {
			return nil, err
		}
	}
	for {
		source, err := render(docs, chosen, o)
		if err != nil {
			return nil, err
		}
		data, err := run(ctx, path, dir, source)
		if err != nil {
			return nil, err
		}
		if pages(data) <= len(docs) {
			return dated(data, o.Made), nil
		}
		smaller := false
		for i := range chosen {
			if chosen[i] > sizes[len(sizes)-1] {
				chosen[i], smaller = chosen[i]-0.5, true
			}
		}
		if !smaller {
			return nil, &TooLongError{docs[0].Title, o.Paper.Name}
		}
	}
}

// run has one page printed. Chromium as root wants no sandbox; what it reads is the
// file that was just written, without a script and without any address.
func run(ctx context.Context, path, dir string, source []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	in, out := filepath.Join(dir, "sheet.html"), filepath.Join(dir, "sheet.pdf")
	if err := os.WriteFile(in, source, 0o600); err != nil {
		return nil, err
	}
	args := []string{"--headless", "--disable-gpu", "--disable-quic", "--disable-background-networking", "--disable-component-update", "--no-first-run", "--user-data-dir=" + filepath.Join(dir, "profile"),
		"--no-pdf-header-footer", "--print-to-pdf=" + out, "file://" + filepath.ToSlash(in)}
	if os.Geteuid() == 0 {
		args = append([]string{"--no-sandbox"}, args...)
	}
	if said, err := exec.CommandContext(ctx, path, args...).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%s: %w: %.300s", path, err, said)
	}
	return os.ReadFile(out)
}

var (
	pageObject = regexp.MustCompile(`/Type\s*/Page[^s]`)
	dateEntry  = regexp.MustCompile(`(/(?:CreationDate|ModDate) \(D:)(\d{14}[^)]*)\)`)
)

// pages counts the pages of a PDF whose page objects are not packed, as Chromium's are.
func pages(data []byte) int { return len(pageObject.FindAll(data, -1)) }

// dated puts the date in the place of the browser's, in as many bytes, so that every
// address in the file stays right.
func dated(data []byte, made time.Time) []byte {
	return dateEntry.ReplaceAllFunc(data, func(m []byte) []byte {
		parts := dateEntry.FindSubmatch(m)
		date := []byte(made.UTC().Format("20060102150405") + "+00'00'")
		if len(date) != len(parts[2]) {
			return m
		}
		return append(append(append([]byte{}, parts[1]...), date...), ')')
	})
}
