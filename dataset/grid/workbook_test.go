package grid

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// workbook writes a workbook with what the function puts into it.
func workbook(t *testing.T, fill func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	fill(f)
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func set(t *testing.T, f *excelize.File, sheet string, cells map[string]any) {
	t.Helper()
	for at, v := range cells {
		if err := f.SetCellValue(sheet, at, v); err != nil {
			t.Fatal(err)
		}
	}
}

func TestWorkbookReadsWhatIsStored(t *testing.T) {
	data := workbook(t, func(f *excelize.File) {
		set(t, f, "Sheet1", map[string]any{"A1": "lot", "B1": " hardness_N ", "C1": "tested_at", "D1": "note",
			"A3": "0012", "B3": 12.345678901234, "C3": time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC), "D3": true, "A4": "W 2"})
		style, err := f.NewStyle(&excelize.Style{NumFmt: 1}) // shown without decimals
		if err != nil {
			t.Fatal(err)
		}
		if err := f.SetCellStyle("Sheet1", "B3", "B3", style); err != nil {
			t.Fatal(err)
		}
	})
	g := mustOpen(t, data, Options{})
	if want := "1: lot|hardness_N|tested_at|note\n3: 0012|12.345678901234|46095.5|1\n4: W 2\n"; texts(all(g)) != want || !g.Workbook || g.Name != "Sheet1" {
		t.Errorf("worksheet %s read as\n%s want\n%s", g.Name, texts(all(g)), want)
	}
	if got := texts(all(mustOpen(t, data, Options{Skip: 2}))); !strings.HasPrefix(got, "3: 0012") {
		t.Errorf("two rows left out: %s", got)
	}
}

func TestWorkbookSheets(t *testing.T) {
	data := workbook(t, func(f *excelize.File) {
		set(t, f, "Sheet1", map[string]any{"A1": "first"})
		if _, err := f.NewSheet("Results"); err != nil {
			t.Fatal(err)
		}
		set(t, f, "Results", map[string]any{"A1": "second"})
	})
	g := mustOpen(t, data, Options{})
	if all(g)[0].Cells[0] != "first" || len(g.Remarks) != 1 || g.Remarks[0].Code != "sheet-first" {
		t.Errorf("first worksheet: %v, remarks %v", all(g), g.Remarks)
	}
	if g := mustOpen(t, data, Options{Sheet: "Results"}); all(g)[0].Cells[0] != "second" || len(g.Remarks) != 0 {
		t.Errorf("named worksheet: %v, remarks %v", all(g), g.Remarks)
	}
	_, err := Open(data, Options{Sheet: "Result"})
	var e *Error
	if !errors.As(err, &e) || e.Code != "sheet-not-there" || !strings.Contains(e.Want, "Results") {
		t.Errorf("a worksheet that is not there: %v", err)
	}
}

// A formula gives its last computed value; one that was never computed is a
// doubt, for its cell reads as empty.
func TestWorkbookFormulas(t *testing.T) {
	data := workbook(t, func(f *excelize.File) {
		set(t, f, "Sheet1", map[string]any{"A1": "lot", "B1": "x", "A2": "A", "B2": 21, "A3": "B"}) // 21 stays as the stored value of B2
		for _, at := range []string{"B2", "B3"} {
			if err := f.SetCellFormula("Sheet1", at, "6*7"); err != nil {
				t.Fatal(err)
			}
		}
	})
	g := mustOpen(t, data, Options{})
	if got := texts(all(g)); got != "1: lot|x\n2: A|21\n3: B|\n" {
		t.Errorf("read as\n%s", got)
	}
	if len(g.Remarks) != 1 || g.Remarks[0].Code != "formula-no-value" || !strings.Contains(g.Remarks[0].Found, "1 formulas") || !strings.Contains(g.Remarks[0].Found, "B3") {
		t.Errorf("remarks %v, want one about B3", g.Remarks)
	}
}

// rewrite changes one part of a workbook.
func rewrite(t *testing.T, data []byte, part string, change func(string) string) []byte {
	t.Helper()
	r, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range r.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(in); err != nil {
			t.Fatal(err)
		}
		to, err := w.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		text := b.String()
		if f.Name == part {
			text = change(text)
		}
		if _, err := to.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestWorkbookOfDaysFrom1904(t *testing.T) {
	yes := true
	data := workbook(t, func(f *excelize.File) {
		set(t, f, "Sheet1", map[string]any{"A1": "lot"})
		if err := f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}); err != nil {
			t.Fatal(err)
		}
	})
	if !mustOpen(t, data, Options{}).Date1904 {
		t.Error("the workbook's first year was not read")
	}
}

