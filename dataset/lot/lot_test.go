package lot

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// read reads texts as lots files, one after another.
func read(t *testing.T, texts ...string) (*Lots, int, int, finding.List) {
	t.Helper()
	l := NewRegister()
	read, refused := 0, 0
	var fl finding.List
	for _, text := range texts {
		s, err := sheet.Read("lots.csv", []byte(text), nil)
		if err != nil {
			t.Fatal(err)
		}
		n, bad, found := l.Read(s)
		read, refused, fl = read+n, refused+bad, append(fl, found...)
	}
	return l, read, refused, append(fl, l.Check()...)
}

func figure(t *testing.T, l *Lots, id, trait string, want float64) {
	t.Helper()
	lot, ok := l.Get(id)
	if !ok {
		t.Fatalf("lot %s is not there", id)
	}
	if got, ok := lot.Figures[trait]; !ok || math.Abs(got-want) > 1e-9 {
		t.Errorf("lot %s: %s = %v %v, want %v", id, trait, got, ok, want)
	}
}

// Conversions worked by hand: figure × 86 / (100 − moisture of its basis).
func TestBasis(t *testing.T) {
	l, _, _, fl := read(t, `lot,protein_pct,protein_basis,ash_pct,ash_basis,moisture_pct
A,10,dry,0.5,dry,13
B,10,as is,0.5,as is,12
C,10,13.5 %,0.5,14 %,
D,10,,0.5,14 %,12
E,10,as is,,,
F,10,by weight,,,
`)
	figure(t, l, "A", "protein_pct", 8.6)
	figure(t, l, "A", "ash_pct", 0.43)
	figure(t, l, "B", "protein_pct", 10*86.0/88)
	figure(t, l, "C", "protein_pct", 10*86/86.5)
	figure(t, l, "C", "ash_pct", 0.5)
	figure(t, l, "D", "protein_pct", 10)
	figure(t, l, "E", "protein_pct", 10)
	figure(t, l, "F", "protein_pct", 10)
	for id, want := range map[string]string{"A": "14 %", "B": "14 %", "D": "not stated", "E": "as is", "F": "by weight"} {
		if lot, _ := l.Get(id); lot.Words["protein_basis"] != want {
			t.Errorf("lot %s: basis %q, want %q", id, lot.Words["protein_basis"], want)
		}
	}
	for _, code := range []string{"basis-missing", "basis-not-converted", "basis-unknown"} {
		if n := len(slices.DeleteFunc(slices.Clone(fl), func(f finding.Finding) bool { return f.Code != code })); n != 1 {
			t.Errorf("%d findings %s, want 1: %v", n, code, fl)
		}
	}
}

func TestLateMoistureConverts(t *testing.T) {
	l, _, refused, fl := read(t, "lot,product,protein_pct,protein_basis,remarks\nA,p,10,as is,x\n", "lot,moisture_pct,remarks\nA,12,y\n", "lot,product,protein_pct,protein_basis\nA,q,10,as is\n")
	figure(t, l, "A", "protein_pct", 10*86.0/88)
	if refused != 0 || fl.Has("basis-not-converted") {
		t.Errorf("%d refused, %v", refused, fl)
	}
}

func TestHeaderBasisAndNitrogenFactor(t *testing.T) {
	l, _, _, fl := read(t, "lot,\"Protein, % (dry basis)\",nitrogen_factor\nA,10,6.25\n")
	figure(t, l, "A", "protein_pct", 8.6*5.7/6.25)
	if !fl.Has("nitrogen-factor") || fl.Has("basis-missing") {
		t.Errorf("%v", fl)
	}
}

