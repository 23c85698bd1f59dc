package main

import (
	"bytes"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
)

var update = flag.Bool("update", false, "rewrite goldens and the manual's output; the run still fails where something changed")

// manuals are the texts whose `$ flourcast …` blocks are run. The blocks of one
// text run one after the other in one empty folder; a block ```csv NAME or ```text NAME
// is put there as a file first. A command may end with "< NAME".
func manuals(t *testing.T) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(moduleRoot, "docs", "*.md"))
	if err != nil {
		t.Fatal(err)
	}
	return append([]string{filepath.Join(moduleRoot, "README.md")}, found...)
}

// TestWholeManualIsTrue runs every command of the manual and compares what it prints
// with what the manual says. A line of only "…" stands for any lines. It runs the
// program as built for users, each text beside the others in a process of its own.
func TestWholeManualIsTrue(t *testing.T) {
	b := flourcast(t)
	var commands atomic.Int64
	t.Cleanup(func() {
		if n := commands.Load(); n < 5 && !t.Failed() {
			t.Errorf("%d commands in the manual, expected at least 5: did the blocks lose their form?", n)
		}
	})
	for _, path := range manuals(t) {
		abs, err := filepath.Abs(path)
		if err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(abs)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(text, []byte("\n$ flourcast ")) {
			continue
		}
		t.Run(filepath.Base(path), func(t *testing.T) {
			t.Parallel()
			rewritten, n := reader{b, t.TempDir()}.runManual(t, string(text))
			commands.Add(int64(n))
			if *update && rewritten != string(text) {
				if err := os.WriteFile(abs, []byte(rewritten), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

// reader runs the program as whoever reads the manual does, in one folder.
type reader struct {
	built
	folder string
}

// runManual runs the console blocks of a text and returns the text with the
// real output in place.
func (r reader) runManual(t *testing.T, text string) (string, int) {
	t.Helper()
	var out []string
	lines := strings.Split(text, "\n")
	n := 0
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		if name, ok := fileBlock(lines[i]); ok { // a file that the commands below read
			end := i + 1 + slices.Index(lines[i+1:], "```")
			if err := os.WriteFile(filepath.Join(r.folder, name), []byte(strings.Join(lines[i+1:end], "\n")+"\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if lines[i] != "```console" {
			continue
		}
		for i++; i < len(lines) && lines[i] != "```"; {
			command := lines[i]
			args, ok := strings.CutPrefix(command, "$ flourcast ")
			if !ok {
				t.Fatalf("line %d: a console block starts with %q, expected $ flourcast …", i+1, command)
			}
			var want []string
			for i++; i < len(lines) && lines[i] != "```" && !strings.HasPrefix(lines[i], "$ "); i++ {
				want = append(want, lines[i])
			}
			n++
			got, code := r.run(t, args)
			// A last line "exit code N" tells that the command ends with N.
			wantCode := 0
			if len(want) > 0 {
				if _, err := fmt.Sscanf(want[len(want)-1], "(exit code %d)", &wantCode); err == nil {
					want = want[:len(want)-1]
				}
			}
			if code != wantCode {
				t.Errorf("$ flourcast %s: exit code %d, the manual says %d", args, code, wantCode)
			}
			if !matches(got, want) {
				t.Errorf("$ flourcast %s\nprints:\n%s\nthe manual says:\n%s", args, strings.Join(got, "\n"), strings.Join(want, "\n"))
				want = shortened(got, want)
			}
			out = append(append(out, command), want...)
			if wantCode != 0 {
				out = append(out, fmt.Sprintf("(exit code %d)", wantCode))
			}
		}
		out = append(out, "```")
	}
	return strings.Join(out, "\n"), n
}

// fileBlock is the name of the file that a line opens a block of.
func fileBlock(line string) (name string, ok bool) {
	for _, kind := range []string{"```csv ", "```text "} {
		if name, ok = strings.CutPrefix(line, kind); ok {
			return name, true
		}
	}
	return "", false
}

// run is one command line of the program: what it prints, errors last, and its
// exit code. The mill is the same in every folder (TestWholeDemoIsTheSameBytes):
// `demo mill` was run once, and is copied.
func (r reader) run(t *testing.T, line string) (lines []string, code int) {
	t.Helper()
	if line == "demo mill" {
		if err := os.CopyFS(filepath.Join(r.folder, "mill"), os.DirFS(r.mill)); err != nil {
			t.Fatal(err)
		}
		return printed(r.said), 0
	}
	var stdout, stderr bytes.Buffer
	line, input, given := strings.Cut(line, " < ")
	cmd := exec.Command(r.program, r.words(t, line)...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = r.folder, &stdout, &stderr
	if given {
		data, err := os.ReadFile(filepath.Join(r.folder, input))
		if err != nil {
			t.Fatal(err)
		}
		cmd.Stdin = bytes.NewReader(data)
	}
	cmd.Env = append(os.Environ(), "SOURCE_DATE_EPOCH=1767225600")
	if err := cmd.Run(); err != nil && cmd.ProcessState == nil {
		t.Fatal(err)
	}
	return printed(stdout.String() + stderr.String()), cmd.ProcessState.ExitCode()
}

// printed are the lines of an output without the spaces that end them.
func printed(text string) (lines []string) {
	text = strings.TrimRight(text, "\n")
	if text == "" {
		return nil
	}
	for line := range strings.SplitSeq(text, "\n") {
		lines = append(lines, strings.TrimRight(line, " "))
	}
	return lines
}

// words splits a command line at spaces; single quotes keep words together and
// a * is expanded as a shell would.
func (r reader) words(t *testing.T, line string) []string {
	t.Helper()
	var out []string
	for i, part := range strings.Split(line, "'") {
		if i%2 == 1 {
			out = append(out, part)
			continue
		}
		for _, word := range strings.Fields(part) {
			if !strings.Contains(word, "*") {
				out = append(out, word)
				continue
			}
			files, err := fs.Glob(os.DirFS(r.folder), word)
			if err != nil || len(files) == 0 {
				t.Fatalf("%s matches no file (%v)", word, err)
			}
			out = append(out, files...)
		}
	}
	return out
}

// matches compares lines; a wanted line "…" takes any number of lines.
func matches(got, want []string) bool {
	if len(want) == 0 {
		return len(got) == 0
	}
	if strings.TrimSpace(want[0]) == "…" {
		for i := 0; i <= len(got); i++ {
			if matches(got[i:], want[1:]) {
				return true
			}
		}
		return false
	}
	return len(got) > 0 && got[0] == strings.TrimRight(want[0], " ") && matches(got[1:], want[1:])
}

// shortened is what a command prints, left out where the manual leaves lines out:
// between two lines that stayed as they were, a "…" keeps as many changed lines
// before and behind it as the manual has there.
func shortened(got, want []string) []string {
	dots := func(s string) bool { return strings.TrimSpace(s) == "…" }
	// longest[i][j] is how many lines of got[i:] and want[j:] stayed, in order.
	longest := make([][]int, len(got)+1)
	for i := range longest {
		longest[i] = make([]int, len(want)+1)
	}
	for i := len(got) - 1; i >= 0; i-- {
		for j := len(want) - 1; j >= 0; j-- {
			longest[i][j] = max(longest[i+1][j], longest[i][j+1])
			if got[i] == want[j] && !dots(want[j]) {
				longest[i][j] = longest[i+1][j+1] + 1
			}
		}
	}
	var out []string
	between := func(printed, said []string) {
		first := slices.IndexFunc(said, dots)
		if first < 0 {
			out = append(out, printed...)
			return
		}
		before := min(first, len(printed))
		behind := 0 // lines said behind the last dots
		for k := len(said) - 1; !dots(said[k]); k-- {
			behind++
		}
		behind = min(behind, len(printed)-before)
		out = append(append(append(out, printed[:before]...), "…"), printed[len(printed)-behind:]...)
	}
	fromGot, fromWant := 0, 0
	for i, j := 0, 0; i < len(got) && j < len(want); {
		switch {
		case got[i] == want[j] && !dots(want[j]) && longest[i][j] == longest[i+1][j+1]+1:
			between(got[fromGot:i], want[fromWant:j])
			out = append(out, got[i])
			i, j = i+1, j+1
			fromGot, fromWant = i, j
		case longest[i+1][j] >= longest[i][j+1]:
			i++
		default:
			j++
		}
	}
	between(got[fromGot:], want[fromWant:])
	return out
}

func TestManualStaysShort(t *testing.T) {
	for _, c := range []struct{ got, want, short string }{
		{"a b c d e", "a … e", "a … e"},       // as it was
		{"a B c d e", "a b … e", "a B … e"},   // a line changed before the dots
		{"a b c D e", "a … d e", "a … D e"},   // and behind
		{"a b c d E", "… d e", "… d E"},       // at the end
		{"a b x c d", "a b c …", "a b x c …"}, // a line more where none is left out
		{"x y z", "a … b", "x … z"},           // all changed
		{"a b c", "a b", "a b c"},             // no dots
		{"x", "a … b", "x …"},                 // nothing left to leave out
		{"a b c d e f", "… c … f", "… c … f"}, // two pairs of dots
		{"a b c b d", "a … b d", "a … b d"},   // a line that is there twice
		{"p q a b", "a … c … b", "p q a … b"}, // dots by dots
	} {
		got := strings.Fields(c.got)
		if short := strings.Join(shortened(got, strings.Fields(c.want)), " "); short != c.short {
			t.Errorf("%s by %s: %s, want %s", c.got, c.want, short, c.short)
		}
	}
}

func TestManualCheckSeesAFalseLine(t *testing.T) {
	cases := []struct {
		got, want string
		ok        bool
	}{
		{"a b c", "a b c", true}, {"a b c", "a … c", true}, {"a b c", "…", true}, {"a b c", "a …", true}, {"", "…", true},
		{"a b c", "a c", false}, {"a b", "a b c", false}, {"a b c", "… b", false}, {"a", "", false},
	}
	for _, c := range cases {
		if matches(strings.Fields(c.got), strings.Fields(c.want)) != c.ok {
			t.Errorf("%q against %q: want %v", c.got, c.want, c.ok)
		}
	}
}
