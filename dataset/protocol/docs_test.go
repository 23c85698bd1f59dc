package protocol

import (
	"os"
	"strings"
	"testing"
)

// TestDocumentedProtocol: the protocol that docs/texture.md shows is one, and shows
// every key.
func TestDocumentedProtocol(t *testing.T) {
	data, err := os.ReadFile("../../docs/texture.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(data), "```toml\n")
	text, _, closed := strings.Cut(rest, "```")
	if !ok || !closed {
		t.Fatal("docs/texture.md shows no protocol")
	}
	p, err := Parse("docs/texture.md", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range p.Rules() {
		if r.Value == "" && r.Name != "cook_time_s" { // the cook rule shown has no time
			t.Errorf("docs/texture.md does not show %s", r.Name)
		}
	}
	if p.TargetThicknessMM == nil || p.ThicknessToleranceMM == nil || p.TargetYieldPct == nil {
		t.Error("docs/texture.md does not show every target")
	}
	for _, b := range Builtin() {
		if !strings.Contains(string(data), "`"+b.ID+"`") {
			t.Errorf("docs/texture.md does not name %s", b.ID)
		}
	}
}
