package grid

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"pgregory.net/rapid"
)

// all reads every row that is not blank.
func all(g *Grid) []Row {
	var out []Row
	next := g.Rows(false)
	for r, ok := next(); ok; r, ok = next() {
		if !r.Blank() {
			out = append(out, r)
		}
	}
	return out
}

func mustOpen(t *testing.T, data []byte, o Options) *Grid {
	t.Helper()
	g, err := Open(data, o)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// texts writes rows in one line each, for comparing: number: cell|cell!fault.
func texts(rows []Row) string {
	var b strings.Builder
	for _, r := range rows {
		fmt.Fprintf(&b, "%d: %s", r.Number, strings.Join(r.Cells, "|"))
		if r.Fault != "" {
			b.WriteString(" !" + r.Fault)
		}
		b.WriteString("\n")
	}
	return b.String()
}

func TestRows(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"plain", "lot,x\nA,1\nB,2\n", "1: lot|x\n2: A|1\n3: B|2\n"},
		{"no line end at the end", "lot,x\nA,1", "1: lot|x\n2: A|1\n"},
		{"CRLF", "lot,x\r\nA,1\r\n", "1: lot|x\n2: A|1\n"},
		{"CR alone", "lot,x\rA,1\r", "1: lot|x\n2: A|1\n"},
		{"empty lines and lines of delimiters", "lot,x\n\n,\n  ,\t\nA,1\n\n\n", "1: lot|x\n5: A|1\n"},
		{"outer blanks", " lot ,\u00a0x\n\tA , 1 \n", "1: lot|x\n2: A|1\n"},
		{"semicolons and decimal commas", "lot;x, cP;y\nA;1,5;2\nB;2,5;3\n", "1: lot|x, cP|y\n2: A|1,5|2\n3: B|2,5|3\n"},
		{"tabs", "lot\tx\nA\t1,5\n", "1: lot|x\n2: A|1,5\n"},
		{"a named separator", "sep=;\nlot;x\nA;1\n", "2: lot|x\n3: A|1\n"},
		{"one column", "lot\nA\nB\n", "1: lot\n2: A\n3: B\n"},
		{"quotes", "lot,x\n\"A, \"\"old\"\"\",\"1\"\n", "1: lot|x\n2: A, \"old\"|1\n"},
		{"blanks around quotes", "lot,x,y\n \"A\" , \"1\" ,2\n", "1: lot|x|y\n2: A|1|2\n"},
		{"a quote inside a cell", "lot,x\n8\" pan,1\n", "1: lot|x\n2: 8\" pan|1\n"},
		{"a cell over lines", "lot,x\n\"A\nB\r\nC\",1\nD,2\n", "1: lot|x\n2: A\nB\r\nC|1\n5: D|2\n"},
		{"empty quotes", "lot,x\n\"\",1\n\"\"\n", "1: lot|x\n2: |1\n"},
		{"a quote that does not close", "lot,x\n\"A,1\nB,2\n", "1: lot|x\n2: \"A,1 !a quote that does not close\n3: B|2\n"},
		{"a quote that closes too early", "lot,x\n\"A\"B,1\nC,2\n", "1: lot|x\n2: \"A\"B,1 !text after a closing quote\n3: C|2\n"},
		{"an open quote before quoted lines", "lot,x\n\"A,1\n\"B\",2\n", "1: lot|x\n2: \"A,1 !text after a closing quote\n3: B|2\n"},
		{"ragged", "lot,x\nA\nB,1,2\n", "1: lot|x\n2: A\n3: B|1|2\n"},
	}
	for _, tt := range tests {
		if got := texts(all(mustOpen(t, []byte(tt.text), Options{}))); got != tt.want {
			t.Errorf("%s:\n%s want\n%s", tt.name, got, tt.want)
		}
	}
}

func TestRowsMayBeReadTwice(t *testing.T) {
	g := mustOpen(t, []byte("lot,x\nA,1\nB,2\n"), Options{})
	a, b := g.Rows(false), g.Rows(false)
	for range 3 {
		ra, _ := a()
		rb, _ := b()
		if !slices.Equal(ra.Cells, rb.Cells) {
			t.Fatalf("two readings side by side: %v and %v", ra, rb)
		}
	}
	if rows := all(g); texts(rows) != texts(all(g)) || len(rows) != 3 {
		t.Errorf("second reading differs: %v", rows)
	}
}

