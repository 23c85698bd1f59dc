package suitability

import (
	"regexp"
	"testing"

	"pgregory.net/rapid"

	"flourcast/eval/verdict"
	"flourcast/study/book"
	"flourcast/study/card"
)

// The same lot has the same code under one key and another under another; no two of many
// lots share one; and nothing of the name is in it.
func TestCodes(t *testing.T) {
	a, b := coder{[]byte("one book")}, coder{[]byte("another")}
	seen := map[string]string{}
	form := regexp.MustCompile(`^R[2-9A-HJ-NP-Z]{6}$`)
	rapid.Check(t, func(t *rapid.T) {
		lot := rapid.String().Draw(t, "lot")
		code := a.of(lot)
		if code != a.of(lot) || code == b.of(lot) || !form.MatchString(code) {
			t.Fatalf("%q: %s, %s", lot, code, b.of(lot))
		}
		if other, known := seen[code]; known && other != lot {
			t.Fatalf("%q and %q are both %s", lot, other, code)
		}
		seen[code] = lot
	})
}

func model(id int64, product, response, standing string) book.Model {
	return book.Model{ID: id, Card: &card.Card{Product: product, Response: response, Verdict: verdict.Verdict{Standing: standing}}}
}

func TestWhichModels(t *testing.T) {
	all := []book.Model{model(1, "p", "a", verdict.FitForUse), model(2, "p", "b", verdict.NotFitForUse), model(3, "p", "a", verdict.Provisional), model(4, "", "a", verdict.FitForUse), model(5, "q", "a", verdict.FitForUse)}
	got := latest(all)
	if len(got) != 3 || got[0].ID != 2 || got[1].ID != 3 || got[2].ID != 5 {
		t.Errorf("latest %+v", got)
	}
	used, left := usable(got[:2], false)
	if len(used) != 1 || used[0].ID != 3 || len(left) != 1 || left[0] != "b" {
		t.Errorf("used %+v, left %v", used, left)
	}
	if used, left := usable(got[:1], false); len(used) != 1 || len(left) != 0 {
		t.Errorf("the only model is not fit: used %+v, left %v", used, left)
	}
	if used, _ := usable(got[:2], true); len(used) != 2 {
		t.Errorf("models asked for by name: %+v", used)
	}
}
