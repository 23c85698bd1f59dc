package wording

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestEnglishIsWhole(t *testing.T) {
	en := English()
	if en.Language() != "en" || len(en.sentences) < 50 || len(en.Missing()) != 0 {
		t.Errorf("%s with %d sentences, missing %v", en.Language(), len(en.sentences), en.Missing())
	}
}

// A language in part: what it has is said in it, the rest in English.
func TestAnotherLanguage(t *testing.T) {
	c, err := Parse("pl.toml", []byte(`
language = "pl"
decimal = ","
[sentences]
"sheet.date" = "data"
"limits.between" = "od {low} do {high}"
"trust.lots.one" = "{n} partii"
"trust.lots.few" = "{n} partie!"
"trust.lots.other" = "{n} partii"
"name.protein_pct" = "białko"
`), map[string]string{"name.protein_pct": "protein"})
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range map[int]string{1: "1 partii", 3: "3 partie!", 5: "5 partii", 22: "22 partie!"} { // CLDR's rules for Polish
		if got := c.Count("trust.lots", n); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
	if c.Say("sheet.date") != "data" || c.Say("sheet.customer") != English().Say("sheet.customer") {
		t.Errorf("%q, %q", c.Say("sheet.date"), c.Say("sheet.customer"))
	}
	if got := c.Say("limits.between", "low", c.Number("2.5"), "high", "{n}"); got != "od 2,5 do {n}" {
		t.Errorf("%q", got)
	}
	if got := c.Count("curve.references", 2); got != "2 lots that ran well" {
		t.Errorf("a counted text that is not there: %q", got)
	}
	missing := strings.Join(c.Missing(), " ")
	if strings.Contains(missing, "sheet.date") || strings.Contains(missing, "trust.lots") || !strings.Contains(missing, "sheet.customer") {
		t.Errorf("missing %s", missing)
	}
	if got := c.Name("name.protein_pct", "protein"); got != "białko" {
		t.Errorf("a name: %q", got)
	}
	if got := English().Name("name.protein_pct", "protein"); got != "protein" {
		t.Errorf("a name in English: %q", got)
	}
	if c.Has("no.such") || !c.Has("sheet.customer") {
		t.Error("Has")
	}
}

func TestRefusedCatalogues(t *testing.T) {
	for text, hint := range map[string]string{
		"language = \"de\"\n\n[sentences]\n\"sheet.date\" = \"Datum\"\n\"limits.from\" = \"ab\"": "x.toml, line 5, sentences.\"limits.from\": found no {low}",
		"language = \"de\"\n[sentences]\n\"sheet.dat\" = \"Datum\"":                              "x.toml, line 3, sentences.\"sheet.dat\": found a key that English does not have",
		"language = \"de\"\nlanguish = \"x\"":                                                    "x.toml, line 2, languish: found an unknown key",
		"language = \"de\"\n[sentences]\n\"trust.lots.one\" = \"ein {lot}\"":                     "{lot}",
		"language = \"en\"\n[sentences]\n\"no.such\" = \"x\"":                                    "a key that English does not have",
		"language = \"de\"\n[sentences]\n\"limits.from\" = \"ab {lot}\"":                         "{lot}",
		"language = \"de\"\n[sentences]\n\"sheet.date\" = \" \"":                                 "an empty text",
		"language = \"de\"\ndecimal = \"x\"":                                                     "a point or a comma",
		"language = \"..\"":                                                                      "the code of a language",
		"[sentences":                                                                             "a catalogue",
	} {
		var bad *Error
		if _, err := Parse("x.toml", []byte(text), nil); !errors.As(err, &bad) || !strings.Contains(err.Error(), hint) || !strings.Contains(err.Error(), "x.toml") {
			t.Errorf("%q: %v, want %q", text, err, hint)
		}
	}
}

func TestFaultsOfTheProgramPanic(t *testing.T) {
	for name, f := range map[string]func(){
		"no key":     func() { English().Say("no.such") },
		"no value":   func() { English().Say("limits.from") },
		"no counted": func() { English().Count("no.such", 2) },
	} {
		func() {
			defer func() {
				if r := recover(); r == nil || !strings.HasPrefix(r.(string), "wording: ") {
					t.Errorf("%s: %v", name, r)
				}
			}()
			f()
		}()
	}
}

// Values are put in as they are, whatever is in them.
func TestValuesAreNoPlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low, high := rapid.String().Draw(t, "low"), rapid.StringMatching(`\{?(low|high|n)?\}?`).Draw(t, "high")
		if got, want := English().Say("limits.between", "low", low, "high", high), "between "+low+" and "+high; got != want {
			t.Fatalf("%q, want %q", got, want)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte("language = \"de\"\n[sentences]\n\"sheet.date\" = \"Datum\""))
	f.Add([]byte("language = \"de\"\n[sentences]\n\"limits.from\" = \"{low\""))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse("f.toml", data, nil)
		if err == nil && c.Say("sheet.customer") == "" {
			t.Error("an empty text")
		}
	})
}
