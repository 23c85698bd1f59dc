package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"flourcast/finding"
)

func mustRead(t *testing.T, name, text string, m *Map) *Sheet {
	t.Helper()
	s, err := Read(name, []byte(text), m)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustMap(t *testing.T, text string) *Map {
	t.Helper()
	m, err := ParseMap("map.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// dump writes what a reader gets: each row's cells by the columns' ids, values
// where there are numbers, and findings by code.
func dump(s *Sheet) string {
	var b strings.Builder
	for _, f := range slices.Concat(s.Findings(), s.HeaderFindings()) {
		fmt.Fprintf(&b, "%s %s row %d %s\n", f.Severity, f.Code, f.At.Row, f.At.Column)
	}
	for row, bad := range s.Rows() {
		fmt.Fprintf(&b, "%d:", row.Number)
		for i := range s.Columns {
			h, known := s.Header(i)
			v, ok, wrong := s.Value(row, i)
			switch text, has := s.Text(row, i); {
			case known && !h.Trait.Numeric() || wrong != nil && !known:
				fmt.Fprintf(&b, " %s=%s", s.columnID(i), text)
			case wrong != nil:
				fmt.Fprintf(&b, " %s!%s", s.columnID(i), wrong.Code)
			case ok:
				fmt.Fprintf(&b, " %s=%g", s.columnID(i), v)
			case has:
				fmt.Fprintf(&b, " %s absent", s.columnID(i))
			}
		}
		if bad != nil {
			fmt.Fprintf(&b, " %s %s", bad.Severity, bad.Code)
		}
		b.WriteString("\n")
	}
	return b.String()
}

func check(t *testing.T, what, got, want string) {
	t.Helper()
	if want = strings.TrimLeft(want, "\n"); got != want {
		t.Errorf("%s:\n%swant\n%s", what, got, want)
	}
}

func TestReadFiles(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"canonical headers", "lot,peak_mPas,peak_time_s\nA,2400,360\nB,2500,\n", `
2: lot=A peak_mPas=2400 peak_time_s=360
3: lot=B peak_mPas=2500
`},
		{"units in the header", "Lot no,Peak (Pa.s),Peak time [min],Hardness_gf\nA,2.4,6.5,1200\n", `
2: lot=A peak_mPas=2400 peak_time_s=390 hardness_N=11.76798
`},
		{"units in a second row, decimal commas, semicolons", "Lot;Peak;Peak time;Remark\r\n;mPa.s;min;\r\nA;2400,5;6,5;good, soft\r\n\r\nB;1.234,5;6;\r\n;;;\r\n", `
note units-row row 0 
note decimal-comma row 0 
3: lot=A peak_mPas=2400.5 peak_time_s=390 remarks=good, soft
5: lot=B peak_mPas=1234.5 peak_time_s=360 remarks=
`},
		{"a word that is a unit in a row of data", "lot,site,peak_mPas\nN,s,2400\n", "2: lot=N site=s peak_mPas=2400\n"},
		{"letters that are units under own names", "grade,stream\nN,s\n", `
note column-unknown row 1 grade
note column-unknown row 1 stream
2: grade=N stream=s
`},
		{"arbitrary units", "lot,Peak (BU),Final,Trough\n-,-,units,cP\nA,500,600,1200\n", `
note units-row row 0 
refused unit-arbitrary row 1 Peak (BU)
refused unit-arbitrary row 1 Final
3: lot=A Peak (BU)=500 Final=600 trough_mPas=1200
`},
		{"units missing, a bare setback, near misses, own columns", "lot,Peak,setback_cP,hardnes_N,colour\nA,2400,900,3,7\n", `
doubt unit-missing row 1 Peak
refused name-ambiguous row 1 setback_cP
doubt column-unknown row 1 hardnes_N
note column-unknown row 1 colour
2: lot=A peak_mPas=2400 setback_cP=900 hardnes_N=3 colour=7
`},
		{"a name twice", "lot,x,x\nA,1,2\n", `
refused header-duplicate row 1 x
2: lot=A x=1 x=2
`},
		{"a trait twice", "lot,PV (cP),Peak viscosity (cP)\nA,1,2\n", `
refused column-duplicate row 1 Peak viscosity (cP)
2: lot=A PV (cP)=1 Peak viscosity (cP)=2
`},
		{"ragged rows and empty cells at the end", "lot,peak_mPas,,\nA,2400,,\nB,2500\nC\nD,1,2\nE,1,2,3\n", `
2: lot=A peak_mPas=2400
3: lot=B peak_mPas=2500
4: lot=C refused row-ragged
5: lot=D peak_mPas=1 refused row-ragged
6: lot=E peak_mPas=1 refused row-ragged
`},
		{"a column without a name", "lot,,peak_mPas\nA,7,2400\n", `
doubt header-empty row 1 
2: lot=A =7 peak_mPas=2400
`},
		{"a quote that does not close", "lot,peak_mPas\n\"A,2400\nB,2500\n", `
2: lot="A,2400 refused quote-not-closed
3: lot=B peak_mPas=2500
`},
		{"text in numbers", "lot,peak_mPas\nA,high\nB,<50\nC,NaN\nD,#DIV/0!\nE,-\nF,NA\nG,\n", `
2: lot=A peak_mPas!number-not-read
3: lot=B peak_mPas!number-not-read
4: lot=C peak_mPas!number-not-read
5: lot=D peak_mPas!number-not-read
6: lot=E peak_mPas absent
7: lot=F peak_mPas absent
8: lot=G
`},
		{"thousands by the evidence of another column", "lot\tpeak_mPas\tpasting_temp_C\nA\t2,345\t68.4\n", "2: lot=A peak_mPas=2345 pasting_temp_C=68.4\n"},
		{"thousands or decimals", "lot;peak_mPas\nA;1,234\nB;2,345\n", `
doubt decimal-unclear row 0 
2: lot=A peak_mPas=1.234
3: lot=B peak_mPas=2.345
`},
		{"points where commas part the cells", "lot,hardness_N\nA,1.234\n", "2: lot=A hardness_N=1.234\n"},
		{"both marks", "lot;peak_mPas;trough_mPas\nA;12,5;1.234\nB;12.5;\nC;13,5;\n", `
doubt decimal-mixed row 0 
2: lot=A peak_mPas=12.5 trough_mPas!number-not-read
3: lot=B peak_mPas!number-not-read
4: lot=C peak_mPas=13.5
`},
		{"points in lot names are no evidence", "lot;peak_mPas\n24.5;1200,5\n", "note decimal-comma row 0 \n2: lot=24.5 peak_mPas=1200.5\n"},
		{"times of the clock", "lot,time (hh:mm:ss),peak time (mm:ss),falling_number_s\nA,0:03:42,3:42,0:05:00\nB,3:42,99,3:42\n", `
2: lot=A time_s=222 peak_time_s=222 falling_number_s=300
3: lot=B time_s!time-not-read peak_time_s!time-not-read falling_number_s!time-not-read
`},
		{"features by method", "lot,peak_mPas@noodle-water,peak_mPas@cake-water\nA,1,2\n", "2: lot=A peak_mPas@noodle-water=1 peak_mPas@cake-water=2\n"},
		{"figures out of range", "lot,hardness_kN,peak_Pas\nA,1e306,1e999\n", "2: lot=A hardness_N!number-not-read peak_mPas!number-not-read\n"},
	}
	for _, tt := range tests {
		check(t, tt.name, dump(mustRead(t, "f.csv", tt.text, nil)), tt.want)
	}
}

func TestFindingsNameTheirPlace(t *testing.T) {
	s := mustRead(t, "dir/f.csv", "lot,Hardness (gf)\nA,soft\nB,1,2\n", nil)
	var all []string
	for row, bad := range s.Rows() {
		if bad == nil {
			_, _, bad = s.Value(row, 1)
		}
		all = append(all, bad.String())
	}
	want := []string{
		`dir/f.csv, row 2, column Hardness (gf): "soft", text; expected a number; correct the cell or leave it empty [number-not-read]`,
		`dir/f.csv, row 3: 3 cells; expected 2 as in the header; put text with commas and decimal commas in quotes, or export with semicolons; if the header stands further down, declare skip_rows in an import map [row-ragged]`,
	}
	if !slices.Equal(all, want) {
		t.Errorf("findings\n%s\nwant\n%s", strings.Join(all, "\n"), strings.Join(want, "\n"))
	}
	if s.Column("lot") != 0 || s.Column("hardness_N") != 1 || s.Column("peak_mPas") != -1 {
		t.Error("columns are not found by their ids")
	}
	if h, ok := s.Header(1); !ok || h.AsWritten != "Hardness (gf)" {
		t.Errorf("header %v", h)
	}
	if _, ok := s.Header(-1); ok {
		t.Error("column −1 has a header")
	}
	if _, ok := s.Text(Row{}, 0); ok {
		t.Error("a cell outside its row has text")
	}
}

// The published digest of the three letters "abc": FIPS 180-2, appendix B.1.
func TestDigest(t *testing.T) {
	s := mustRead(t, "f.csv", "abc", nil)
	if s.SHA256 != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("SHA-256 of abc: %s", s.SHA256)
	}
}