// A fork in the middle of a text shares no memory for cells with the reader that
// it came from.
func TestFork(t *testing.T) {
	r := newReader("lot,x\na,b\nc,d\n")
	r.next()
	r.next()
	f := r.fork()
	f.delimiter = ';'
	row, _ := r.next()
	other, _ := f.next()
	if !slices.Equal(row.Cells, []string{"c", "d"}) || !slices.Equal(other.Cells, []string{"c,d"}) || other.Number != 3 {
		t.Errorf("reader at %v, its fork at %v", row, other)
	}
}

func TestSkip(t *testing.T) {
	g := mustOpen(t, []byte("export of \"March\ntank 3\nlot,x\nA,1\n"), Options{Skip: 2})
	if got := texts(all(g)); got != "3: lot|x\n4: A|1\n" {
		t.Error(got)
	}
	if got := all(mustOpen(t, []byte("a\nb\n"), Options{Skip: 9})); got != nil {
		t.Errorf("rows behind the end: %v", got)
	}
}

const sample = "lot;viscosity mPa·s;remark\nÄ 1;12,5;25 °C, heiß\n"

func TestEncodings(t *testing.T) {
	le := unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM)
	be := unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM)
	encoded := func(e interface{ Bytes([]byte) ([]byte, error) }) []byte {
		out, err := e.Bytes([]byte(sample))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	ansi := encoded(charmap.Windows1252.NewEncoder())
	tests := []struct {
		name, want string
		data       []byte
		declared   string
		noted      bool
	}{
		{"UTF-8", "UTF-8", []byte(sample), "", false},
		{"UTF-8 with mark", "UTF-8", []byte("\ufeff" + sample), "", false},
		{"UTF-16LE with mark", "UTF-16LE", append([]byte("\xff\xfe"), encoded(le.NewEncoder())...), "", true},
		{"UTF-16BE with mark", "UTF-16BE", append([]byte("\xfe\xff"), encoded(be.NewEncoder())...), "", true},
		{"UTF-16LE without mark", "UTF-16LE", encoded(le.NewEncoder()), "", true},
		{"UTF-16BE without mark", "UTF-16BE", encoded(be.NewEncoder()), "", true},
		{"Windows-1252", "windows-1252", ansi, "", true},
		{"declared UTF-8", "UTF-8", []byte(sample), UTF8, false},
		{"declared UTF-16LE", "UTF-16LE", encoded(le.NewEncoder()), UTF16LE, false},
		{"declared UTF-16BE", "UTF-16BE", encoded(be.NewEncoder()), UTF16BE, false},
		{"declared Windows-1252", "windows-1252", ansi, Windows1252, false},
	}
	want := "1: lot|viscosity mPa·s|remark\n2: Ä 1|12,5|25 °C, heiß\n"
	for _, tt := range tests {
		g := mustOpen(t, tt.data, Options{Encoding: tt.declared})
		if got := texts(all(g)); got != want || g.Encoding != tt.want || (len(g.Remarks) > 0) != tt.noted {
			t.Errorf("%s: read as %s with remarks %v:\n%s", tt.name, g.Encoding, g.Remarks, got)
		}
	}
	for name, tt := range map[string]struct {
		data     []byte
		declared string
	}{
		"bytes that are not UTF-8":         {ansi, UTF8},
		"a byte without a meaning":         {[]byte("lot,x\nA\x81\xe4,1\n"), ""},
		"UTF-16 of an odd number of bytes": {append([]byte("\xff\xfe"), append(encoded(le.NewEncoder()), 'x')...), ""},
	} {
		g := mustOpen(t, tt.data, Options{Encoding: tt.declared})
		if !slices.ContainsFunc(g.Remarks, func(r Remark) bool { return r.Code == "encoding-doubtful" && r.Doubt }) {
			t.Errorf("%s: no doubt raised: %v", name, g.Remarks)
		}
	}
}

func TestFindDelimiter(t *testing.T) {
	tests := []struct {
		text string
		want byte
	}{
		{"a,b\n1,2\n", ','}, {"a;b\n1,5;2,5\n", ';'}, {"a\tb\n1,5\t2;5\n", '\t'}, {"a, cP;b, cP\n1,5;2,5\n", ';'},
		{"lot,remark\nA,soft; sticky\nB,good\n", ','}, {"lot,remark; colour\nA,x\nB,y\n", ','}, {"lot;x\nA;1;2\nB\nC;;;\n", ';'}, {"lot\nA\n", ','},
		{"", ','}, {"\n\n\na;b\n1;2", ';'}, {"a,b\n\"1;x\",2\n\"3;y\",4\n", ','},
	}
	for _, tt := range tests {
		if got := findDelimiter(newReader(tt.text)); got != tt.want {
			t.Errorf("%q: %q, want %q", tt.text, got, tt.want)
		}
	}
}

