package book

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/intake"
	"flourcast/dataset/labbook"
	"flourcast/dataset/method"
	"flourcast/dataset/replicate"
	"flourcast/forecast"
	"flourcast/study/job"
)

var (
	ctx = context.Background()
	env = job.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC) }, Version: "test"}
)

func empty(t *testing.T) *Book {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	if err := labbook.Create(ctx, dir); err != nil {
		t.Fatal(err)
	}
	b, err := Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// put adds a row as another program could have written it.
func put(t *testing.T, b *Book, r labbook.Row) labbook.Row {
	t.Helper()
	err := b.Store.Write(ctx, func(tx *labbook.Tx) (err error) {
		r, err = tx.Add(r)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// putLot adds a lot.
func putLot(t *testing.T, b *Book, lot string) {
	t.Helper()
	r := Row(env, labbook.Lot, "op")
	r.Key, r.Lot, r.Payload = lot, lot, []byte(`{"columns":["lot"],"rows":[2],"cells":[["`+lot+`"]]}`)
	put(t, b, r)
}

func ptr(v float64) *float64 { return &v }

// wrong wants a request's error that says the words.
func wrong(t *testing.T, err error, words string) {
	t.Helper()
	var r *job.RequestError
	if !errors.As(err, &r) || !strings.Contains(err.Error(), words) {
		t.Errorf("found %v, want a request's error with %q", err, words)
	}
}

func TestOpenWhereNoBookIs(t *testing.T) {
	dir := t.TempDir()
	if b, err := Open(ctx, dir); err == nil {
		b.Close()
		t.Errorf("an empty folder was opened as a book")
	} else if !strings.Contains(err.Error(), dir) {
		t.Errorf("%v does not name the folder %s", err, dir)
	}
}

func TestShown(t *testing.T) {
	hash := strings.Repeat("0123456789abcdef", 4)
	for key, want := range map[string]string{
		Key("L1", "hardness_N", hash):     "L1, hardness_N, 0123456789ab",
		Key("", "udon", ""):               "udon",
		Key(strings.ToUpper(hash)):        strings.ToUpper(hash), // no hash of ours
		Key("Noodle house", "udon", "r2"): "Noodle house, udon, r2",
	} {
		if got := Shown(key); got != want {
			t.Errorf("%q is shown as %q, want %q", key, got, want)
		}
	}
}

// A row that this program did not write is refused by its number.
func TestPayloadsThatCannotBeRead(t *testing.T) {
	for _, c := range []struct{ payload, words string }{
		{`not json`, "cannot be read"},
		{`{}`, "0 rows of cells for 0 rows"},
		{`{"columns":["lot"],"rows":[2,3],"cells":[["A"]]}`, "1 rows of cells for 2 rows"},
		{`{"columns":["lot"],"rows":[2],"cells":[["A","B"]]}`, "2 cells for 1 columns"},
	} {
		_, err := Unit(labbook.Row{ID: 7, Kind: labbook.Lot, Payload: []byte(c.payload)})
		if err == nil || !strings.Contains(err.Error(), "row 7 of the lab book (lot)") || !strings.Contains(err.Error(), c.words) || !strings.Contains(err.Error(), "flourcast verify") {
			t.Errorf("%s: found %v, want the row, %q and what to do", c.payload, err, c.words)
		}
	}
	b := empty(t)
	r := Row(env, labbook.Forecast, "op")
	r.Key, r.Lot, r.Payload = "k", "A", []byte(`{"schema":"flourcast.book.forecast/2"}`)
	r = put(t, b, r)
	if _, err := b.Forecasts(ctx, Filter{}); err == nil || !strings.Contains(err.Error(), "flourcast.book.forecast/2") || !strings.Contains(err.Error(), "use the version") {
		t.Errorf("a forecast of a later schema in row %d: %v", r.ID, err)
	}
	r = Row(env, labbook.Model, "op")
	r.Key, r.Payload = "m", []byte(`{}`)
	r = put(t, b, r)
	if _, err := b.Models(ctx); err == nil || !strings.Contains(err.Error(), rowName(r.ID)) {
		t.Errorf("a model without content: %v, want %s named", err, rowName(r.ID))
	}
}

func TestSpecifications(t *testing.T) {
	b := empty(t)
	good := Spec{Customer: "Noodle house", Product: "soft-bite-noodle", Response: "hardness_N", Low: ptr(2.6), High: ptr(3.4), Unit: "N", Revision: "1", ValidFrom: "2026-03-01"}
	for words, change := range map[string]func(*Spec){
		"without customer":   func(s *Spec) { s.Customer = "" },
		"without customer, ": func(s *Spec) { s.Product = "" },
		"or revision":        func(s *Spec) { s.Revision = "" },
		"no limit":           func(s *Spec) { s.Low, s.High = nil, nil },
		`"1 March 2026"`:     func(s *Spec) { s.ValidFrom = "1 March 2026" },
		`valid from ""`:      func(s *Spec) { s.ValidFrom = "" },
	} {
		s := good
		change(&s)
		_, err := b.AddSpec(ctx, env, s, "op")
		wrong(t, err, words)
	}
	enter := func(revision, from string, low *float64) {
		t.Helper()
		s := good
		s.Revision, s.ValidFrom, s.Low = revision, from, low
		if _, err := b.AddSpec(ctx, env, s, "op"); err != nil {
			t.Fatal(err)
		}
	}
	enter("1", "2026-03-01", ptr(2.6))
	enter("3", "2026-05-01", nil)
	enter("2", "2026-04-01", ptr(2.5))
	enter("2a", "2026-04-01", ptr(2.4)) // from the same day, entered last
	if _, err := b.AddSpec(ctx, env, good, "op"); err == nil {
		t.Error("revision 1 was entered twice")
	} else {
		wrong(t, err, "first in row 1")
	}
	for day, want := range map[string]string{"2026-02-28": "", "2026-03-01": "1", "2026-03-31": "1", "2026-04-01": "2a", "2026-04-30": "2a", "2027-01-01": "3"} {
		s, ok, err := b.SpecOn(ctx, good.Customer, good.Product, good.Response, day)
		if err != nil || ok != (want != "") || s.What.Revision != want {
			t.Errorf("on %s: revision %q (%v, %v), want %q", day, s.What.Revision, ok, err, want)
		}
	}
	for _, other := range [][3]string{{"Another", good.Product, good.Response}, {good.Customer, "white-salted-noodle", good.Response}, {good.Customer, good.Product, "springiness"}} {
		if _, ok, err := b.SpecOn(ctx, other[0], other[1], other[2], "2027-01-01"); ok || err != nil {
			t.Errorf("%v has a specification that nobody entered (%v)", other, err)
		}
	}
	all, err := b.Specs(ctx)
	if err != nil || len(all) != 4 || all[1].What.Low != nil || all[0].Operator != "op" || !all[0].Made.Equal(env.Now()) || all[0].Program != "test" {
		t.Errorf("specifications %+v, %v", all, err)
	}
	if l := all[1].What.Limits(); l.Low != nil || *l.High != 3.4 || l.Response != "hardness_N" {
		t.Errorf("limits of revision 3: %+v", l)
	}
}

func TestDispositionsAndPurposes(t *testing.T) {
	b := empty(t)
	putLot(t, b, "A")
	for words, d := range map[string]Disposition{
		`"keep"`:      {"A", "keep", "mill", "room in silo 3"},
		"who or why":  {"A", "use", "", "room"},
		"who or why ": {"A", "use", "mill", ""},
		"lot B":       {"B", "use", "mill", "room"},
	} {
		_, err := b.AddDisposition(ctx, env, d, "op")
		wrong(t, err, strings.TrimSpace(words))
	}
	for _, as := range []string{"divert", "use"} { // changed her mind: both stay
		if _, err := b.AddDisposition(ctx, env, Disposition{"A", as, "mill", "room"}, "op"); err != nil {
			t.Fatal(err)
		}
	}
	got, err := b.DispositionsOf(ctx, "A")
	if err != nil || len(got) != 2 || got[0].What.As != "divert" || got[1].What.As != "use" {
		t.Errorf("dispositions %+v, %v", got, err)
	}
	if got, err := b.DispositionsOf(ctx, "B"); err != nil || got == nil || len(got) != 0 {
		t.Errorf("of a lot without one: %+v, %v; want an empty list", got, err)
	}
	_, err = b.AddPurpose(ctx, env, Purpose{Lot: "A", Product: "udon"}, "op")
	wrong(t, err, "no reason")
	_, err = b.AddPurpose(ctx, env, Purpose{"B", "udon", "trial"}, "op")
	wrong(t, err, "lot B")
	if _, err := b.AddPurpose(ctx, env, Purpose{"A", "udon", "trial"}, "op"); err != nil {
		t.Fatal(err)
	}
	if got, err := b.PurposesOf(ctx); err != nil || len(got) != 1 || got[0].What.Why != "trial" {
		t.Errorf("purposes %+v, %v", got, err)
	}
	for lot, want := range map[string]bool{"A": true, "B": false} {
		if known, err := b.Knows(ctx, lot); err != nil || known != want {
			t.Errorf("lot %s known: %v, %v", lot, known, err)
		}
	}
}

func TestCardThatIsNotThere(t *testing.T) {
	b := empty(t)
	putLot(t, b, "A")
	for _, ref := range []string{"1", "99", "-1", strings.Repeat("a", 64), ""} { // row 1 is a lot
		_, err := b.Card(ctx, ref)
		wrong(t, err, "model "+ref)
	}
}

// A method in the same words is kept once; other words stand in for it, and say so.
func TestMethodsAreKeptByTheirWords(t *testing.T) {
	data, err := os.ReadFile("../../dataset/method/builtin/noodle-water.toml")
	if err != nil {
		t.Fatal(err)
	}
	own := strings.Replace(string(data), `id = "noodle-water"`, `id = "own-slurry"`, 1)
	b := empty(t)
	keep := func(text string) error {
		return b.Store.Write(ctx, func(tx *labbook.Tx) error {
			return KeepRules(tx, env, Rules{Methods: []Text{{"own.toml", text}}}, "op")
		})
	}
	if err := keep("id = "); err == nil || !strings.Contains(err.Error(), "own.toml") {
		t.Errorf("a method that cannot be read: %v, want its file named", err)
	}
	rows := func() (out []labbook.Row) {
		t.Helper()
		err := b.Store.Read(ctx, func(v *labbook.View) (err error) {
			for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Method}, Superseded: true}) {
				if err != nil {
					return err
				}
				out = append(out, r)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	for k, text := range []string{own, own, own + "\n# twice the stirring\n"} {
		if err := keep(text); err != nil {
			t.Fatal(err)
		}
		if n := len(rows()); n != []int{1, 1, 2}[k] {
			t.Errorf("after wording %d: %d rows of methods", k, n)
		}
	}
	if r := rows(); r[1].Corrects != r[0].ID || r[1].Reason == "" {
		t.Errorf("the second wording does not say that it stands for the first: %+v", r[1])
	}
	kept, err := b.Methods(ctx)
	if err != nil || len(kept) != 1 || kept[0].ID != "own-slurry" {
		t.Fatalf("methods of the book %v, %v", kept, err)
	}
	given := kept[0]
	given.Label = "as given"
	if both := WithMethods([]method.Method{given}, kept); len(both) != 1 || both[0].Label != "as given" {
		t.Errorf("a method given by hand does not stand for the book's: %+v", both)
	}
	if both := WithMethods(nil, kept); len(both) != 1 {
		t.Errorf("the book's methods without a given one: %+v", both)
	}
}

// What a forecast was asked for comes back as it was; what was measured once has no SD.
func TestAskedComesBack(t *testing.T) {
	spec, rule := &forecast.Spec{Response: "hardness_N", High: ptr(3.4)}, &forecast.Rule{Accept: 0.9, Reject: 0.1}
	in := forecast.Input{Lot: "A", Method: "noodle-water", Features: map[string]float64{"peak_mPas": 2400, "final_mPas": 2600}, Problems: []string{"short"}, Notes: []string{"late"},
		Replicates: map[string]replicate.Summary{"peak_mPas": {N: 3, Mean: 2400, Repeated: true, SD: 12, SE: 7}, "final_mPas": {N: 1, Mean: 2600}}, Spec: spec, Rule: rule, Level: 0.9, Bridged: 0.04}
	asked := askedOf(in)
	if r := asked.Replicates["final_mPas"]; r.SD != nil || r.SE != nil || r.N != 1 {
		t.Errorf("one measurement has a spread: %+v", r)
	}
	f := Forecast{Asked: asked, Features: in.Features, Of: forecast.Forecast{Lot: "A"}}
	back, ok := f.Input(forecast.Model{})
	if !ok || !reflect.DeepEqual(back, in) {
		t.Errorf("came back as %+v (%v), was %+v", back, ok, in)
	}
	if _, ok := (Forecast{}).Input(forecast.Model{}); ok {
		t.Error("a forecast that does not say how it was asked for says so")
	}
}

func TestKindOf(t *testing.T) {
	for k, want := range map[intake.Kind]labbook.Kind{intake.Lots: labbook.Lot, intake.Runs: labbook.Test, intake.Curves: labbook.Run, intake.Pasting: labbook.Run,
		intake.Texture: labbook.Reading, intake.Bakes: labbook.Reading, intake.Notes: labbook.Note, intake.Controls: labbook.Control, intake.Events: labbook.Event} {
		if got := KindOf(k); got != want {
			t.Errorf("%s is kept as %s, want %s", k, got, want)
		}
	}
	defer func() {
		if said := recover(); said == nil || !strings.HasPrefix(said.(string), "book: KindOf: ") {
			t.Errorf("an unknown kind: %v, want a panic with the package's name", said)
		}
	}()
	KindOf("sieves")
}

func TestIsControl(t *testing.T) {
	for _, c := range []struct {
		unit intake.Unit
		want bool
	}{
		{intake.Unit{Columns: []string{"lot", "kind"}, Cells: [][]string{{"A", "control"}}}, true},
		{intake.Unit{Columns: []string{"lot", "kind"}, Cells: [][]string{{"A", "retest"}}}, false},
		{intake.Unit{Columns: []string{"lot"}, Cells: [][]string{{"A"}}}, false},
	} {
		if got := IsControl(c.unit); got != c.want {
			t.Errorf("%+v: %v, want %v", c.unit, got, c.want)
		}
	}
}
