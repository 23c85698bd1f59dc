package trait

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite docs/glossary.md; the run still fails where it changed")

const glossaryPage = "../../docs/glossary.md"

// TestGlossaryPage: docs/glossary.md says what the glossary says.
func TestGlossaryPage(t *testing.T) {
	want := page()
	have, err := os.ReadFile(glossaryPage)
	if err == nil && string(have) == want {
		return
	}
	if *update {
		if err := os.WriteFile(glossaryPage, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Errorf("%s is not what the glossary says (%v); run go test ./dataset/trait -update and look at the difference", glossaryPage, err)
}

// page is the glossary in Markdown: products, solvents, then every column.
func page() string {
	var b strings.Builder
	b.WriteString(`# Glossary

One word for one thing: every column that flourcast knows, its unit, what it means and where the definition comes from. Written from
` + "`dataset/trait/glossary.csv`" + ` by ` + "`go test ./dataset/trait -update`" + `; docs/files.md says how files may call them. *From memory* means that the source was not
seen again when the line was written.

## Products

A rule for a class holds for its members. A laboratory's own product needs no entry.

| product | name | class |
| --- | --- | --- |
`)
	for _, p := range products {
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", p.ID, p.Label, code(p.Parent))
	}
	b.WriteString(`
## Solvents

` + "`water`; `inhibitor`" + `, a solution that stops alpha-amylase, such as silver nitrate (toxic, an oxidiser, stains; its waste is collected: follow the safety
data sheet and local rules); ` + "`sucrose`" + `. The strength belongs to the method: results of two strengths are not pooled.
`)
	for _, s := range []struct{ title, say, family string }{
		{"Keys", "They say which row is meant.", "key"},
		{"The lot", "Facts about a lot, and the flour's composition; a model may use composition.", "lot"},
		{"The run", "Facts about one test.", "run"},
		{"The curve", "Columns of a record.", "curve"},
		{"Pasting features", "Along the curve, onset first. These predict.", "pasting"},
		{"More of the curve", "Features that a model uses when they are named.", "pasting detail"},
		{"Texture", "Responses, and facts about the test.", "texture"},
		{"Bakes", "Responses, and facts about the bake.", "bake"},
		{"Production", "How a lot ran.", "production"},
	} {
		fmt.Fprintf(&b, "\n## %s\n\n%s\n\n| column | name | unit | used as | what it is | source |\n| --- | --- | --- | --- | --- | --- |\n", s.title, s.say)
		for _, t := range All() {
			if t.Family == s.family {
				fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", t.ID, cell(t.Label), cell(t.Unit), use(t), cell(t.Definition), cell(t.Source))
			}
		}
	}
	return b.String()
}

func use(t Trait) string {
	if t.Kind == "preference" {
		return "response (preference score)"
	}
	return string(t.Role)
}

func code(id string) string {
	if id == "" {
		return ""
	}
	return "`" + id + "`"
}

func cell(s string) string { return strings.ReplaceAll(s, "|", "\\|") }

// Every column stands on the page, once.
func TestPageIsWhole(t *testing.T) {
	text := page()
	for _, tr := range All() {
		if n := strings.Count(text, "\n| `"+tr.ID+"` |"); n != 1 {
			t.Errorf("%s stands %d times on the page; is its family %q among the sections?", tr.ID, n, tr.Family)
		}
	}
}