func TestOpenRefusesWhatIsNoTable(t *testing.T) {
	for name, data := range map[string]string{
		"empty": "", "blank": " \r\n\t\n", "PDF": "%PDF-1.7 …", "binary workbook": "\xd0\xcf\x11\xe0\xa1\xb1", "web page": "\ufeff <!DOCTYPE html>", "XML": "<?xml version='1.0'?>",
		"zero bytes": "lot\x00,x\n\x01\x02\x03", "no workbook in the archive": "PK\x03\x04 and no more",
	} {
		_, err := Open([]byte(data), Options{})
		var e *Error
		if !errors.As(err, &e) || e.Code == "" || e.Found == "" || e.Want == "" || e.Do == "" {
			t.Errorf("%s: %v, want an error with what was found, expected and to do", name, err)
		}
	}
}

// checkEveryLineIsCovered reads a text and checks that each row takes up where
// the one before ended, that the last one ends with the text, and that a row
// that counts as blank has nothing in it but blanks, delimiters and quotes.
func checkEveryLineIsCovered(t interface{ Fatalf(string, ...any) }, text string) {
	r := newReader(text)
	r.delimiter = findDelimiter(r)
	at, line := 0, 1
	for {
		row, ok := r.next()
		if !ok {
			break
		}
		if row.Number != line || r.pos <= at {
			t.Fatalf("%q: row %d begins at line %d, byte %d", text, row.Number, line, at)
		}
		raw := text[at:r.pos]
		if n := strings.Count(raw, string(r.eol)); r.line != line+max(n, 1) && r.pos < len(text) {
			t.Fatalf("%q: row %d has %d line ends and the next begins at line %d", text, row.Number, n, r.line)
		}
		rest := strings.Map(func(c rune) rune {
			if c == rune(r.delimiter) || c == '"' || strings.TrimSpace(string(c)) == "" {
				return -1
			}
			return c
		}, raw)
		if row.Blank() && rest != "" {
			t.Fatalf("%q: row %d counts as blank and holds %q", text, row.Number, rest)
		}
		at, line = r.pos, r.line
	}
	if at != len(text) {
		t.Fatalf("%q: read to byte %d of %d", text, at, len(text))
	}
}

func TestEveryLineIsInARow(t *testing.T) {
	piece := rapid.SampledFrom([]string{"lot", "A", "1,5", "2.5", ",", ";", "\t", "\n", "\r\n", "\"", "\"\"", "\"x\"", " ", "é", "\u00a0", "\n\n", "\"a\nb\""})
	rapid.Check(t, func(t *rapid.T) {
		checkEveryLineIsCovered(t, strings.Join(rapid.SliceOf(piece).Draw(t, "text"), ""))
	})
}

// Cells written with quotes wherever needed come back as they were.
func TestQuotedRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.SliceOfN(rapid.StringMatching(`[a-z",;\n ]{0,6}`), 2, 2), 1, 5).Draw(t, "rows")
		var b bytes.Buffer
		for _, row := range rows {
			for i, c := range row {
				if i > 0 {
					b.WriteByte(';')
				}
				b.WriteString(`"` + strings.ReplaceAll(c, `"`, `""`) + `"`)
			}
			b.WriteByte('\n')
		}
		g, err := Open(b.Bytes(), Options{Delimiter: ';'})
		if err != nil {
			t.Fatal(err)
		}
		next := g.Rows(false)
		for _, want := range rows {
			r, ok := next()
			if !ok || r.Fault != "" || len(r.Cells) != 2 || r.Cells[0] != trim(want[0]) || r.Cells[1] != trim(want[1]) {
				t.Fatalf("%q came back as %q, fault %q", want, r.Cells, r.Fault)
			}
		}
		if r, ok := next(); ok {
			t.Fatalf("one row more: %q", r.Cells)
		}
	})
}

func FuzzOpen(f *testing.F) {
	for _, s := range []string{"lot,x\nA,1\n", "sep=;\na;b", "\"a\n\"b\",c\n", "\xff\xfea\x00,\x00b\x00", "lot\r\rA\r", "PK\x03\x04", "\"\"\"\n\"", "a\tb\n1\t\"2"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		text, _, _ := decode(data, "")
		checkEveryLineIsCovered(t, text)
		g, err := Open(data, Options{})
		var e *Error
		if err != nil && !errors.As(err, &e) {
			t.Fatalf("%T: %v", err, err)
		}
		if err == nil {
			all(g)
		}
	})
}
