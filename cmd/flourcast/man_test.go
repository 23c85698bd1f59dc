package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"

	"github.com/spf13/cobra"
)

// TestManPages: a page for each command, with the words of --help, the same bytes
// at the same clock.
func TestManPages(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1767225600")
	first, second := filepath.Join(t.TempDir(), "man", "man1"), t.TempDir()
	for _, dir := range []string{first, second} {
		if _, stderr, code := call(t, "man", dir); code != shell.ExitDone {
			t.Fatalf("man: exit code %d: %s", code, stderr)
		}
	}
	pages := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		if c.IsAdditionalHelpTopicCommand() {
			return
		}
		name := strings.ReplaceAll(c.CommandPath(), " ", "-") + ".1"
		page, err := os.ReadFile(filepath.Join(first, name))
		if err != nil {
			t.Errorf("%s has no page: %v", c.CommandPath(), err)
			return
		}
		again, err := os.ReadFile(filepath.Join(second, name))
		if err != nil || string(again) != string(page) {
			t.Errorf("%s: written twice, two pages (%v)", name, err)
		}
		if !strings.Contains(string(page), c.Short) {
			t.Errorf("%s lacks %q", name, c.Short)
		}
		pages++
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(rootCommand(shell.New(os.Stdout, os.Stderr)))
	written, err := os.ReadDir(first)
	if err != nil {
		t.Fatal(err)
	}
	// The completion command and its shells have pages too; they come to be when the program runs.
	extra := 0
	for _, w := range written {
		if strings.HasPrefix(w.Name(), "flourcast-completion") {
			extra++
		}
	}
	if extra != 5 || pages+extra != len(written) {
		t.Errorf("%d pages of commands and %d of completion, expected 5; %d files written", pages, extra, len(written))
	}
}

func TestManRefusesAFileInItsPlace(t *testing.T) {
	path := filepath.Join(t.TempDir(), "man")
	if err := os.WriteFile(path, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, stderr, code := call(t, "man", path); code != shell.ExitFailed || !strings.Contains(stderr, path) {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
}

func TestCompletionKnowsTheCommands(t *testing.T) {
	for _, sh := range []string{"bash", "zsh", "fish", "powershell"} {
		if out, stderr, code := call(t, "completion", sh); code != shell.ExitDone || !strings.Contains(out, "flourcast") {
			t.Errorf("completion %s: exit code %d: %s", sh, code, stderr)
		}
	}
	out, _, _ := call(t, "__complete", "fo")
	if !strings.Contains(out, "follow\t") || !strings.Contains(out, "forecast\t") {
		t.Errorf("completion of fo: %q", out)
	}
}