func TestReadRefuses(t *testing.T) {
	for name, text := range map[string]string{"empty": "", "blank rows": ";;\n;;\n", "PDF": "%PDF-1.4", "an open quote in the header": "\"lot,x\n1,2\n"} {
		_, err := Read("f.csv", []byte(text), nil)
		var e *Error
		if !errors.As(err, &e) || e.File != "f.csv" || e.Code == "" || e.Want == "" || e.Do == "" || !strings.Contains(err.Error(), "f.csv") {
			t.Errorf("%s: %v", name, err)
		}
		if f := e.Finding(); f.Severity != finding.Refused || f.Found == "" {
			t.Errorf("%s: finding %v", name, f)
		}
	}
	var e *Error
	if _, err := Open("testdata/no-such-file.csv", nil); !errors.As(err, &e) || e.Code != "file-not-opened" || e.Unwrap() == nil {
		t.Errorf("a file that is not there: %v", err)
	}
}

func TestWorkbook(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	for at, v := range map[string]any{"A1": "lot", "B1": "Peak", "C1": "Peak time", "D1": "tested_at", "E1": "time (hh:mm:ss)", "B2": "cP", "C2": "min",
		"A3": "0012", "B3": 2345.678, "C3": 6.5, "D3": 46095.5, "E3": 0.0625, "A4": "B", "B4": "2345,5", "C4": "1,234", "D4": "2026-03-14", "A5": "C", "G6": "stray"} {
		if err := f.SetCellValue("Sheet1", at, v); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	s := mustRead(t, "book.xlsx", b.String(), nil)
	check(t, "workbook", dump(s), `
note units-row row 0 
3: lot=0012 peak_mPas=2345.678 peak_time_s=390 tested_at=46095.5 time_s=5400
4: lot=B peak_mPas=2345.5 peak_time_s!number-not-read tested_at=2026-03-14
5: lot=C tested_at=
6: lot= tested_at= refused row-ragged
`)
	for row := range s.Rows() {
		at, ok, bad := s.Date(row, s.Column("tested_at"))
		if row.Number == 3 && at.Format("2006-01-02 15:04") != "2026-03-14 12:00" || row.Number == 4 && at.Format("2006-01-02") != "2026-03-14" || row.Number == 5 && ok || bad != nil {
			t.Errorf("row %d: %v, %v, %v", row.Number, at, ok, bad)
		}
	}
}

// A second reading gives what the first one gave: nothing is renamed twice.
func TestWorkbookIsReadTwice(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	for at, v := range map[string]any{"A1": "lot", "A2": "A", "A3": "B"} {
		if err := f.SetCellValue("Sheet1", at, v); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	s := mustRead(t, "book.xlsx", b.String(), mustMap(t, "[names.lot]\n\"A\" = \"B\"\n\"B\" = \"C\"\n"))
	first := dump(s)
	check(t, "second reading", dump(s), first)
	check(t, "first reading", first, "2: lot=B\n3: lot=C\n")
}

func TestDates(t *testing.T) {
	text := "lot,milled_on\nA,14/3/2026\nB,3/4/2026\nC,soon\nD,\n"
	for declared, want := range map[string]string{"": "2026-03-14 refused refused none", `dates = "m/d/y"`: "refused 2026-03-04 refused none", `dates = "d/m/y"`: "2026-03-14 2026-04-03 refused none"} {
		s := mustRead(t, "f.csv", text, mustMap(t, declared))
		var got []string
		for row := range s.Rows() {
			at, ok, bad := s.Date(row, 1)
			switch {
			case bad != nil:
				got = append(got, string(bad.Severity))
			case ok:
				got = append(got, at.Format("2006-01-02"))
			default:
				got = append(got, "none")
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: %v, want %s", declared, got, want)
		}
	}
}

// Every line of a file that has something in it comes out as one row, accepted
// or refused, and no other row does.
func TestRowsAccountForEveryLine(t *testing.T) {
	line := rapid.SampledFrom([]string{"A,1", "B,2.5,", "C", "D,1,2", "", "  ", ",,", "\"E\",1", "\"F,1", "G\"x,1", "\"H\"x,1", "I,\"1\"", "\u00a0"})
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.SliceOf(line).Draw(t, "lines")
		eol := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "line end")
		s, err := Read("f.csv", []byte("lot,x"+eol+strings.Join(lines, eol)), mustParse(`delimiter = ","`))
		if err != nil {
			t.Fatal(err)
		}
		var want, got []int
		for i, l := range lines {
			if strings.Trim(l, ", \u00a0") != "" {
				want = append(want, i+2)
			}
		}
		accepted, refused := 0, 0
		for row, bad := range s.Rows() {
			got = append(got, row.Number)
			if bad == nil {
				accepted++
			} else if refused++; bad.Severity != finding.Refused || bad.At.Row != row.Number {
				t.Fatalf("row %d: %v", row.Number, bad)
			}
			if len(row.Cells) != len(s.Columns) {
				t.Fatalf("row %d has %d cells for %d columns", row.Number, len(row.Cells), len(s.Columns))
			}
		}
		if !slices.Equal(got, want) || accepted+refused != len(want) {
			t.Fatalf("%q: rows %v, want %v", lines, got, want)
		}
	})
}