func TestClaimsNeverMix(t *testing.T) {
	l, n, refused, fl := read(t, `lot,whose,scope,protein_pct,protein_basis,falling_number_s
A,own,this lot,9.0,14 %,
A,supplier,this lot,10.2,14 %,350
A,supplier,typical,11,14 %,
B,own,typical,9.5,14 %,
C,the mill,this lot,9,14 %,
D,,,9,14 %,
D,third party,,9.3,14 %,
`)
	figure(t, l, "A", "protein_pct", 9)
	figure(t, l, "D", "protein_pct", 9)
	a, _ := l.Get("A")
	if a.Claims["protein_pct"] != 10.2 || a.Claims["falling_number_s"] != 350 {
		t.Errorf("claims %v", a.Claims)
	}
	for _, id := range []string{"B", "C"} {
		if lot, _ := l.Get(id); len(lot.Figures) != 0 || len(lot.Claims) != 1 {
			t.Errorf("lot %s: figures %v claims %v", id, lot.Figures, lot.Claims)
		}
	}
	var differ []string
	for _, f := range fl {
		if f.Code == "claim-differs" {
			differ = append(differ, f.Found)
		}
	}
	if n != 7 || refused != 0 || len(differ) != 1 || !strings.Contains(differ[0], "lot A") || !fl.Has("whose-unknown") {
		t.Errorf("read %d refused %d, %v", n, refused, fl)
	}
}

func TestPriceIsNoClaim(t *testing.T) {
	l, _, _, _ := read(t, "lot,whose,price,ash_pct,ash_basis\n1A,supplier,410,0.5,14 %\n")
	figure(t, l, "1A", "price", 410)
	if lot, _ := l.Get("1A"); len(lot.Claims) != 1 || len(lot.Figures) != 1 {
		t.Errorf("%+v", lot)
	}
}

func TestRowsRefusedAndDoubted(t *testing.T) {
	for _, c := range []struct {
		name, text, code string
		severity         finding.Severity
		refused          int
	}{
		{"no lot", "lot,supplier\n,X\n", "lot-missing", finding.Refused, 1},
		{"lot twice", "lot,product\nA,noodle\nA,noodle\n", "lot-twice", finding.Refused, 1},
		{"two products", "lot,product\nA,noodle\nA,cake\n", "", "", 0},
		{"other figures", "lot,product,ash_pct,ash_basis\nA,p,0.5,14 %\nA,q,0.6,14 %\n", "lot-differs", finding.Doubt, 0},
		{"text in a figure", "lot,moisture_pct\nA,wet\n", "number-not-read", finding.Doubt, 0},
		{"impossible", "lot,moisture_pct\nA,140\n", "figure-impossible", finding.Doubt, 0},
		{"further parent", "lot,parent_lot\nA,S\nA,T\nA,T\n", "lot-twice", finding.Refused, 1},
		{"shares", "lot,parent_lot,share\nA,S + T,60 + 60\n", "share-not-read", finding.Doubt, 0},
		{"ragged", "lot,supplier\nA\n", "row-ragged", finding.Refused, 1},
		{"bad date", "lot,milled_on\nA,in May\n", "date-not-read", finding.Doubt, 0},
	} {
		_, _, refused, fl := read(t, c.text)
		if refused != c.refused {
			t.Errorf("%s: %d refused, want %d", c.name, refused, c.refused)
		}
		if c.code == "" && fl.Count(finding.Note) != len(fl) {
			t.Errorf("%s: %v", c.name, fl)
		}
		if c.code != "" && !slices.ContainsFunc(fl, func(f finding.Finding) bool { return f.Code == c.code && f.Severity == c.severity }) {
			t.Errorf("%s: %v, want %s %s", c.name, fl, c.severity, c.code)
		}
	}
}

func TestLotsStayText(t *testing.T) {
	l, _, _, _ := read(t, "lot,crop_year,milled_on,silo\n0012,2023+2024,3.11.2025,\"1,5\"\n")
	lot, ok := l.Get("0012")
	if !ok || lot.Words["crop_year"] != "2023+2024" || lot.Words["milled_on"] != "2025-11-03" || lot.Words["silo"] != "1.5" || !slices.Equal(l.Extra(), []string{"silo"}) {
		t.Errorf("%+v", lot)
	}
}

