package fold

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"flourcast/work"
)

// rows is a table of lots and groupings.
type rows struct {
	lots   []string
	groups map[string][]string
}

func (r rows) Lots() []string                        { return r.lots }
func (r rows) Grouping(name string) ([]string, bool) { g, ok := r.groups[name]; return g, ok }

func lots(n, each int) []string {
	var out []string
	for i := range n {
		for range each {
			out = append(out, fmt.Sprint("lot ", i))
		}
	}
	return out
}

// TestByUnit: units stay whole, every fold has rows, sizes differ by no more
// than the largest unit, the seed alone decides, repeats differ.
func TestByUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n, k := rapid.IntRange(2, 40).Draw(rt, "units"), rapid.IntRange(2, 12).Draw(rt, "folds")
		var units []string
		largest := 0
		for u := range n {
			size := rapid.IntRange(1, 4).Draw(rt, "size")
			largest = max(largest, size)
			for range size {
				units = append(units, fmt.Sprint("u", u))
			}
		}
		random := work.Rand(rapid.Uint64().Draw(rt, "order"), "order")
		random.Shuffle(len(units), func(i, j int) { units[i], units[j] = units[j], units[i] })
		before := slices.Clone(units)
		plan, err := ByUnit(units, k, 3, 42)
		var few *TooFewUnitsError
		if n < k {
			if !errors.As(err, &few) || few.Have != n || few.Need != k {
				rt.Fatalf("%d units, %d folds: %v", n, k, err)
			}
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		if err := plan.Check(len(units)); err != nil {
			rt.Fatal(err)
		}
		for r, f := range plan.Fold {
			size, of := make([]int, k), map[string]int{}
			for i, at := range f {
				size[at]++
				if was, ok := of[units[i]]; ok && was != at {
					rt.Fatalf("unit %s is in folds %d and %d", units[i], was, at)
				}
				of[units[i]] = at
				if !slices.Contains(plan.Test(r, at), i) {
					rt.Fatalf("row %d is missing from fold %d", i, at)
				}
			}
			if slices.Max(size)-slices.Min(size) > largest {
				rt.Fatalf("fold sizes %v with units up to %d", size, largest)
			}
		}
		again, _ := ByUnit(units, k, 3, 42)
		other, _ := ByUnit(units, k, 3, 43)
		if !reflect.DeepEqual(plan, again) || !slices.Equal(units, before) {
			rt.Fatal("the same seed gave another plan, or the input was changed")
		}
		if n > 8 && k < n && (reflect.DeepEqual(plan, other) || slices.Equal(plan.Fold[0], plan.Fold[1])) {
			rt.Fatal("another seed, or another repeat, gave the same plan")
		}
	})
}

