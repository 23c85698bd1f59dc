package sheet

import (
	"errors"
	"strings"
	"testing"

	"flourcast/dataset/layout"
)

func TestImportMaps(t *testing.T) {
	tests := []struct{ what, file, text, toml, want string }{
		{"names, units and factors", "f.csv", "Sample;Max. visc;Time (min);Note\nA;200,5;3;x\n", `
[[column]]
name = "lot"
from = "Sample"
[[column]]
name = "peak_mPas"
from = "max. visc"
factor = 12
[[column]]
name = "peak_time_s"
from = "Time (min)"
`, `
note decimal-comma row 0 
2: lot=A peak_mPas=2406 peak_time_s=180 remarks=x
`},
		{"a unit declared against the header's", "f.csv", "lot,Peak (cP)\nA,2.4\n", "[[column]]\nname = \"peak_mPas\"\nfrom = \"Peak (cP)\"\nunit = \"Pa·s\"\n", "2: lot=A peak_mPas=2400\n"},
		{"a unit in the replaced header, one in the row of units", "f.csv", "lot,Max (Pa.s),Min\n,,Pa.s\nA,2.4,1.2\n",
			"[[column]]\nname = \"peak_mPas\"\nfrom = \"Max (Pa.s)\"\n[[column]]\nname = \"trough_mPas\"\nfrom = \"Min\"\n", `
note units-row row 0 
3: lot=A peak_mPas=2400 trough_mPas=1200
`},
		{"no header, lines above, columns by position, lot from the file's name", "in/W24-117_2.txt", "any device\nrun of today\n0\t50,0\t35\n4\t50,2\t36\n", `
[[file]]
match = "*_?.txt"
skip_rows = 2
header = false
file_name = '^(?P<lot>.+)_(?P<replicate>\d)'
[file.constant]
method = "noodle-water"
[[file.column]]
name = "time_s"
position = 1
[[file.column]]
name = "temperature_C"
position = 2
[[file.column]]
name = "viscosity_mPas"
position = 3
unit = "cP"
`, `
note decimal-comma row 0 
3: time_s=0 temperature_C=50 viscosity_mPas=35 lot=W24-117 replicate=2 method=noodle-water
4: time_s=4 temperature_C=50.2 viscosity_mPas=36 lot=W24-117 replicate=2 method=noodle-water
`},
		{"a file that no block matches", "f.csv", "lot,x\nA,1\n", "[[file]]\nmatch = \"*.txt\"\nskip_rows = 5\n", "note column-unknown row 1 x\n2: lot=A x=1\n"},
		{"only the declared columns", "f.csv", "a,a,b,lot\n1,2,3,A\n4,5,6\n", "only = true\n[[column]]\nname = \"lot\"\nposition = 4\n[[column]]\nname = \"hardness_N\"\nposition = 2\n", `
2: hardness_N=2 lot=A
3: hardness_N=5 lot= refused row-ragged
`},
		{"setback from trough", "f.csv", "lot,setback (cP)\nA,900\n", "setback = \"trough\"", "2: lot=A setback_trough_mPas=900\n"},
		{"setback from peak", "f.csv", "lot,setback (cP)\nA,-100\n", "setback = \"peak\"", "2: lot=A setback_peak_mPas=-100\n"},
		{"setback flipped", "f.csv", "lot,setback (cP)\nA,100\n", "setback = \"flipped\"", "2: lot=A setback_peak_mPas=-100\n"},
		{"names of lots and products", "f.csv", "lot,product\nW 24/117,udon\nB,x\n", "[names.lot]\n\"W 24/117\" = \"W24-117\"\n[names.product]\n\"udon\" = \"soft-bite-noodle\"\n", `
2: lot=W24-117 product=soft-bite-noodle
3: lot=B product=x
`},
		{"a name that does not match, a column that is not there", "f.csv", "lot,peak_mPas\nA,1\n", "file_name = '^(?P<replicate>\\d+)_'\n[[column]]\nname = \"hardness_N\"\nfrom = \"H\"\n", `
note column-not-there row 0 
doubt file-name-no-match row 0 
2: lot=A peak_mPas=1
`},
		{"the file's own column stays", "f.csv", "Lot no,peak_mPas\nA,1\n", "[constant]\nlot = \"B\"\nsite = \"north\"\n", `
note column-not-added row 0 
2: lot=A peak_mPas=1 site=north
`},
		{"declared decimals, no row of units", "f.csv", "lot;peak_mPas\nA;1.234\n", "decimal = \",\"\nunits_row = false\n", "2: lot=A peak_mPas=1234\n"},
		{"a declared row of units that would not be found", "f.csv", "lot,peak,colour\nA,cP,L value\nB,2400,7\n", "units_row = true\n", `
note column-unknown row 1 colour
3: lot=B peak_mPas=2400 colour=7
`},
		{"a declared encoding", "f.csv", "lot,peak_mPas\n\xc4,1\n", "encoding = \"windows-1252\"\n", "2: lot=Ä peak_mPas=1\n"},
		{"a declared delimiter", "f.csv", "L;x,colour;y\nA;1,2;3\n", "delimiter = \",\"\n", `
note column-unknown row 1 L;x
note column-unknown row 1 colour;y
2: L;x=A;1 colour;y=2;3
`},
	}
	for _, tt := range tests {
		check(t, tt.what, dump(mustRead(t, tt.file, tt.text, mustMap(t, tt.toml))), tt.want)
	}
}

func TestMapRefuses(t *testing.T) {
	tests := []struct{ toml, want string }{
		{"[[column]]\nname = \"peak\"\nfrom = \"P\"\n", `map.toml, line 2, column[0].name: found "peak"; expected the canonical name peak_mPas`},
		{"[[column]]\nname = \"setback\"\nfrom = \"P\"\n", `line 2, column[0].name: found "setback"; expected setback_trough_mPas or setback_peak_mPas`},
		{"[[column]]\nname = \"peak_mPas\"\nfrom = \"P\"\nunit = \"BU\"\n", `line 4, column[0].unit: found unit "BU", an arbitrary recording unit with no fixed conversion to mPa·s; expected mPa·s, cP`},
		{"[[column]]\nname = \"hardness_N\"\nfrom = \"P\"\nunit = \"mm\"\n", `line 4, column[0].unit: found unit "mm", which measures something else`},
		{"[[file]]\nmatch = \"x\"\n[[file.column]]\nname = \"colour\"\nfrom = \"L\"\nunit = \"mm\"\n", `line 6, file[0].column[0].unit: found "mm" for the name "colour", which is not in the glossary`},
		{"decimal = 3\n", "line 1, decimal"},
	}
	for _, tt := range tests {
		_, err := ParseMap("map.toml", []byte(tt.toml))
		var e *layout.Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q:\n%v\nwant it to say %q", tt.toml, err, tt.want)
		}
	}
	var e *layout.Error
	if _, err := OpenMap("testdata/no-such-map.toml"); !errors.As(err, &e) {
		t.Errorf("a map that is not there: %v", err)
	}
	m := &Map{Layout: layout.Layout{FileName: "("}} // a map made by a program
	var se *Error
	if _, err := Read("f.csv", []byte("lot\nA\n"), m); !errors.As(err, &se) || se.Code != "map-faulty" {
		t.Errorf("a faulty pattern: %v", err)
	}
	m = mustMap(t, "only = true\n[[column]]\nname = \"lot\"\nfrom = \"L\"\n")
	if _, err := Read("f.csv", []byte("x,y\n1,2\n"), m); !errors.As(err, &se) || se.Code != "columns-not-there" {
		t.Errorf("none of the declared columns: %v", err)
	}
}
