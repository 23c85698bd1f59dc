package suitability

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"flourcast/dataset/treatment"
	"flourcast/report/phrase"
	"flourcast/report/wording"
)

// The worked example of DEVELOPERS.md, as it stands there.
func TestTheWorkedExampleOfALanguage(t *testing.T) {
	data, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(data), "\n## A sentence, a language\n")
	_, rest, _ = strings.Cut(rest, "```toml\n")
	block, rest, found := strings.Cut(rest, "```")
	if !found {
		t.Fatal("no toml block under \"A sentence, a language\" in DEVELOPERS.md")
	}
	words, err := wording.Parse("de.toml", []byte(block), phrase.Names())
	if err != nil {
		t.Fatal(err)
	}
	r := full()
	r.Made = r.Made.AddDate(0, 9, 24) // 2026-10-26
	said := ""
	for _, d := range Sheets(r, words) {
		for _, m := range d.Meta {
			said += m.Name + ": " + m.Value + "\n"
		}
		said += text(d)
	}
	var promised []string
	for _, m := range regexp.MustCompile(`"([^"]+)"`).FindAllStringSubmatch(rest[:strings.Index(rest, "and the rest in English")], -1) {
		promised = append(promised, m[1])
	}
	if len(promised) != 2 {
		t.Fatalf("DEVELOPERS.md promises %q, expected two sentences", promised)
	}
	for _, want := range append(promised, "What to expect") {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not on the sheets", want)
		}
	}
	if strings.Contains(said, "date:") || strings.Contains(said, "between 2.60 and 3.40") {
		t.Error("what is translated is said in English too")
	}
}

// With a catalogue that has no words at all, a sheet has none but values: names of lots,
// codes, sources, units, a country.
func TestEverySentenceComesFromTheCatalogue(t *testing.T) {
	data, err := os.ReadFile("../wording/en.toml")
	if err != nil {
		t.Fatal(err)
	}
	place := regexp.MustCompile(`\{[a-z_]+\}`)
	bare := "language = \"de\"\n[sentences]\n"
	keys := regexp.MustCompile(`(?m)^"([^"]+)" = "(.*)"$`).FindAllStringSubmatch(string(data), -1)
	if len(keys) < 100 {
		t.Fatalf("%d sentences in en.toml", len(keys))
	}
	for _, m := range keys {
		bare += "\"" + m[1] + "\" = \"§ " + strings.Join(place.FindAllString(m[2], -1), " ") + "\"\n"
	}
	for key := range phrase.Names() {
		bare += "\"" + key + "\" = \"§\"\n"
	}
	words, err := wording.Parse("bare.toml", []byte(bare), phrase.Names())
	if err != nil {
		t.Fatal(err)
	}
	values := strings.NewReplacer("Somebody 1999", "", "flourcast", "", "C & Co", "", "mPa·s", "", "Atlantis", "", "RAAAAAA", "", "RBBBBBB", "", "min", "")
	for _, destination := range []string{"", "Atlantis"} {
		for _, kind := range []treatment.Kind{treatment.Chlorinated, treatment.Bromated, treatment.Other} {
			for _, permission := range []treatment.Permission{treatment.Unknown, treatment.NotPermitted} {
				r := full()
				r.Destination = destination
				for i := range r.Sheets {
					r.Sheets[i].Treatment, r.Sheets[i].Permission = string(kind), string(permission)
				}
				for _, d := range Sheets(r, words) {
					if found := regexp.MustCompile(`[A-Za-z]{3,}[^\n]*`).FindString(values.Replace(text(d))); found != "" {
						t.Errorf("%s to %q: %q does not come from the catalogue", kind, destination, found)
					}
				}
			}
		}
	}
}

// Whatever is said, every sheet says that wheat flour is an allergen and not ready to eat.
func TestEverySheetNamesTheAllergen(t *testing.T) {
	for _, d := range Sheets(full(), wording.English()) {
		if !strings.Contains(text(d), wording.English().Say("caution.allergen")) {
			t.Errorf("%s: no word of the allergen", d.Title)
		}
	}
}
