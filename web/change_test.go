package web

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/csv"
	"errors"
	"hash/crc32"
	"html"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// changing is a bench over a book of its own.
func changing(t *testing.T) (b browser, raw string) {
	t.Helper()
	book, dir := copied(t)
	return bench(t, book), filepath.Join(dir, "raw")
}

// TestAddStoresNothingBefore: files are looked at first; the lot is there only after the
// confirmation, which is refused without the session's token.
func TestAddStoresNothingBefore(t *testing.T) {
	b, raw := changing(t)
	curve := filepath.Join(t.TempDir(), "tuesday.csv")
	lift(t, filepath.Join(raw, "new", "curves.csv"), curve, "N26-001", "N27-950")
	if code, _, _ := b.send("/add", nil, map[string][]string{"files": {curve}}); code != 403 {
		t.Errorf("files without a token: found %d, expected 403", code)
	}
	token := map[string]string{"token": b.token()}
	code, body, at := b.send("/add", token, map[string][]string{"files": {curve}})
	if code != 200 || !strings.Contains(body, "Nothing is stored yet: tuesday.csv") || !strings.Contains(body, "rows read") {
		t.Fatalf("looking: found %d at %s", code, at)
	}
	if code, _, _ := b.get("/lots/N27-950"); code != 404 {
		t.Errorf("the lot before the confirmation: found %d, expected 404", code)
	}
	if code, _, _ := b.send(at.Path+"/confirm", nil, nil); code != 403 {
		t.Errorf("a confirmation without a token: found %d, expected 403", code)
	}
	if _, _, work := b.send(at.Path+"/confirm", map[string]string{"token": token["token"], "operator": "T. Tester"}, nil); true {
		if code, body := b.outcome(work); code != 200 || !strings.Contains(body, "All of it is on disk") {
			t.Errorf("the confirmation: found %d", code)
		}
	}
	if code, body, _ := b.get("/lots/N27-950"); code != 200 || !strings.Contains(body, "T. Tester") {
		t.Errorf("the lot after it: found %d, expected its page with who stored it", code)
	}
}

// TestHostileFiles: none of these is stored, opened elsewhere or ends the server.
func TestHostileFiles(t *testing.T) {
	b, _ := changing(t)
	token := map[string]string{"token": b.token()}
	folder := t.TempDir()
	for _, c := range []struct{ name, text, want string }{
		{"empty.csv", "", "at least one file with rows"},
		{"words.csv", "alpha,beta\n1,2\n", "This could not be answered"},
		{"not.xlsx", "PK\x03\x04 no workbook", "This could not be answered"},
		{"bytes.csv", strings.Repeat("\x00\xff", 500), "This could not be answered"},
	} {
		path := filepath.Join(folder, c.name)
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		if code, body, _ := b.send("/add", token, map[string][]string{"files": {path}}); code != 422 || !strings.Contains(body, c.want) {
			t.Errorf("%s: found %d, expected 422 and %q", c.name, code, c.want)
		}
	}
	if code, _, _ := b.get("/"); code != 200 {
		t.Errorf("today after them: found %d", code)
	}
}

// TestZipBomb: a workbook of a few hundred kilobytes that unpacks to more than anybody
// may send is refused with the reason, whether it says its size or not.
func TestZipBomb(t *testing.T) {
	b, _ := changing(t)
	token := map[string]string{"token": b.token()}
	for name, claims := range map[string]bool{"says-its-size.xlsx": true, "hides-it.xlsx": false} {
		path := filepath.Join(t.TempDir(), name)
		inflate(t, path, claims)
		info, err := os.Stat(path)
		if err != nil || info.Size() > 1<<20 {
			t.Fatalf("%s: %v, %d bytes, expected a small file", name, err, info.Size())
		}
		code, body, _ := b.send("/add", token, map[string][]string{"files": {path}})
		if code != 422 || !strings.Contains(body, name) || !strings.Contains(body, map[bool]string{true: "by its own account", false: "and claims less"}[claims]) || !strings.Contains(body, "too large when unpacked: more than 256 MB") || !strings.Contains(body, "save the sheet as CSV") {
			t.Errorf("%s: found %d: %s", name, code, plain(body))
		}
		if strings.Contains(body, "Store the usable rows") {
			t.Errorf("%s: may be stored", name)
		}
	}
}