func TestParse(t *testing.T) {
	year := func(n int) map[string][]string {
		g := map[string][]string{"crop_year": nil, "supplier": nil, "site": nil}
		for i := range n {
			g["crop_year"] = append(g["crop_year"], fmt.Sprint(2021+i%3))
			g["supplier"] = append(g["supplier"], fmt.Sprint("S", i%2))
			g["site"] = append(g["site"], "only")
		}
		return g
	}
	family := year(30)
	for i := range 30 {
		family["family"] = append(family["family"], []string{"silo A", ""}[min(1, i/3)])
	}
	all := rows{lots(30, 1), year(30)}
	for _, c := range []struct {
		spec    string
		rows    rows
		scheme  string
		k       int
		repeats int
	}{
		{"lot", all, "10-fold by lot, 4 times", 10, 4},
		{"lot", rows{lots(20, 2), nil}, "10-fold by lot, 4 times", 10, 4},
		{"lot", rows{lots(19, 2), nil}, "leave one lot out", 19, 1},
		{"lot", rows{lots(30, 1), family}, "10-fold by family, 4 times", 10, 4},
		{"k=5", all, "5-fold by lot, 4 times", 5, 4},
		{"loo", rows{lots(30, 3), nil}, "leave one lot out", 30, 1},
		{"loo", rows{lots(30, 1), family}, "leave one family out", 28, 1},
		{"year", all, "leave one crop year out", 3, 1},
		{"supplier", all, "leave one supplier out", 2, 1},
		{"column=crop_year", all, "leave one crop_year out", 3, 1},
	} {
		plan, err := Parse(c.spec, c.rows, 4, 1)
		if err != nil {
			t.Errorf("%s: %v", c.spec, err)
			continue
		}
		if plan.Scheme != c.scheme || plan.K[0] != c.k || plan.Repeats() != c.repeats || plan.Check(len(c.rows.lots)) != nil {
			t.Errorf("%s: %q, %d folds, %d repeats; expected %q, %d, %d", c.spec, plan.Scheme, plan.K[0], plan.Repeats(), c.scheme, c.k, c.repeats)
		}
	}
	if plan, err := Parse("k=4", all, 1, 1); err != nil || plan.Scheme != "4-fold by lot" || plan.First(9).Repeats() != 1 {
		t.Errorf("%q, %v", plan.Scheme, err)
	}

	var spec *SpecError
	var few *TooFewUnitsError
	var missing *MissingError
	var parted *PartedError
	gap := year(30)
	gap["crop_year"][7] = " "
	split := year(30)
	for _, c := range []struct {
		spec string
		rows rows
		want any
	}{
		{"fold", all, &spec}, {"k=1", all, &spec}, {"k=x", all, &spec}, {"column=", all, &spec}, {"", all, &spec},
		{"column=mood", all, &spec}, {"year", rows{lots(30, 1), nil}, &spec},
		{"k=31", all, &few}, {"lot", rows{lots(1, 30), nil}, &few}, {"loo", rows{lots(1, 30), nil}, &few}, {"column=site", all, &few},
		{"year", rows{lots(30, 1), gap}, &missing},
		{"year", rows{lots(15, 2), split}, &parted},
	} {
		_, err := Parse(c.spec, c.rows, 1, 1)
		if err == nil || !errors.As(err, c.want) {
			t.Errorf("%s: %v", c.spec, err)
		}
	}
	if !errors.As(func() error { _, err := Parse("year", rows{lots(30, 1), gap}, 1, 1); return err }(), &missing) || missing.Row != 7 || missing.Lot != "lot 7" {
		t.Errorf("the row without a year is %+v", missing)
	}
}

// TestUnits: rows of a lot, lots of a family, and families that share a lot stay
// together.
func TestUnits(t *testing.T) {
	units, what := Units(rows{[]string{"a", "b", "c", "d", "a", "e"}, map[string][]string{"family": {"F", "F", "G", "", "G", ""}}})
	if what != "family" || units[0] != units[1] || units[0] != units[2] || units[0] != units[4] || units[3] == units[0] || units[3] == units[5] {
		t.Errorf("units %v of %s", units, what)
	}
	units, what = Units(rows{[]string{"a", "b", "a"}, nil})
	if what != "lot" || !slices.Equal(units, []string{"a", "b", "a"}) {
		t.Errorf("units %v of %s", units, what)
	}
}

func TestInner(t *testing.T) {
	for _, c := range []struct{ units, k int }{{40, 10}, {10, 10}, {7, 7}, {2, 2}} {
		plan, err := Inner(lots(c.units, 2), 1)
		if err != nil || plan.K[0] != c.k || plan.Check(2*c.units) != nil {
			t.Errorf("%d units: %v folds, %v", c.units, plan.K, err)
		}
	}
	var few *TooFewUnitsError
	if _, err := Inner(lots(1, 5), 1); !errors.As(err, &few) {
		t.Errorf("one unit: %v", err)
	}
}

func TestCheck(t *testing.T) {
	var few *TooFewUnitsError
	if err := LeaveOneOut(lots(1, 5)).Check(5); !errors.As(err, &few) {
		t.Errorf("one unit: %v", err)
	}
	if err := LeaveOneOut(lots(5, 1)).Check(5); err != nil {
		t.Error(err)
	}
	for name, p := range map[string]Plan{
		"nothing":           {},
		"other rows":        LeaveOneOut(lots(4, 1)),
		"an empty fold":     {"x", [][]int{{0, 0, 2, 2, 2}}, []int{3}},
		"a fold too many":   {"x", [][]int{{0, 1, 2, 0, 1}}, []int{2}},
		"a negative fold":   {"x", [][]int{{0, 1, -1, 0, 1}}, []int{2}},
		"counts without it": {"x", [][]int{{0, 1, 0, 0, 1}}, nil},
	} {
		var spec *SpecError
		if err := p.Check(5); !errors.As(err, &spec) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ByUnit(lots(5, 1), 2, 0, 1); err == nil {
		t.Error("no repeats were accepted")
	}
}
