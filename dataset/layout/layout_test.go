package layout

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

const whole = `# every key once
skip_rows = 3
header = true
units_row = false
delimiter = ";"
decimal = ","
encoding = "windows-1252"
sheet = "Export"
dates = "d/m/y"
setback = "trough"
file_name = '^(?P<lot>[A-Z]+\d+)_(?P<replicate>\d)'
only = true

[constant]
method = "noodle-water"

[[column]]
name = "peak_mPas"
from = "Max. visc"
unit = "Pa·s"
factor = 12

[[file]]
match = "run_*.txt"
header = false

[[file.column]]
name = "time_s"
position = 1
unit = "min"

[[file.column]]
name = "viscosity_mPas"
position = 3

[names.lot]
"W 24/117" = "W24-117"
`

func TestParse(t *testing.T) {
	m, err := Parse("map.toml", []byte("\ufeff"+whole))
	if err != nil {
		t.Fatal(err)
	}
	yes, no := true, false
	want := Layout{SkipRows: 3, Header: &yes, UnitsRow: &no, Delimiter: ";", Decimal: ",", Encoding: "windows-1252", Sheet: "Export", Dates: "d/m/y",
		Setback: "trough", FileName: `^(?P<lot>[A-Z]+\d+)_(?P<replicate>\d)`, Only: true, Constant: map[string]string{"method": "noodle-water"},
		Columns: []Column{{Name: "peak_mPas", From: "Max. visc", Unit: "Pa·s", Factor: 12}}}
	got := m.For("dir/lots.csv")
	if once, err := got.NamePattern(); err != nil || once == nil || once != m.fileName || !once.MatchString("AB12_1") {
		t.Errorf("the pattern of names is %v, %v; want the one that was compiled with the map", once, err)
	}
	if got.fileName = nil; !reflect.DeepEqual(got, want) {
		t.Errorf("top: %+v\nwant %+v", got, want)
	}
	want = Layout{Header: &no, Columns: []Column{{Name: "time_s", Position: 1, Unit: "min"}, {Name: "viscosity_mPas", Position: 3}}}
	if got := m.For("dir/run_7.txt"); !reflect.DeepEqual(got, want) {
		t.Errorf("run_7.txt: %+v\nwant %+v", got, want)
	}
	if got := m.NamesOf("lot")["W 24/117"]; got != "W24-117" || m.NamesOf("product") != nil {
		t.Errorf("names: %q, %v", got, m.NamesOf("product"))
	}
	var none *Map
	if !reflect.DeepEqual(none.For("x"), Layout{}) || none.NamesOf("lot") != nil || len(m.Blocks()) != 2 {
		t.Error("no map is not an empty one, or a block is missing")
	}
}

// Every fault names its line, what was found and what was expected.
func TestParseRefuses(t *testing.T) {
	tests := []struct{ text, want string }{
		{"skp_rows = 3", "map.toml, line 1, skp_rows: found an unknown key; expected one of file, names, skip_rows, header"},
		{"\n[[column]]\nname = \"x\"\nform = \"y\"", "line 4, column.form: found an unknown key; expected one of name, from, position, unit, factor"},
		{"[[file]]\nmtch = \"x\"", "line 2, file.mtch: found an unknown key; expected one of match, skip_rows"},
		{"decimal = \"x\"", `line 1, decimal: found "x"; expected "." or ","`},
		{"\n\ndelimiter = \"|\"", `line 3, delimiter: found "|"; expected "," or ";" or "tab"`},
		{"encoding = \"latin-1\"", `line 1, encoding: found "latin-1"; expected "utf-8" or`},
		{"dates = \"ymd\"", "line 1, dates"},
		{"setback = \"both\"", `line 1, setback: found "both"; expected "trough" or "peak" or "flipped"`},
		{"skip_rows = -1", "line 1, skip_rows: found -1; expected 0 or more"},
		{"skip_rows = \"3\"", "line 1, skip_rows: found cannot decode"},
		{"skip_rows = ", "line 1"},
		{"file_name = '(?P<lot>['", "line 1, file_name: found error parsing regexp"},
		{"file_name = 'lot'", "line 1, file_name: found \"lot\"; expected at least one named group"},
		{"only = true", "line 1, only: found true without columns"},
		{"[constant]\nlot = 12", `line 2, constant.lot: found cannot decode`},
		{"[[column]]\nname = \"x\"", "line 1, column[0].from: found from and position both, or neither"},
		{"[[column]]\nname = \"x\"\nposition = -1", "line 3, column[0].position: found -1; expected 1 or more"},
		{"[[column]]\nname = \" x\"\nposition = 1", `line 2, column[0].name: found " x"; expected a column name`},
		{"[[column]]\nname = \"x\"\nposition = 1\nfactor = inf", "line 4, column[0].factor: found +Inf; expected a finite number"},
		{"header = false\n[[column]]\nname = \"x\"\nfrom = \"y\"", "line 4, column[0].from: found a header's name in a file without header; expected position"},
		{"[[column]]\nname = \"x\"\nposition = 1\n[[column]]\nname = \"y\"\nposition = 1", "line 5, column[1].name: found column at position 1 a second time"},
		{"[[column]]\nname = \"x\"\nposition = 1\n[[column]]\nname = \"x\"\nposition = 2", "line 5, column[1].name: found name x a second time"},
		{"[[file]]\nskip_rows = 1", `line 1, file[0].match: found ""; expected a pattern`},
		{"[[file]]\nmatch = \"[\"", "line 2, file[0].match"},
		{"[[file]]\nmatch = \"a\"\n[[file]]\nmatch = \"b\"\n[[file.column]]\nname = \"x\"", "line 5, file[1].column[0].from"},
		{"a = 1\na = 1", "line 2"},
	}
	for _, tt := range tests {
		_, err := Parse("map.toml", []byte(tt.text))
		var e *Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q:\n%v\nwant it to say %q", tt.text, err, tt.want)
		}
	}
	_, err := Parse("map.toml", []byte("decimal = \"x\"\ndates = \"y\"\n"))
	if err == nil || strings.Count(err.Error(), "\n") != 1 {
		t.Errorf("two faults give %v", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{whole, "", "[[file", "[[column]]\nname='x'\nposition=1", "[names.lot]\na='b'", "decimal = '\\x'", "[[file]]\n[[file.column]]\n[[file.column]]", "=\n[\n[[\n]]"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse("map.toml", data)
		var e *Error
		if err != nil && !errors.As(err, &e) || err == nil && m == nil {
			t.Errorf("%T: %v", err, err)
		}
	})
}
