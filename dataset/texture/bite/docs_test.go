package bite

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestDocumentedCodes: docs/texture.md has every code of a finding on a curve, and
// no other but those of package piece.
func TestDocumentedCodes(t *testing.T) {
	raised := []string{"rule-missed", "thickness-off-target", "cook-time-off"}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	call := regexp.MustCompile(`\.(?:add|refuse|doubt|note)\("([a-z-]+)"`)
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		for _, m := range call.FindAllSubmatch(text, -1) {
			raised = append(raised, string(m[1]))
		}
	}
	if len(raised) < 20 {
		t.Fatalf("only %d codes found", len(raised))
	}
	data, err := os.ReadFile("../../../docs/texture.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(data), "## Doubts about a piece")
	section, _, _ = strings.Cut(section, "\n## ")
	var told []string
	for _, line := range strings.Split(section, "\n") {
		cells := strings.Split(line, "|")
		if len(cells) < 3 {
			continue
		}
		for _, m := range regexp.MustCompile("`([a-z-]+)`").FindAllStringSubmatch(cells[1], -1) {
			told = append(told, m[1])
		}
	}
	for _, c := range raised {
		if !slices.Contains(told, c) {
			t.Errorf("docs/texture.md does not have %s", c)
		}
	}
	for _, c := range told {
		if !slices.Contains(raised, c) {
			t.Errorf("docs/texture.md has %s, which nothing raises", c)
		}
	}
}
