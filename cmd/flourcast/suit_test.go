package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/labbook"
	"flourcast/study/book"
	"flourcast/study/suitability"
)

// salesBook is a lab book made from the invented mill's files, small enough for many
// calls: the lots with noodles by their figures, the season's lots by their curves; with
// what a sheet must not tell or must warn of: chlorinated lots, notes of production, two
// customers' limits.
func salesBook(t *testing.T) (dir string) {
	t.Helper()
	t.Setenv("SOURCE_DATE_EPOCH", "1793000000") // 2026-10-26
	files := t.TempDir()
	mill, dir := filepath.Join(files, "mill"), filepath.Join(files, "book")
	do := func(args ...string) {
		t.Helper()
		if _, errs, code := call(t, args...); code != shell.ExitDone {
			t.Fatalf("%v: %s", args, errs)
		}
	}
	do("demo", mill)
	raw := func(name string) string { return filepath.Join(mill, "raw", filepath.FromSlash(name)) }
	more := put(t, files, "lots-more.csv", "lot,product,crop_year,supplier,treatment,price,currency,remarks,protein_pct,protein_basis\n"+
		"X1,soft-bite-noodle,2025,Secret Supplier,chlorinated pH 4.7,512.75,guilders,secret remark,9.1,14 %\nX2,soft-bite-noodle,2025,Secret Supplier,,511.25,guilders,secret remark,9.1,14 %\n")
	notes := put(t, files, "production.csv", "lot,product,ran,trouble\nN26-105,soft-bite-noodle,well,\nN26-109,soft-bite-noodle,well,\nN26-113,soft-bite-noodle,well,\nN26-117,soft-bite-noodle,no,sheets tore badly\n")
	values := "lot,method,replicate,pasting_temp_C,peak_mPas,breakdown_mPas,setback_trough_mPas,peak_time_s\n" +
		"X1,noodle-water,1,66.9,2700,650,2050,330\nX2,noodle-water,1,66.9,9700,7650,2050,330\n" + figures(t, filepath.Join(mill, "table.csv"))
	do("init", dir)
	do("add", raw("lots.csv"), more, raw("season/lots.csv"), "--book", dir, "--operator", "Zed Operator")
	do("add", put(t, files, "values.csv", values), raw("season/curves.csv"), raw("texture-2023.csv"), raw("texture-2024.csv"), raw("texture-2025.csv"), notes, "--book", dir, "--operator", "Zed Operator")
	for _, response := range []string{"hardness_N", "springiness"} {
		do("fit", "--book", dir, "--response", response, "--kind", "pls", "--product", "soft-bite-noodle", "--features", "pasting_temp_C,peak_mPas,breakdown_mPas,setback_trough_mPas,protein_pct", "--repeats", "2", "--permutations", "99", "-o", filepath.Join(files, response+".json"))
	}
	for customer, limits := range map[string]string{"Noodle house": "2.6..3.4", "Rival house": "2.25..5.55"} {
		do("spec", "add", "--book", dir, "--customer", customer, "--product", "soft-bite-noodle", "--limits", "hardness_N="+limits, "--revision", "1", "--valid-from", "2026-01-01")
	}
	return dir
}

// figures are the pasting figures of the lots of a joined table that have a hardness.
func figures(t *testing.T, path string) string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int { return slices.Index(rows[0], name) }
	var out strings.Builder
	for _, row := range rows[1:] {
		if row[column("hardness_N")] == "" {
			continue
		}
		cells := []string{row[0], "noodle-water", "1"}
		for _, id := range []string{"pasting_temp_C", "peak_mPas", "breakdown_mPas", "setback_trough_mPas", "peak_time_s"} {
			cells = append(cells, row[column(id+"@noodle-water")])
		}
		if cells[4] != "" {
			out.WriteString(strings.Join(cells, ",") + "\n")
		}
	}
	return out.String()
}