func mustParse(text string) *Map {
	m, err := ParseMap("map.toml", []byte(text))
	if err != nil {
		panic(err)
	}
	return m
}

// Any bytes are read or refused; rows rise, their cells match the columns, and
// no cell's reading panics or gives a number that is not finite.
func FuzzRead(f *testing.F) {
	for _, s := range []string{"lot,peak_mPas\nA,1\n", "lot;Peak\n;cP\nA;1,5\n", "\xff\xfel\x00o\x00t\x00", "sep=;\nlot;t (mm:ss)\nA;1:30", "a\n\"b\nc", "lot,lot\nA,B", "setback,PT\n1,2", ",\n,", "\"\"\n1"} {
		f.Add([]byte(s), "")
	}
	f.Add([]byte("Lot;V\n\nA;1\n"), "skip_rows = 1\n[[column]]\nname = \"peak_mPas\"\nposition = 2\nunit = \"Pa.s\"\nfactor = -1\n[names.lot]\n\"A\" = \"B\"\n")
	f.Add([]byte("x\n1\n"), "header = false\nonly = true\nfile_name = '(?P<lot>f)'\nsetback = \"flipped\"\n[constant]\nmethod = \"m\"\n[[column]]\nname = \"time_s\"\nposition = 1\n")
	f.Fuzz(func(t *testing.T, data []byte, mapText string) {
		m, err := ParseMap("map.toml", []byte(mapText))
		if err != nil {
			m = nil
		}
		s, err := Read("f.csv", data, m)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		last := 0
		for row, bad := range s.Rows() {
			if row.Number <= last || len(row.Cells) != len(s.Columns) || bad != nil && bad.Severity != finding.Refused {
				t.Fatalf("row %d after %d with %d cells for %d columns, %v", row.Number, last, len(row.Cells), len(s.Columns), bad)
			}
			last = row.Number
			for i := range s.Columns {
				if v, ok, bad := s.Value(row, i); v-v != 0 || ok && bad != nil {
					t.Fatalf("row %d, column %d: %v, %v, %v", row.Number, i, v, ok, bad)
				}
				s.Date(row, i)
			}
		}
	})
}