func TestFamilies(t *testing.T) {
	l, _, _, _ := read(t, `lot,parent_lot,share,family
S1,,,
A,S1,40,
B,S1 + T1,60 + 40,
T1,,,
C,T1,,
D,,,F
E,,,F
G,,,
`)
	want := map[string]string{"S1": "S1", "A": "S1", "B": "S1", "T1": "S1", "C": "S1", "D": "F", "E": "F"}
	got := l.Families()
	if len(got) != len(want) {
		t.Errorf("families %v, want %v", got, want)
	}
	for id, f := range want {
		if got[id] != f {
			t.Errorf("family of %s = %q, want %q", id, got[id], f)
		}
	}
	if b, _ := l.Get("B"); b.Parents[0].Share != 0.6 || b.Parents[1] != (Parent{"T1", 0.4}) {
		t.Errorf("parents %v", b.Parents)
	}
	// One cultivar of one delivery is one flour under two names; either alone is not.
	l, _, _, _ = read(t, "lot,cultivar,delivery,parent_lot\nA,Kite,17,\nB,Kite,17,\nC,Kite,18,\nD,Wren,17,\nE,,17,\nF,Kite,,\nG,Kite,18,S\n")
	if f := l.Families(); f["A"] != "Kite, delivery 17" || f["B"] != f["A"] || f["C"] == f["A"] || f["D"] == f["A"] || f["E"]+f["F"] != "" || f["C"] != "S" || f["G"] != "S" {
		t.Errorf("cultivar and delivery: %v", f)
	}
	l, _, _, _ = read(t, "lot,parent_lot\nA,B\nB,A\n") // a ring is still one family
	if f := l.Families(); f["A"] == "" || f["A"] != f["B"] {
		t.Errorf("a ring: %v", f)
	}
}

func TestNear(t *testing.T) {
	lots := NewNames([]string{"L-0012", "L-0013", "L-0120", "wheat-7", "rye", ""})
	for written, want := range map[string][]string{
		"L-0O12": {"L-0012"}, "l_0012": {"L-0012"}, "L-12": {"L-0012"}, "L-0014": nil, "whaet-7": {"wheat-7"}, "heat-7": {"wheat-7"},
		"wheat-8": nil, "L-0012": nil, "": nil, "X-99": nil,
	} {
		if got := lots.Near(written); !slices.Equal(got, want) {
			t.Errorf("Near(%s) = %v, want %v", written, got, want)
		}
	}
}

func TestMoistureAndRebase(t *testing.T) {
	for _, c := range []struct {
		basis string
		own   float64
		known bool
		want  float64
		ok    bool
	}{{"14 %", 0, false, 14, true}, {"13,5%", 0, false, 13.5, true}, {"Dry", 0, false, 0, true}, {"as is", 12, true, 12, true}, {"as received", 0, false, 0, false}, {"100 %", 0, false, 0, false}, {"wet", 0, false, 0, false}, {"NaN %", 0, false, 0, false}} {
		if got, ok := Moisture(c.basis, c.own, c.known); ok != c.ok || ok && got != c.want {
			t.Errorf("Moisture(%s) = %v %v", c.basis, got, ok)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		v, from, to := rapid.Float64Range(0, 100).Draw(rt, "v"), rapid.Float64Range(0, 90).Draw(rt, "from"), rapid.Float64Range(0, 90).Draw(rt, "to")
		if back := Rebase(Rebase(v, from, to), to, from); math.Abs(back-v) > 1e-9*(1+v) {
			rt.Fatalf("%v became %v", v, back)
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("lot,product,whose,protein_pct,protein_basis,moisture_pct,parent_lot,share\n0012,p,own,9,as is,12,S + T,60 + 40\n"))
	f.Add([]byte("lot;protein (dry basis)\nA;9,5\nA;x\n;\n"))
	f.Add([]byte("lot,lot\n\"A\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := sheet.Read("f.csv", data, nil)
		if err != nil {
			return
		}
		l := NewRegister()
		read, refused, _ := l.Read(s)
		l.Check()
		rows := 0
		for range s.Rows() {
			rows++
		}
		if read != rows || refused > read || len(l.IDs()) > read-refused {
			t.Fatalf("%d rows, %d read, %d refused, %d lots", rows, read, refused, len(l.IDs()))
		}
		for _, id := range l.IDs() {
			lot, _ := l.Get(id)
			for _, v := range lot.Figures {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("lot %s has %v", id, v)
				}
			}
			if f := l.Families()[id]; len(lot.Parents) > 0 && f == "" {
				t.Fatalf("lot %s has parents and no family", id)
			}
		}
	})
}