// inflate writes a workbook with a sheet of 300 MB of blanks.
func inflate(t *testing.T, path string, claims bool) {
	t.Helper()
	// Packed a megabyte at a time, each of blanks after blanks is the same bytes.
	const times = 300
	const size = times << 20
	var packed bytes.Buffer
	pack, err := flate.NewWriter(&packed, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	blanks := bytes.Repeat([]byte(" "), 1<<20)
	var first int
	for range 2 {
		first = packed.Len()
		if _, err := pack.Write(blanks); err != nil {
			t.Fatal(err)
		}
		if err := pack.Flush(); err != nil {
			t.Fatal(err)
		}
	}
	packed.Write(bytes.Repeat(bytes.Clone(packed.Bytes()[first:]), times-2))
	if err := pack.Close(); err != nil {
		t.Fatal(err)
	}
	sum := crc32.NewIEEE()
	for range times {
		sum.Write(blanks)
	}
	head := &zip.FileHeader{Name: "xl/worksheets/sheet1.xml", Method: zip.Deflate, CRC32: sum.Sum32(), CompressedSize64: uint64(packed.Len()), UncompressedSize64: 100}
	if claims {
		head.UncompressedSize64 = size
	}
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := zip.NewWriter(out)
	// Enough of a workbook for the sheet to be looked for.
	for name, text := range map[string]string{
		"[Content_Types].xml":        `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>`,
		"_rels/.rels":                `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml":            `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels": `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`,
	} {
		part, err := w.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := part.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	part, err := w.CreateRaw(head)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := packed.WriteTo(part); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Close(), out.Close()); err != nil {
		t.Fatal(err)
	}
}

// plain is what a page's main part says.
func plain(body string) string {
	_, body, _ = strings.Cut(body, "<main")
	return regexp.MustCompile(`(<[^>]*>|\s)+`).ReplaceAllString(body, " ")
}

// TestForecastOfDroppedFiles: the file is forecast, the decision is on the page, and
// nothing of it is in the book.
func TestForecastOfDroppedFiles(t *testing.T) {
	b, raw := changing(t)
	_, before, _ := b.get("/trail")
	fields := map[string]string{"token": b.token(), "model": b.model(), "high": "3.9"}
	_, _, work := b.send("/forecast", fields, map[string][]string{"files": {filepath.Join(raw, "new", "curves.csv")}, "lots": {filepath.Join(raw, "new", "lots.csv")}})
	code, body := b.outcome(work)
	for _, want := range []string{"N26-001", "accept", "hold", "The probability of meeting", "off the average lot"} {
		if !strings.Contains(body, want) {
			t.Errorf("forecast: found %d, no %q", code, want)
		}
	}
	if _, after, _ := b.get("/trail"); after != before {
		t.Error("a forecast of dropped files left something in the book")
	}
	fields["low"] = "5"
	if code, _, _ := b.send("/forecast", fields, nil); code != 422 {
		t.Errorf("limits upside down: found %d, expected 422", code)
	}
	fields["model"] = "../../etc/passwd"
	if code, _, _ := b.send("/forecast", fields, nil); code != 404 {
		t.Errorf("a path as a model: found %d, expected 404", code)
	}
}

// TestWholeCurves: a model of whole curves is made in the browser, its coefficients drawn
// over the mean curve, and it forecasts a raw curve as it comes; without a pasting method
// it is refused, and it has no window.
func TestWholeCurves(t *testing.T) {
	b, raw := changing(t)
	fields := map[string]string{"token": b.token(), "response": "hardness_N", "product": "soft-bite-noodle", "kind": "curves"}
	if code, body, _ := b.send("/models/fit", fields, nil); code != 422 || !strings.Contains(body, "whole curves by any method") {
		t.Errorf("curves of any method: found %d", code)
	}
	fields["method"] = "noodle-water"
	_, _, work := b.send("/models/fit", fields, nil)
	_, body := b.outcome(work)
	m := regexp.MustCompile(`href="/models/(\d+)"`).FindStringSubmatch(body)
	if m == nil || !strings.Contains(body, "Coefficients over the mean curve") {
		t.Fatalf("no model of whole curves: %.3000s", plain(body))
	}
	_, _, work = b.send("/forecast", map[string]string{"token": b.token(), "model": m[1], "high": "3.9"}, map[string][]string{"files": {filepath.Join(raw, "new", "curves.csv")}})
	if _, body = b.outcome(work); !strings.Contains(body, "curve, minutes 5 to 6") {
		t.Errorf("the raw curve was not laid on the model's grid: %.3000s", plain(body))
	}
	if _, body, _ := b.get("/window"); strings.Contains(body, `value="`+m[1]+`"`) {
		t.Error("a model of whole curves is offered a window")
	}
}

// TestDecide: what people did with a lot stands beside its forecast under their name, and
// needs who and why; a lot that is not there takes none.
func TestDecide(t *testing.T) {
	b, _ := changing(t)
	fields := map[string]string{"token": b.token(), "as": "divert", "who": "Ines", "why": "too firm for this customer", "operator": "Ana"}
	code, body, at := b.send("/lots/N26-003/disposition", fields, nil)
	if code != 200 || at.Path != "/lots/N26-003" || !strings.Contains(body, "divert") || !strings.Contains(body, "too firm for this customer") {
		t.Errorf("written down: found %d at %s, %.3000s", code, at, plain(body))
	}
	code, body, _ = b.send("/lots/N26-003/purpose", map[string]string{"token": b.token(), "why": "held, to learn from"}, nil)
	if code != 200 || !strings.Contains(body, "held, to learn from") {
		t.Errorf("why it was made: found %d", code)
	}
	for _, c := range []struct {
		path, field, value string
		code               int
	}{
		{"/lots/N26-003/disposition", "token", "no", 403},
		{"/lots/N26-003/disposition", "as", "eat", 422},
		{"/lots/N26-003/disposition", "why", "", 422},
		{"/lots/nobody/disposition", "who", "Ines", 422},
		{"/lots/N26-003/purpose", "why", "", 422},
	} {
		wrong := maps.Clone(fields)
		wrong[c.field] = c.value
		if code, _, _ := b.send(c.path, wrong, nil); code != c.code {
			t.Errorf("%s with %s %q: found %d, expected %d", c.path, c.field, c.value, code, c.code)
		}
	}
}

// TestSpecs: a specification is written down under a name, offered where it is wanted, and
// refused without limits and a second time.
func TestSpecs(t *testing.T) {
	b, _ := changing(t)
	fields := map[string]string{"token": b.token(), "customer": "Second Invented Customer", "product": "soft-bite-noodle", "response": "hardness_N", "low": "2.7", "high": "3.4", "revision": "7", "from": "2020-01-02", "operator": "Ana"}
	for _, c := range []struct {
		field, value, want string
		code               int
	}{
		{"token", "no", "", 403},
		{"low", "", "", 0}, // both limits away, see below
		{"from", "yesterday", "valid from", 422},
		{"low", "5", "the lower one first", 422},
	} {
		wrong := maps.Clone(fields)
		wrong[c.field] = c.value
		if c.code == 0 {
			wrong["high"], c.want, c.code = "", "no limit", 422
		}
		if code, body, _ := b.send("/specs", wrong, nil); code != c.code || !strings.Contains(body, c.want) {
			t.Errorf("%s %q: found %d, expected %d and %q; %.600s", c.field, c.value, code, c.code, c.want, plain(body))
		}
	}
	fields["low"] = "2,7" // a decimal comma is one
	if code, body, _ := b.send("/specs", fields, nil); code != 200 || !strings.Contains(body, "Second Invented Customer") || !strings.Contains(body, "Ana") {
		t.Errorf("written down: found %d, %.2000s", code, plain(body))
	}
	if code, body, _ := b.send("/specs", fields, nil); code != 422 || !strings.Contains(body, "again, first in row") {
		t.Errorf("a second time: found %d", code)
	}
	if _, body, _ := b.get("/window"); !strings.Contains(body, "Second Invented Customer, soft-bite noodle (udon style): hardness 2.7 to 3.4 N (revision 7)") {
		t.Error("the specification is not offered on the window")
	}
}

// TestCorrection: a file whose rows differ from the book's is refused, and with a reason
// stands in for them; the reason is in the trail.
func TestCorrection(t *testing.T) {
	b, _ := changing(t)
	path := filepath.Join(t.TempDir(), "lots.csv")
	if err := os.WriteFile(path, []byte("lot,product,protein_pct,protein_basis,figures_by,figures_for\nN25-001,soft-bite-noodle,8.05,14 %,own,this lot\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	files := map[string][]string{"files": {path}}
	fields := map[string]string{"token": b.token(), "operator": "Ana"}
	if _, body, _ := b.send("/add", fields, files); !strings.Contains(body, "correction") {
		t.Errorf("a row that differs: %.2000s", plain(body))
	}
	fields["reason"] = "it was misread at first"
	_, body, at := b.send("/add", fields, files)
	if !strings.Contains(body, "What would be corrected") || !strings.Contains(body, fields["reason"]) {
		t.Fatalf("looked at: %.2000s", plain(body))
	}
	_, _, work := b.send(at.Path+"/confirm", fields, nil)
	if _, body := b.outcome(work); !strings.Contains(body, "Corrected in the lab book") {
		t.Errorf("corrected: %.2000s", plain(body))
	}
	if _, body, _ := b.get("/trail"); !strings.Contains(body, "it was misread at first") {
		t.Errorf("the reason is not in the trail: %.3000s", plain(body))
	}
}

// TestWholeBlend: the demo's stock or one that was sent gives shares, what binds and what it
// saves; limits that conflict are named; no path of the server is on the page.
func TestWholeBlend(t *testing.T) {
	b, raw := changing(t)
	_, before, _ := b.get("/trail")
	stock := filepath.Join(raw, "season", "stock.csv")
	fields := map[string]string{"token": b.token(), "mixing": "linear", "column1": "peak_mPas", "low1": "2500", "high1": "2700", "column2": "protein_pct", "low2": "9.0", "tonnes": "40", "max_flours": "3"}
	for _, files := range []map[string][]string{nil, {"stock": {stock}}} {
		code, body, at := b.send("/blend", fields, files)
		if again, same, _ := b.get(at.String()[len(b.base):]); again != code || plain(same) != plain(body) { // the address is the question
			t.Errorf("%s again: found %d and another page", at, again)
		}
		for _, want := range []string{"Recipe", "per tonne of blend", "binds", "Saves", "S26-002", "waxy", "sprouted", "Make the blend and run it before you promise it.", "stock.csv (6 rows"} {
			if code != 200 || !strings.Contains(body, want) {
				t.Errorf("blend of %v: found %d, no %q", files, code, want)
			}
		}
		if strings.Contains(body, filepath.Dir(raw)) || strings.Contains(body, "given-") {
			t.Errorf("blend of %v: a path of the server is on the page", files)
		}
	}
	fields["mixing"], fields["confidence"] = "measured", "0.9"
	if code, body, _ := b.send("/blend", fields, nil); code != 200 || !strings.Contains(body, "own blends did") {
		t.Errorf("as the mill's own blends did: found %d", code)
	}
	delete(fields, "confidence")
	fields["mixing"], fields["low1"], fields["high1"] = "linear", "4900", "5000"
	if code, body, _ := b.send("/blend", fields, nil); code != 200 || !strings.Contains(body, "No blend meets the limits") || !strings.Contains(body, `id="ratios"`) {
		t.Errorf("limits that conflict: found %d", code)
	}
	for name, want := range map[string][2]string{"high1": {"x", "Limits of the blend: found line 1"}, "low1": {"9000", "Limits of the blend: found line 1"}, "tonnes": {"many", "Tonnes wanted: found"}, "max_flours": {"0", "Flours at most: found"},
		"flours": {"nobody", "Lots of the lab book: found lot nobody"}, "ratio": {"S26-001:nobody", "Every ratio of two flours: found"}} {
		spoilt := maps.Clone(fields)
		spoilt[name] = want[0]
		code, body, _ := b.send("/blend", spoilt, nil)
		if code != 422 || !strings.Contains(body, want[1]) || !strings.Contains(body, want[0]) {
			t.Errorf("%s %s: found %d, expected 422 with %q above the form as it was filled", name, want[0], code, want[1])
		}
		if flag := regexp.MustCompile(`--[a-z]`).FindString(plain(body)); flag != "" {
			t.Errorf("%s %s: the page names a flag of a command", name, want[0])
		}
	}
	fields["flours"], fields["low1"], fields["high1"] = "N26-001\r\nN26-002;418,50;30\nN26-003\t389\t20", "2300", "2600"
	if code, body, _ := b.send("/blend", fields, nil); code != 200 || !strings.Contains(body, "no stock of N26-001") {
		t.Errorf("stock of some lots only: found %d", code)
	}
	fields["flours"] = "N26-001, 414, 40\nN26-002;418,50;30\nN26-003\t389\t20"
	fields["method"], fields["max_flours"], fields["low2"] = "noodle-water", "", "8.7"
	if code, body, _ := b.send("/blend", fields, nil); code != 200 || !strings.Contains(body, "lots of the lab book (3 rows: 3 used") || !strings.Contains(body, "418.50") {
		t.Errorf("lots of the lab book: found %d", code)
	}
	if code, _, _ := b.send("/blend", map[string]string{"mixing": "linear"}, nil); code != 403 {
		t.Errorf("without a token: found %d, expected 403", code)
	}
	if _, after, _ := b.get("/trail"); after != before {
		t.Error("a blend left something in the book")
	}
}

// TestWholeSuitFiles: the sheets are to be had as files, and hold no name of another lot.
// TestWholeSuitWords: a catalogue is used for the sheets, on the page and in the file; one that
// is wrong is refused by file, line and key, and the question stays as it was.
func TestWholeSuitWords(t *testing.T) {
	b, _ := demoBench(t)
	query := strings.TrimPrefix(suitOne, "/suit?")
	send := func(name, text string) (int, string, *url.URL) {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return b.send("/suit/words", map[string]string{"token": b.token(), "back": query}, map[string][]string{"catalogue": {path}})
	}
	code, body, at := send("de.toml", "language = \"de\"\ndecimal = \",\"\n[sentences]\n\"sheet.date\" = \"Datum\"\n\"name.hardness_N\" = \"Härte\"\n")
	if code != 200 || !strings.Contains(body, "Datum: ") || !strings.Contains(body, "Härte") || !strings.Contains(body, "3,09 N") || !strings.Contains(body, "de.toml (de)") || !strings.Contains(body, "sentences to English") {
		t.Errorf("a catalogue: found %d at %s", code, at)
	}
	if _, file, _ := b.get("/suit/sheet.html?" + at.RawQuery); !strings.Contains(file, "Datum") || !strings.Contains(file, `lang="de"`) {
		t.Error("the file is not in the catalogue's language")
	}
	for text, want := range map[string]string{
		"language = \"de\"\n[sentences]\n\"limits.from\" = \"ab\"": "bad.toml, line 3, sentences.&#34;limits.from&#34;: found no {low}",
		"language = \"de\"\n[sentences]\n\"no.such\" = \"x\"":      "bad.toml, line 3, sentences.&#34;no.such&#34;",
		"language": "bad.toml, line 1",
	} {
		code, body, _ := send("bad.toml", text)
		if code != 422 || !strings.Contains(body, "Wording of the sheets: found a catalogue that cannot be used: "+want) || !strings.Contains(body, `value="Invented Noodles"`) {
			t.Errorf("%q: found %d, want %q above the form as it was", text, code, want)
		}
	}
	if code, _, _ := b.send("/suit/words", map[string]string{"back": query}, nil); code != 403 {
		t.Errorf("without a token: found %d, expected 403", code)
	}
}

func TestWholeSuitFiles(t *testing.T) {
	b, _ := demoBench(t)
	_, page, _ := b.get(suitOne)
	for _, kind := range []string{"pdf", "html"} { // the addresses that the page itself gives
		_, rest, found := strings.Cut(page, `href="/suit/sheet.`+kind)
		address, _, _ := strings.Cut(rest, `"`)
		if code, _, head := b.get("/suit/sheet." + kind + html.UnescapeString(address)); !found || code != 200 || !strings.HasPrefix(head.Get("Content-Disposition"), "attachment") {
			t.Errorf("%s from the page, %s: found %d", kind, address, code)
		}
	}
	query := strings.TrimPrefix(suitOne, "/suit") + "&paper=Letter"
	code, body, head := b.get("/suit/sheet.pdf" + query)
	if code != 200 || !strings.HasPrefix(body, "%PDF-") || head.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(head.Get("Content-Disposition"), "attachment") {
		t.Errorf("PDF: found %d, %d bytes, %v", code, len(body), head)
	}
	code, body, head = b.get("/suit/sheet.html" + query)
	if code != 200 || !strings.Contains(body, "N26-001") || !strings.HasPrefix(head.Get("Content-Disposition"), "attachment") {
		t.Errorf("HTML: found %d, %v", code, head)
	}
	if other := regexp.MustCompile(`N2[345]-\d{3}`).FindAllString(strings.ReplaceAll(body, "N25-001", ""), -1); len(other) > 0 { // N25-001 is their present flour
		t.Errorf("HTML: found other lots %v, expected codes", other)
	}
}

// TestCSV: a table of a page is to be had with full precision.
func TestCSV(t *testing.T) {
	b, _ := demoBench(t)
	_, page, _ := b.get("/lots?has=forecasts")
	_, rest, found := strings.Cut(page, `class="csv" href="`)
	if !found {
		t.Fatal("no CSV on the page of lots")
	}
	address, _, _ := strings.Cut(rest, `"`)
	code, body, head := b.get(strings.ReplaceAll(address, "&amp;", "&"))
	rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
	if code != 200 || err != nil || len(rows) < 30 || rows[0][0] != "lot" || !strings.HasPrefix(head.Get("Content-Disposition"), "attachment") {
		t.Errorf("%s: found %d, %v, %d rows, expected the lots as a file", address, code, err, len(rows))
	}
	if code, _, _ := b.get("/lots?csv=0.nothing"); code != 422 {
		t.Errorf("a table that is not there: found %d, expected 422", code)
	}
}

func TestListenIsForThisMachine(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", ":0", "192.0.2.1:0", "[::]:0", "mill.example:80", "127.0.0.1", ""} {
		l, err := Reach{Address: address}.Open(env().Clock)
		var refused *ListenError
		if !errors.As(err, &refused) {
			t.Errorf("%q: found %v, expected a refusal", address, err)
		}
		if l != nil {
			l.Close()
		}
	}
	l, err := Reach{Address: "localhost:0"}.Open(env().Clock)
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
}