// packed is an archive of one part that holds so many blanks and claims so many bytes.
func packed(t *testing.T, holds int, claims uint64) []byte {
	t.Helper()
	var body, out bytes.Buffer
	pack, err := flate.NewWriter(&body, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	_, err = pack.Write(bytes.Repeat([]byte(" "), holds))
	if err := errors.Join(err, pack.Close()); err != nil {
		t.Fatal(err)
	}
	w := zip.NewWriter(&out)
	part, err := w.CreateRaw(&zip.FileHeader{Name: "xl/worksheets/sheet1.xml", Method: zip.Deflate, UncompressedSize64: claims, CompressedSize64: uint64(body.Len())})
	if err != nil {
		t.Fatal(err)
	}
	_, err = body.WriteTo(part)
	if err := errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// What a part claims is set against what it holds: too much of either is refused, and so
// is a claim that is too small. Each refusal has the limit and the cure.
func TestUnpacks(t *testing.T) {
	const limit = 2 << 20
	for name, c := range map[string]struct {
		holds       int
		claims      uint64
		code, found string
	}{
		"honest":              {limit, limit, "", ""},
		"one byte too many":   {limit + 1, limit + 1, "file-too-large", "too large when unpacked: more than 2 MB, by its own account"},
		"hides that":          {limit + 1, 100, "file-too-large", "too large when unpacked: more than 2 MB, and claims less"},
		"hides what is small": {1000, 100, "file-damaged", `part "xl/worksheets/sheet1.xml" unpacks to 1000 bytes and claims 100`},
		"claims a terabyte":   {4, 1 << 40, "file-too-large", "by its own account"},
	} {
		err := unpacks(packed(t, c.holds, c.claims), limit)
		var e *Error
		if c.code == "" {
			if err != nil {
				t.Errorf("%s: found %v, expected no refusal", name, err)
			}
			continue
		}
		if !errors.As(err, &e) || e.Code != c.code || !strings.Contains(e.Found, c.found) || !strings.Contains(e.Do, "CSV") {
			t.Errorf("%s: found %v, expected %s: %s", name, err, c.code, c.found)
		}
	}
	if err := unpacks([]byte("no archive"), limit); err != nil {
		t.Errorf("no archive: found %v, expected it left to the reader", err)
	}
}

// A part that claims to unpack to a terabyte is refused by its claim.
func TestWorkbookBombs(t *testing.T) {
	var big bytes.Buffer
	w := zip.NewWriter(&big)
	part, err := w.CreateRaw(&zip.FileHeader{Name: "xl/worksheets/sheet1.xml", Method: zip.Deflate, UncompressedSize64: 1 << 40, CompressedSize64: 4})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := part.Write([]byte("zero")); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	var e *Error
	if _, err := Open(big.Bytes(), Options{}); !errors.As(err, &e) || e.Code != "file-too-large" {
		t.Errorf("a terabyte: %v", err)
	}
	good := workbook(t, func(f *excelize.File) { set(t, f, "Sheet1", map[string]any{"A1": "lot"}) })
	// One row at the sheet's far corner is one row, not a million.
	corner := rewrite(t, good, "xl/worksheets/sheet1.xml", func(xml string) string {
		return strings.Replace(xml, "</sheetData>", `<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>`, 1)
	})
	if rows := all(mustOpen(t, corner, Options{})); len(rows) != 2 || rows[1].Number != 1048576 {
		t.Errorf("%d rows", len(rows))
	}
	if _, err := Open(slices.Concat(good[:len(good)/2]), Options{}); !errors.As(err, &e) || e.Code != "file-damaged" {
		t.Errorf("half a workbook: %v", err)
	}
}

// Whatever is done to the bytes of a workbook's sheet, it reads or is refused.
func FuzzWorkbook(f *testing.F) {
	for _, s := range []string{
		`<row r="1"><c r="A1" t="inlineStr"><is><t>lot</t></is></c><c r="B1"><v>1.5</v></c></row>`,
		`<row r="0"><c r="A0"><v>1</v></c></row>`, `<row r="2"><c r="ZZZZ9"><v>1</v></c></row>`, `<row><c t="s"><v>99</v></c></row>`, `<row r="1"><c><f>1/0</f><v>#DIV/0!</v></c></row>`,
		`<row r="5"/><row r="3"><c r="B3"/></row>`, `<c/>`, `<row r="1"><c r="A1" t="d"><v>2026-03-14</v></c>`,
	} {
		f.Add(s)
	}
	base := excelize.NewFile()
	var b bytes.Buffer
	if err := base.Write(&b); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, rows string) {
		data := rewrite(t, b.Bytes(), "xl/worksheets/sheet1.xml", func(string) string {
			return `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` + rows + `</sheetData></worksheet>`
		})
		g, err := Open(data, Options{})
		var e *Error
		if err != nil {
			if !errors.As(err, &e) {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		last := 0
		for _, r := range all(g) {
			if r.Number <= last {
				t.Fatalf("row %d after %d", r.Number, last)
			}
			last = r.Number
		}
	})
}
