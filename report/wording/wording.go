// Package wording is the one place of result sentences: a catalogue of texts by key,
// with named places for what changes.
//
//  1. A catalogue is a TOML file, one for each language: [sentences] with key = text,
//     and {name} in a text where a value goes. en.toml is built in.
//  2. Say fills a text. Count chooses the form of a text by a number, by the rules of
//     the language.
//  3. A key that a language lacks is said in English, and Missing names it: a sentence
//     in two languages is better than a sentence left out.
//
// It refuses a catalogue with a key that English lacks, with an empty text, with a place
// that English does not fill, and without one that English does: a figure that a
// sentence leaves out is missed by nobody. It knows no results and rounds nothing.
package wording

import (
	_ "embed"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"

	"flourcast/dataset/tomlfile"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

//go:embed en.toml
var english []byte

// Catalogue is the sentences of one language.
type Catalogue struct {
	tag       language.Tag
	code      string
	decimal   string
	sentences map[string]string
	fallback  *Catalogue // nil for English
}

// file is a catalogue as it is written. Decimal is the mark between whole and broken
// numbers, a point when it is not said.
type file struct {
	Language  string            `toml:"language"`
	Decimal   string            `toml:"decimal"`
	Sentences map[string]string `toml:"sentences"`
}

var builtIn = sync.OnceValue(func() *Catalogue {
	c, err := parse("en.toml", english)
	if err != nil {
		panic("wording: " + err.Error()) // a fault of this program, which a test finds
	}
	return c
})

// English is the built-in catalogue, which has every key.
func English() *Catalogue { return builtIn() }

// Error says what is wrong with a catalogue: file, line, key, and how to mend it.
type Error = tomlfile.Error

// Parse reads the catalogue of another language; name stands in errors, which are
// *Error. Names are keys that it may have beside those of English, with their English
// text, such as those of package phrase; nil: none.
func Parse(name string, data []byte, names map[string]string) (*Catalogue, error) {
	c, err := parse(name, data)
	if err != nil {
		return nil, err
	}
	en := English()
	refuse := func(key, found, want, cure string) error {
		return refused(name, data, sentence(key), found, want, cure)
	}
	for _, key := range slices.Sorted(maps.Keys(c.sentences)) {
		want, known := en.sentences[key]
		if !known {
			want, known = en.sentences[base(key)+".other"]
		}
		if !known {
			want, known = names[key]
		}
		if !known {
			return nil, refuse(key, "a key that English does not have", "one of its keys", "mend the spelling or leave the line out")
		}
		for _, place := range places(c.sentences[key]) {
			if !slices.Contains(places(want), place) {
				return nil, refuse(key, "{"+place+"}", "the places of the English text: "+want, "a place is filled by the program and keeps its name")
			}
		}
		for _, place := range places(want) {
			if !slices.Contains(places(c.sentences[key]), place) && !(place == "n" && isForm(key)) { // "one lot" needs no figure
				return nil, refuse(key, "no {"+place+"}", "the places of the English text: "+want, "put it where the value goes")
			}
		}
	}
	c.fallback = en
	return c, nil
}

func parse(name string, data []byte) (*Catalogue, error) {
	var f file
	if err := tomlfile.Decode(name, data, &f, "a catalogue: language, decimal, [sentences]", "language, decimal, [sentences]"); err != nil {
		return nil, err
	}
	tag, err := language.Parse(f.Language)
	if err != nil {
		return nil, refused(name, data, "language", fmt.Sprintf("%q", f.Language), "the code of a language, such as en or pt-BR", "")
	}
	switch f.Decimal {
	case "":
		f.Decimal = "."
	case ".", ",":
	default:
		return nil, refused(name, data, "decimal", fmt.Sprintf("%q", f.Decimal), "a point or a comma", "")
	}
	for _, key := range slices.Sorted(maps.Keys(f.Sentences)) {
		if strings.TrimSpace(f.Sentences[key]) == "" {
			return nil, refused(name, data, sentence(key), "an empty text", "a text", "leave the line out to have it in English")
		}
	}
	return &Catalogue{tag: tag, code: tag.String(), decimal: f.Decimal, sentences: f.Sentences}, nil
}

// sentence is the place of a sentence in the file.
func sentence(key string) string { return "sentences.\"" + key + "\"" }

// refused says what is wrong with a key, with its line.
func refused(name string, data []byte, key, found, want, cure string) error {
	c := tomlfile.Checker{File: name, Data: data}
	c.Fail(key, found, want, cure)
	return c.Err()
}

// Language is the code of the catalogue's language.
func (c *Catalogue) Language() string { return c.code }

// Missing are the keys that the catalogue leaves to English, in order. The forms of a
// counted text count as one key.
func (c *Catalogue) Missing() []string {
	var out []string
	for _, key := range slices.Sorted(maps.Keys(English().sentences)) {
		if _, ok := c.sentences[key]; ok {
			continue
		}
		if _, ok := c.sentences[base(key)+".other"]; ok && isForm(key) {
			continue
		}
		out = append(out, key)
	}
	return out
}

// Has reports whether there is a text for the key.
func (c *Catalogue) Has(key string) bool { _, ok := c.text(key); return ok }

// Name is the catalogue's own name of a thing, or the English one.
func (c *Catalogue) Name(key, english string) string {
	if text, ok := c.text(key); ok {
		return text
	}
	return english
}

// Say is the text of a key, with the values in its places: names and values by turns,
// such as Say("value.about", "value", "3.4 N"). A key that English lacks, and a place
// without a value, are faults of this program: Say panics.
func (c *Catalogue) Say(key string, namesAndValues ...string) string {
	text, ok := c.text(key)
	if !ok {
		panic("wording: no text for the key " + key)
	}
	return fill(key, text, namesAndValues)
}

// Count is Say with the form for n: key.one, key.few, …, key.other, as the language
// has them. {n} is filled with n.
func (c *Catalogue) Count(key string, n int, namesAndValues ...string) string {
	for at := c; at != nil; at = at.fallback {
		if _, ok := at.sentences[key+".other"]; !ok {
			continue
		}
		form := key + "." + forms[plural.Cardinal.MatchPlural(at.tag, n, 0, 0, 0, 0)]
		text, ok := at.sentences[form]
		if !ok {
			text = at.sentences[key+".other"]
		}
		return fill(key, text, append([]string{"n", fmt.Sprint(n)}, namesAndValues...))
	}
	panic("wording: no text for the key " + key + ".other")
}

// Number writes a figure that was rounded elsewhere with the decimal mark of the
// language.
func (c *Catalogue) Number(rounded string) string {
	return strings.Replace(rounded, ".", c.decimal, 1)
}

func (c *Catalogue) text(key string) (string, bool) {
	for at := c; at != nil; at = at.fallback {
		if text, ok := at.sentences[key]; ok {
			return text, true
		}
	}
	return "", false
}

var forms = map[plural.Form]string{plural.Other: "other", plural.Zero: "zero", plural.One: "one", plural.Two: "two", plural.Few: "few", plural.Many: "many"}

var (
	form  = regexp.MustCompile(`\.(other|zero|one|two|few|many)$`)
	place = regexp.MustCompile(`\{([a-z_]+)\}`)
)

func isForm(key string) bool { return form.MatchString(key) }
func base(key string) string { return form.ReplaceAllString(key, "") }
func places(text string) (out []string) {
	for _, m := range place.FindAllStringSubmatch(text, -1) {
		out = append(out, m[1])
	}
	return out
}

// fill puts values into the places of a text. A value is put in as it is: braces in
// it are no places.
func fill(key, text string, namesAndValues []string) string {
	values := map[string]string{}
	for i := 0; i+1 < len(namesAndValues); i += 2 {
		values[namesAndValues[i]] = namesAndValues[i+1]
	}
	return place.ReplaceAllStringFunc(text, func(m string) string {
		v, ok := values[m[1:len(m)-1]]
		if !ok {
			panic("wording: " + key + ": no value for " + m)
		}
		return v
	})
}