// secrets are the strings of a lab book that no customer may read: every lot but those
// of the sheet, suppliers, prices, remarks, people, instruments, files, the numbers of a
// model, other customers and what they ask for.
func secrets(t *testing.T, dir string) (out []string) {
	t.Helper()
	b, err := book.Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	add := func(s string) {
		if s = strings.TrimSpace(s); (len(s) > 3 || s == "X1" || s == "X2") && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	err = b.Store.Read(context.Background(), func(v *labbook.View) error {
		for r, err := range v.Rows(labbook.Filter{}) {
			if err != nil {
				return err
			}
			add(r.Lot)
			add(r.Operator)
			add(r.SHA256)
			switch r.Kind {
			case labbook.Lot, labbook.Test, labbook.Note:
				u, err := book.Unit(r)
				if err != nil {
					return err
				}
				for k, column := range u.Columns {
					switch column {
					case "supplier", "price", "currency", "remarks", "operator", "instrument", "run", "sample", "parent_lot", "wheat_class", "trouble":
						for _, cells := range u.Cells {
							add(cells[k])
						}
					}
				}
			case labbook.Original:
				s, err := book.ReadSettings(r)
				if err != nil {
					return err
				}
				add(filepath.Base(s.File))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	models, err := b.Models(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range models {
		for _, v := range m.Card.Coefficients {
			add(fmt.Sprintf("%.4g", v))
			add(fmt.Sprint(v))
		}
		add(fmt.Sprintf("%.5g", m.Card.Intercept))
		add(m.Card.SHA256)
		add(m.Card.Source.File)
		add(m.Card.Kind)
		add(m.Card.Method)
	}
	return append(out, "Rival house", "2.25", "5.55")
}

// leaks are the secrets that a text tells, but for those that it was made to tell. Whole
// prices of three digits are not looked for: any figure may be one.
func leaks(text string, secrets []string, told ...string) (out []string) {
	text = strings.ToLower(text)
	for _, s := range secrets {
		if strings.Contains(text, strings.ToLower(s)) && !slices.Contains(told, s) && regexp.MustCompile(`(^|[^\pL\pN.])`+regexp.QuoteMeta(strings.ToLower(s))+`($|[^\pL\pN.]|\.$|\.[^\pN])`).MatchString(text) {
			out = append(out, s)
		}
	}
	return out
}

// words are what a person reads of a page: no marks, no numbers of the drawing.
func wordsOf(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data = regexp.MustCompile(`(?s)<style>.*?</style>`).ReplaceAll(data, nil)
	text := regexp.MustCompile(`<[^>]*>`).ReplaceAll(data, []byte(" "))
	return strings.Join(strings.Fields(html.UnescapeString(string(text))), " ")
}

func TestWholeSuitTellsTheCustomerAndKeepsTheHousesSecrets(t *testing.T) {
	dir := salesBook(t)
	out := filepath.Join(t.TempDir(), "sheet.html")
	var res suitability.Result
	callJSON(t, &res, "suit", "N26-101", "--book", dir, "--for", "soft-bite-noodle", "--customer", "Noodle house", "--destination", "Japan", "--against", "N26-102", "-o", out, "--json")
	text := wordsOf(t, out)
	for _, want := range []string{"Lot N26-101 for soft-bite noodle", "no certificate of analysis and no guarantee", "Noodle house", "Japan", "Hardness (force of the first bite): about", "between 2.60 and 3.40 N", "Your present flour:",
		"3 lots that ran well", "hardness falls with it (established)", "Not checked", "Food safety", "Verdict: ", "2026-10-26", "gluten", "it releases nothing", "Springiness: no forecast of ours passed its checks", "your present flour this lot 3 lots that ran well"} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet lacks %q:\n%s", want, text)
		}
	}
	hidden := secrets(t, dir)
	if len(hidden) < 300 {
		t.Fatalf("%d secrets found in the book, expected hundreds", len(hidden))
	}
	if found := leaks(text, hidden, "N26-101", "N26-102", "invented"); len(found) > 0 {
		t.Errorf("the sheet tells %q:\n%s", found, text)
	}
	if found := leaks("price 512.75, from Secret Supplier. N25-005", hidden); len(found) != 3 {
		t.Errorf("the search finds %q, want three", found)
	}
	if len(res.Codes) != 3 || res.Sheets[0].ChosenBy != "production" {
		t.Errorf("codes %+v, references by %q", res.Codes, res.Sheets[0].ChosenBy)
	}
	for _, c := range res.Codes {
		if !strings.Contains(text, c.Code) {
			t.Errorf("code %s of %s is not on the sheet", c.Code, c.Lot)
		}
	}

	// The same lot, the same code and the same bytes the next time; another book, another code.
	again := filepath.Join(t.TempDir(), "again.html")
	var second suitability.Result
	callJSON(t, &second, "suit", "N26-101", "--book", dir, "--for", "soft-bite-noodle", "--customer", "Noodle house", "--destination", "Japan", "--against", "N26-102", "-o", again, "--json")
	a, _ := os.ReadFile(out)
	b, _ := os.ReadFile(again)
	if !bytes.Equal(a, b) || !slices.Equal(res.Codes, second.Codes) {
		t.Error("the same sheet is another one the second time")
	}

	t.Run("pdf", func(t *testing.T) {
		for _, paper := range []string{"a4", "letter"} {
			file := filepath.Join(t.TempDir(), paper+".pdf")
			if _, errs, code := call(t, "suit", "N26-101", "X1", "--book", dir, "--for", "soft-bite-noodle", "--against", "N26-102", "--paper", paper, "--browser", "none", "-o", file); code != shell.ExitDone {
				t.Fatalf("%s: %s", paper, errs)
			}
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(data, -1)); n != 2 {
				t.Errorf("%s: %d pages for two lots", paper, n)
			}
			if tool, err := exec.LookPath("pdftotext"); err == nil {
				said, err := exec.Command(tool, file, "-").Output()
				if err != nil {
					t.Fatal(err)
				}
				if found := leaks(string(said), hidden, "N26-101", "X1", "N26-102", "invented"); len(found) > 0 {
					t.Errorf("%s tells %q", paper, found)
				}
			}
		}
	})
	t.Run("warnings", func(t *testing.T) {
		for args, want := range map[string]string{
			"X1 --for soft-bite-noodle --destination DE":                                          "This flour may not be allowed in DE.",
			"X1 --for soft-bite-noodle --destination Atlantis":                                    "Ask whether this flour is allowed in Atlantis.",
			"X1 --for soft-bite-noodle":                                                           "We do not know where this flour goes",
			"N26-101 --for soft-bite-noodle":                                                      "Destination: not stated",
			"X2 --for soft-bite-noodle":                                                           "This flour is unlike those that we know.",
			"N26-101 --for soft-bite-noodle --model SPRINGINESS":                                  "Do not rely on the forecast below.",
			"N26-101 --for soft-bite-noodle --for sponge-cake --window sponge-cake:peak_mPas=..9": "no limits are known",
			"N26-101 --all --limits soft-bite-noodle:hardness_N=2.6..3.4":                         "Products, the best fit first",
			"N26-101 --all --window sponge-cake:peak_mPas=..9000":                                 "its test figures lie within what the product asks for",
			"N26-101 --for sponge-cake --window sponge-cake:peak_mPas=9..":                        "sponge cake",
		} {
			file := filepath.Join(t.TempDir(), "x.html")
			full := append(append([]string{"suit"}, strings.Fields(strings.Replace(args, "SPRINGINESS", filepath.Join(filepath.Dir(dir), "springiness.json"), 1))...), "--book", dir, "-o", file)
			if _, errs, code := call(t, full...); code != shell.ExitDone {
				t.Errorf("%s: code %d, %s", args, code, errs)
				continue
			}
			text := wordsOf(t, file)
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is missing:\n%s", args, want, text)
			}
			lot, _, _ := strings.Cut(args, " ")
			if found := leaks(text, hidden, lot, "invented"); len(found) > 0 {
				t.Errorf("%s: the sheet tells %q:\n%s", args, found, text)
			}
		}
	})
	t.Run("exit codes", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "x.html")
		words := put(t, t.TempDir(), "words.toml", "language = \"de\"\n[sentences]\n\"no.such\" = \"x\"")
		for _, c := range []struct {
			args string
			code int
			says string
		}{
			{"N26-101 --for soft-bite-noodle -o " + file, 2, "--book is missing"},
			{"N26-101 --for soft-bite-noodle --book " + dir, 2, "-o is missing"},
			{"N26-101 --book " + dir + " -o " + file, 2, "no product"},
			{"N26-101 --for soft-bite-noodle --book " + dir + " -o sheet.doc", 2, ".html or .pdf"},
			{"N26-101 --for soft-bite-noodle --paper a5 --book " + dir + " -o " + file, 2, "a4 or letter"},
			{"N26-101 --for soft-bite-noodle --limits hardness_N=3 --book " + dir + " -o " + file, 2, "--limits"},
			{"NOSUCH --for soft-bite-noodle --book " + dir + " -o " + file, 2, "lot NOSUCH"},
			{"N26-101 --for soft-bite-noodle --against NOSUCH --book " + dir + " -o " + file, 2, "lot NOSUCH"},
			{"N26-101 --for soft-bite-noodle --model 99999 --book " + dir + " -o " + file, 2, "model 99999"},
			{"N26-101 --for extruded --book " + dir + " -o " + file, 3, "no model for extruded"},
			{"N26-101 --for soft-bite-noodle --words " + words + " --book " + dir + " -o " + file, 1, "a key that English does not have"},
			{"X2 --for soft-bite-noodle --strict --book " + dir + " -o " + file, 4, "must not be relied on"},
		} {
			_, errs, code := call(t, append([]string{"suit"}, strings.Fields(c.args)...)...)
			if code != c.code || !strings.Contains(errs, c.says) {
				t.Errorf("%s: code %d, %s", c.args, code, errs)
			}
		}
	})
	t.Run("another language", func(t *testing.T) {
		words := put(t, t.TempDir(), "words.toml", "language = \"de\"\ndecimal = \",\"\n[sentences]\n\"unchecked.heading\" = \"Nicht geprüft\"")
		file := filepath.Join(t.TempDir(), "x.html")
		if _, errs, code := call(t, "suit", "N26-101", "--for", "soft-bite-noodle", "--book", dir, "--words", words, "-o", file); code != shell.ExitDone {
			t.Fatal(errs)
		}
		data, _ := os.ReadFile(file)
		if text := wordsOf(t, file); !strings.Contains(text, "Nicht geprüft") || !strings.Contains(text, "Please note") || !regexp.MustCompile(`about \d,\d\d N`).MatchString(text) || !bytes.Contains(data, []byte(`lang="de"`)) {
			t.Errorf("%s", text)
		}
	})
	t.Run("nothing is written down", func(t *testing.T) {
		count := func() int {
			out, _, _ := call(t, "log", "--book", dir, "--json")
			var log struct{ Lines []json.RawMessage }
			if err := json.Unmarshal([]byte(out), &log); err != nil {
				t.Fatal(err)
			}
			return len(log.Lines)
		}
		before := count()
		call(t, "suit", "N26-101", "--for", "soft-bite-noodle", "--book", dir, "-o", filepath.Join(t.TempDir(), "x.html"))
		if after := count(); after != before {
			t.Errorf("%d rows before, %d after", before, after)
		}
	})
}
