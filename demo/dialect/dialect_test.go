package dialect

import (
	"bytes"
	"testing"

	"github.com/xuri/excelize/v2"
)

func TestSheetDialects(t *testing.T) {
	for _, c := range []struct {
		name string
		d    Dialect
		want string
	}{
		{"plain", Plain, "lot,force,remarks\nA,3.50,\"98 °C, hot\"\n"},
		{"mark", Marked, "\ufefflot,force,remarks\nA,3.50,\"98 °C, hot\"\n"},
		{"tabs", Tabs, "lot\tforce\tremarks\nA\t3.50\t98 °C, hot\n"},
		{"continent", Continent, "lot;force;remarks\nA;3,50;98 °C, hot\n"},
		{"old office", OldOffice, "lot;force;remarks\nA;3,50;98 \xb0C, hot\n"},
	} {
		s := &Sheet{Name: "x.csv", Dialect: c.d, Header: []string{"lot", "force", "remarks"}, Rows: [][]string{{"A", c.d.Number(3.5, 2), "98 °C, hot"}}}
		f, err := s.File()
		if err != nil {
			t.Fatal(err)
		}
		if string(f.Data) != c.want {
			t.Errorf("%s: %q, want %q", c.name, f.Data, c.want)
		}
	}
}

func TestOldOfficeRefusesWhatItCannotWrite(t *testing.T) {
	s := &Sheet{Name: "x.csv", Dialect: OldOffice, Header: []string{"麺"}}
	if _, err := s.File(); err == nil {
		t.Error("a character outside Windows-1252 was written")
	}
}

func TestCurves(t *testing.T) {
	c := NewCurves("x.csv", Continent, true, "viscosity_mPas")
	c.Add([]string{"R1", "A", "m", "1"}, []float64{0}, []float64{50}, []float64{31})
	line := c.Add([]string{"R2", "B", "m", "1"}, []float64{0, 90}, []float64{50, 56.5}, []float64{31, 1200})
	if line != 3 {
		t.Errorf("second curve begins in line %d, want 3", line)
	}
	c.Rewrite(func(lines []string) { lines[0] = "changed" })
	want := "run;lot;method;replicate;time (min);temperature_C;viscosity_mPas\nR1;A;m;1;0,0000;50,0;31\nchanged\nR2;B;m;1;1,5000;56,5;1200\n"
	if got := string(c.File().Data); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestWorkbookIsTheSameEachTimeAndReadable(t *testing.T) {
	write := func() []byte {
		s := &Sheet{Name: "x.xlsx", Header: []string{"lot", "volume"}, Rows: [][]string{{"A"}, {"B"}}}
		f, err := s.Workbook("Somebody", []string{"", "mL"}, []int{1}, [][]float64{{851.26}, {900}})
		if err != nil {
			t.Fatal(err)
		}
		return f.Data
	}
	first := write()
	if !bytes.Equal(first, write()) {
		t.Error("two writings differ")
	}
	book, err := excelize.OpenReader(bytes.NewReader(first))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	for cell, want := range map[string]string{"A1": "lot", "B2": "mL", "A3": "A", "B3": "851.3", "B4": "900"} {
		if got, err := book.GetCellValue(book.GetSheetName(0), cell); err != nil || got != want {
			t.Errorf("%s: %q (%v), want %q", cell, got, err, want)
		}
	}
}

func TestColumnPanicsOnAnUnknownHeader(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	(&Sheet{Header: []string{"lot"}}).Column("nothing")
}
