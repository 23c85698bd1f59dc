package method

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"flourcast/dataset/trait"
)

func document(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "docs", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestEveryKeyIsDocumented: docs/methods.md has a row for each key, its example
// parses, and it names every built-in method.
func TestEveryKeyIsDocumented(t *testing.T) {
	text := document(t, "methods.md")
	var rows strings.Builder // first cells of the tables
	for line := range strings.Lines(text) {
		if cells := strings.Split(line, "|"); len(cells) > 2 {
			rows.WriteString(cells[1])
		}
	}
	fields := reflect.TypeFor[file]()
	if fields.NumField() < 25 {
		t.Fatalf("%d keys", fields.NumField())
	}
	for i := range fields.NumField() {
		if key := fields.Field(i).Tag.Get("toml"); !strings.Contains(rows.String(), "`"+key+"`") {
			t.Errorf("docs/methods.md has no row for the key %s", key)
		}
	}
	for _, id := range order {
		if !strings.Contains(rows.String(), "`"+id+"`") {
			t.Errorf("docs/methods.md has no row for the method %s", id)
		}
	}
	_, example, found := strings.Cut(text, "```toml\n")
	example, _, _ = strings.Cut(example, "```")
	m, err := Parse("docs/methods.md", []byte(example))
	if !found || err != nil || m.Solvent != trait.Sucrose || m.Strength.Unit != PctByMass || m.Example {
		t.Errorf("the example of docs/methods.md: %+v, %v", m, err)
	}
}

// TestEveryCautionIsDocumented: what `weigh` prints stands word for word in
// docs/safety.md.
func TestEveryCautionIsDocumented(t *testing.T) {
	text := document(t, "safety.md")
	n := 0
	for _, m := range Builtin() {
		for _, c := range m.Cautions() {
			n++
			if c.Topic != "This method" && !strings.Contains(text, "- **"+c.Topic+".** "+c.Text+"\n") {
				t.Errorf("docs/safety.md lacks, word for word: %s: %s", c.Topic, c.Text)
			}
		}
	}
	if n < 30 {
		t.Errorf("%d cautions", n)
	}
	for _, word := range []string{"afety data sheet", "ocal rules", "ualified people"} {
		if !strings.Contains(text, word) {
			t.Errorf("docs/safety.md does not defer to %q", word)
		}
	}
}
